"""The temperature effect is read off the daily wiggle with its sign, and drying is not taken for one."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.linear_model import OLS

from tests.domain.made_trays import DAY_S, HOUR_S, Floats
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.temperature_effect import temperature_effect, without_temperature
from traywarden.domain.wetting import Wetting, WettingKind


def warmth(days: int, seed: int = 1, swing_c: float = 8.0) -> tuple[Floats, Floats]:
    """Hours and soil temperature: days of different swing, spells, and a season."""
    rng = np.random.default_rng(seed)
    hour_s = np.arange(24.0 * days) * HOUR_S
    day = hour_s / DAY_S
    swings = np.interp(day, np.arange(days + 1), swing_c * rng.uniform(0.4, 1.3, days + 1))
    spells = np.interp(day, np.arange(days + 1), rng.normal(0, 2.0, days + 1))
    return hour_s, 18 + swings * np.sin(2 * np.pi * (day - 0.4)) + spells + 3 * np.sin(day / 60)


@pytest.mark.parametrize("per_c", [-0.0012, -0.0003, 0.0004, 0.002])
@pytest.mark.parametrize("lag_h", [-1, 0, 1])
def test_size_sign_and_lag_put_in_come_out_again(per_c: float, lag_h: int) -> None:
    hour_s, warm_c = warmth(40)
    noise = np.random.default_rng(2).normal(0, 0.0004, hour_s.size)
    wet = 0.1 + per_c * (np.roll(warm_c, lag_h) - 20) + noise
    wet[:3] = wet[-3:] = np.nan
    found = temperature_effect(hour_s, wet, warm_c, [])
    assert found.used
    assert found.m3_m3_per_c == pytest.approx(per_c, rel=0.03)
    assert found.lag_s == lag_h * HOUR_S
    assert found.low_m3_m3_per_c is not None
    assert found.high_m3_m3_per_c is not None
    assert found.m3_m3_per_c is not None
    assert found.low_m3_m3_per_c <= found.m3_m3_per_c <= found.high_m3_m3_per_c
    assert found.low_m3_m3_per_c * found.high_m3_m3_per_c > 0
    left = without_temperature(hour_s, wet, warm_c, found)
    assert np.nanstd(left) < 0.0006


def test_without_drying_the_coefficient_is_that_of_ordinary_least_squares() -> None:
    """statsmodels' OLS on departures from the 24-hour mean, taken with pandas' own rolling windows."""
    hour_s, warm_c = warmth(30)
    wet = 0.1 + 0.0008 * warm_c + np.random.default_rng(3).normal(0, 0.002, hour_s.size)
    found = temperature_effect(hour_s, wet, warm_c, [])
    weights = np.r_[0.5, np.ones(23), 0.5] / 24
    rolled = [
        pd.Series(v).rolling(25, center=True).apply(lambda part: float(part @ weights), raw=True)
        for v in (wet, warm_c)
    ]
    y, x = wet - rolled[0].to_numpy(), warm_c - rolled[1].to_numpy()
    inside = np.isfinite(y) & np.isfinite(x)
    theirs = OLS(y[inside], x[inside]).fit().params[0]
    assert found.lag_s == 0
    # ours has a column for drying beside it, which here has nothing to explain
    assert found.m3_m3_per_c == pytest.approx(theirs, rel=0.01)


@pytest.mark.parametrize("per_c", [0.0, 0.0006, -0.0006])
@pytest.mark.parametrize("air_kpa", [0.6, 1.4])
def test_drying_by_day_is_not_taken_for_an_effect_of_warmth(per_c: float, air_kpa: float) -> None:
    """A tray that loses some 0.05 a day, by the pull of its warmth on air of one vapour pressure (the
    estimate guesses that from the coldest hour), watered every fifth day."""
    hour_s, warm_c = warmth(60, seed=4)
    lost = 0.05 / 24 / 1.2 * np.maximum(saturation_vapour_pressure_kpa(warm_c) - air_kpa, 0.0)
    water, now, wettings = np.empty(hour_s.size), 0.5, []
    for n in range(hour_s.size):
        if n % 120 == 8:
            wettings.append(
                Wetting(hour_s[n - 1], hour_s[n], now, 0.5, 0, HOUR_S, WettingKind.FROM_ABOVE, 1, "")
            )
            now = 0.5
        water[n] = now - lost[n] / 2  # the mean of its hour
        now -= lost[n]
    found = temperature_effect(hour_s, water + per_c * (warm_c - 20), warm_c, wettings)
    assert found.m3_m3_per_c == pytest.approx(per_c, abs=0.00012)
    assert found.used == bool(per_c)


def test_a_wiggle_that_has_nothing_to_do_with_warmth_stays() -> None:
    hour_s, warm_c = warmth(40)
    wet = 0.1 + np.random.default_rng(5).normal(0, 0.004, hour_s.size)
    found = temperature_effect(hour_s, wet, warm_c, [])
    assert not found.used
    assert found.reason
    assert np.array_equal(without_temperature(hour_s, wet, warm_c, found), wet)


def test_an_effect_that_turns_round_halfway_is_not_taken_out() -> None:
    """Fitted to all of it there is nothing; on days left out it would do harm."""
    hour_s, warm_c = warmth(60)
    sign = np.where(hour_s < 30 * DAY_S, 1.0, -1.0)
    assert not temperature_effect(hour_s, 0.1 + sign * 0.001 * (warm_c - 20), warm_c, []).used


def test_a_week_disturbed_every_day_tells_nothing_and_says_so() -> None:
    hour_s, warm_c = warmth(40)
    daily = [
        Wetting(d * DAY_S, d * DAY_S + HOUR_S, 0.3, 0.5, 0, HOUR_S, WettingKind.FROM_ABOVE, 1, "")
        for d in range(40)
    ]
    found = temperature_effect(hour_s, 0.1 + 0.001 * warm_c, warm_c, daily)
    assert found.m3_m3_per_c is None
    assert "undisturbed days" in found.reason


def test_short_gaps_in_temperature_are_joined_and_long_ones_take_moisture_with_them() -> None:
    hour_s, warm_c = warmth(40)
    wet = 0.1 + 0.001 * (warm_c - 20)
    found = temperature_effect(hour_s, wet, warm_c, [])
    holed = warm_c.copy()
    holed[200:203] = np.nan  # three hours
    holed[400:430] = np.nan  # more than a day
    left = without_temperature(hour_s, wet, holed, found)
    assert np.all(np.isfinite(left[200:203]))
    assert left[201] == pytest.approx(0.1, abs=0.0012)
    assert np.isnan(left[410:420]).all()
    assert np.isfinite(left[[396, 434]]).all()
    assert np.isnan(without_temperature(hour_s, wet, np.full(wet.size, np.nan), found)).all()


def test_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="equally long"):
        temperature_effect([0.0], [0.1, 0.2], [20.0], [])
