"""The lag of simulated trays is found again, and what is too little to learn from is refused."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from traywarden.demo.sites import SITES, place_air
from traywarden.demo.trays import Mould, Spot, Substrate, Trays
from traywarden.demo.weather import weather
from traywarden.domain.daylight import sun_elevation_deg
from traywarden.domain.first_order import first_order
from traywarden.domain.lag import LearnedLag, learn_lag
from traywarden.domain.series import FloatArray
from traywarden.errors import ShortOfDataError

ZONE = ZoneInfo("Europe/Lisbon")
LATITUDE_DEG, LONGITUDE_DEG = 39.5, -8.7
START_S = 1_777_593_600  # 1 May 2026
MINUTES = 1440


def tray(
    lag_h: float, *, sun_c: float = 0.0, days: int = 14, seed: int = 1
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Hours of air and soil of a tray that follows by minutes; the sun never hides."""
    random = np.random.default_rng(seed)
    time_s = START_S + 60.0 * np.arange(days * MINUTES)
    level = pd.Series(np.repeat(random.normal(0, 2.5, days), MINUTES))
    level_c = level.rolling(MINUTES, center=True, min_periods=1).mean().to_numpy()
    air_c = 14 + level_c + 5 * np.sin((time_s / 3600 - 9) / 24 * 2 * np.pi)
    sun = np.maximum(np.sin(np.radians(sun_elevation_deg(time_s, LATITUDE_DEG, LONGITUDE_DEG))), 0.0)
    drawn_c = air_c + sun_c * sun
    soil_c, now_c, kept = np.empty(time_s.size), drawn_c[0], np.exp(-1 / 60 / lag_h)
    for k, towards_c in enumerate(drawn_c):
        now_c = soil_c[k] = kept * now_c + (1 - kept) * towards_c
    air_h, soil_h = (values.reshape(-1, 60).mean(axis=1) for values in (air_c, soil_c))
    return np.asarray(time_s[::60]), np.asarray(air_h), np.asarray(soil_h)


def learned(time_s: FloatArray, air_c: FloatArray, soil_c: FloatArray) -> LearnedLag:
    return learn_lag(time_s, air_c, soil_c, ZONE, LATITUDE_DEG, LONGITUDE_DEG)


@pytest.mark.parametrize("lag_h", [0.5, 1.0, 2.2, 5.0])
@pytest.mark.parametrize("sun_c", [0.0, 8.0])
def test_a_known_lag_is_found_within_a_tenth(lag_h: float, sun_c: float) -> None:
    found = learned(*tray(lag_h, sun_c=sun_c))
    assert found.lag_h == pytest.approx(lag_h, rel=0.1)
    assert found.gain + found.slow_gain == pytest.approx(1.0, abs=0.1)
    # The swing of this air is 10 °C and a little more: an overhead sun counts as one.
    assert found.sun_morning_c == pytest.approx(sun_c, abs=1.0)


def test_the_soil_of_a_simulated_tray_is_told_from_its_air_on_days_not_learnt_from() -> None:
    """The simulated tray is a heat balance with no single lag; recovery only, as it is simulated."""
    sky = weather(START_S, 14 * 96, ZONE, 3)
    air = place_air(SITES["open bench"], sky)
    tray_ = Trays([Spot(Substrate(0.5, 0.08, 0.25, 0.6), 0, 0.8)], [air])
    soil_c = []
    for step in range(sky.time_s.size):
        if step % (3 * 96) == 0:
            tray_.bathe(0)  # so that it stays moist
        tray_.step(step)
        soil_c.append(Mould(tray_, 0).temp_c)
    air_h, soil_h = (np.reshape(values, (-1, 4)).mean(axis=1) for values in (air.temp_c, soil_c))
    hour_s, cut = sky.time_s.reshape(-1, 4)[:, 0], 10 * 24
    found = learned(hour_s[:cut], air_h[:cut], soil_h[:cut])
    told = np.abs(found.soil_from_air(hour_s, air_h) - soil_h)[cut:].mean()
    plain = np.abs(air_h + (soil_h - air_h)[:cut].mean() - soil_h)[cut:].mean()
    assert told < 0.6 * plain
    assert 0.2 < found.lag_h < 6.0


def test_an_exponential_step_answer_is_the_textbooks() -> None:
    """1 − e^(−t/τ) from the middle of the rising hour on: 63.2 % after one time constant."""
    fine = first_order(np.r_[np.zeros(2400), np.ones(4800)], 100.0)  # a hundred steps in a lag
    assert fine[2400 + 100] == pytest.approx(1 - np.exp(-1), abs=0.003)
    assert fine[2400 + 300] == pytest.approx(1 - np.exp(-3), abs=0.003)


def test_what_was_learned_foretells_other_days() -> None:
    time_s, air_c, soil_c = tray(2.2, sun_c=6.0, days=20)
    found = learned(time_s[: 14 * 24], air_c[: 14 * 24], soil_c[: 14 * 24])
    told = found.soil_from_air(time_s, air_c)
    assert np.abs(told - soil_c)[14 * 24 :].mean() < 0.5
    assert (found.from_s, found.to_s) == (time_s[0], time_s[14 * 24])


def test_several_runs_are_answered_like_each_alone() -> None:
    time_s, air_c, soil_c = tray(2.2)
    found = learned(time_s, air_c, soil_c)
    runs = np.stack([air_c, air_c + 3, air_c[::-1]])
    together = found.soil_from_air(time_s, runs)
    for run, answer in zip(runs, together, strict=True):
        np.testing.assert_allclose(answer, found.soil_from_air(time_s, run))


def test_short_gaps_are_bridged_and_long_ones_answered_with_nothing() -> None:
    time_s, air_c, soil_c = tray(2.2)
    found = learned(time_s, air_c, soil_c)
    holed = air_c.copy()
    holed[100:103] = np.nan
    holed[200:210] = np.nan
    told = found.soil_from_air(time_s, holed)
    assert np.isfinite(told[:200]).all()
    settles = int(np.ceil(3 * found.lag_h))
    assert np.isnan(told[200 : 210 + settles]).all()
    assert np.isfinite(told[210 + settles :]).all()
    # Rows left out are gaps as much as rows without a value.
    kept = np.isfinite(holed)
    np.testing.assert_allclose(found.soil_from_air(time_s[kept], holed[kept]), told[kept])


def test_a_relation_learned_over_gaps_is_the_same() -> None:
    time_s, air_c, soil_c = tray(2.2, days=28)
    holed = soil_c.copy()
    holed[np.random.default_rng(5).random(holed.size) < 0.3] = np.nan
    holed[250:320] = np.nan
    assert learned(time_s, air_c, holed).lag_h == pytest.approx(2.2, rel=0.1)


def test_few_wild_readings_change_little() -> None:
    time_s, air_c, soil_c = tray(2.2)
    wild = soil_c.copy()
    wild[::97] += 25
    assert learned(time_s, air_c, wild).lag_h == pytest.approx(2.2, rel=0.15)


def test_too_short_an_overlap_is_refused_with_the_reason() -> None:
    time_s, air_c, soil_c = tray(2.2, days=4)
    with pytest.raises(ShortOfDataError, match=r"only 4\.0 days; 5 are needed"):
        learned(time_s, air_c, soil_c)


def test_air_that_hardly_changes_is_refused_with_the_reason() -> None:
    time_s, air_c, soil_c = tray(2.2)
    with pytest.raises(ShortOfDataError, match=r"changed by only"):
        learned(time_s, air_c * 0.01, soil_c)


def test_without_a_place_on_earth_the_sun_rises_at_six() -> None:
    time_s, air_c, soil_c = tray(2.2, sun_c=8.0)
    found = learn_lag(time_s, air_c, soil_c, ZONE)
    assert found.lag_h == pytest.approx(2.2, rel=0.25)
    assert found.sun_morning_c > 3
