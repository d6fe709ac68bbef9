"""Days of a place against pandas and xclim, and when they warm against curves whose answer is known."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from tests.figures import places as figures
from traywarden.domain.place_days import PlaceHours, day_curve, place_days, same_days
from traywarden.domain.series import FloatArray

UTC_ZONE, LISBON = ZoneInfo("UTC"), ZoneInfo("Europe/Lisbon")
DAY_S = 86_400.0
FIRST = date(2026, 3, 1)
START_S = pd.Timestamp(FIRST, tz="UTC").timestamp()


def hours(temp_c: FloatArray, start_s: float = START_S, vpd_kpa: FloatArray | None = None) -> PlaceHours:
    hour_s = start_s + 3600.0 * np.arange(float(temp_c.size))
    return PlaceHours("bench", hour_s, temp_c, temp_c - 0.3, temp_c + 0.4, vpd_kpa if vpd_kpa is not None
                      else np.full(temp_c.size, np.nan))  # fmt: skip


def weather(days: int, seed: int = 5) -> FloatArray:
    rng = np.random.default_rng(seed)
    at_h = np.arange(days * 24)
    swing = 6 * np.sin((at_h % 24 - 9) / 24 * 2 * np.pi)
    return np.asarray(12 + swing + rng.normal(0, 0.8, at_h.size))


def test_hours_inside_a_span_are_those_counted_by_pandas_where_hours_are_flat() -> None:
    temp_c = weather(20)
    flat = PlaceHours("bench", START_S + 3600.0 * np.arange(480.0), temp_c, temp_c, temp_c, temp_c)
    found = place_days(flat, UTC_ZONE, FIRST, FIRST + timedelta(19), spans_c={"x": (9.0, 15.0)})
    table = pd.Series(temp_c, pd.date_range(FIRST, periods=temp_c.size, freq="h"))
    theirs = table.between(9.0, 15.0).resample("1D").sum()
    np.testing.assert_allclose(found.inside_h["x"], theirs.to_numpy(np.float64))


def test_an_hour_that_only_reaches_into_a_span_counts_by_the_part_that_does() -> None:
    """Every hour runs over 0.7 °C from 9.7 to 10.4; of it 0.4 lies above 10."""
    found = place_days(hours(np.full(24, 10.0)), UTC_ZONE, FIRST, FIRST, spans_c={"warm": (10.0, 40.0)})
    assert found.inside_h["warm"] == pytest.approx([24 * 0.4 / 0.7])


@pytest.mark.parametrize("later_h", [0.0, 0.4, 1.0, 2.5])
def test_a_day_half_as_late_warms_half_as_late(later_h: float) -> None:
    """A cosine with its low at 3 passes its middle at 9; hourly means are off by minutes."""
    middle_h = np.arange(5 * 24) % 24 + 0.5
    temp_c = 10 - 5 * np.cos((middle_h - 3 - later_h) / 24 * 2 * np.pi)
    found = place_days(hours(temp_c), UTC_ZONE, FIRST, FIRST + timedelta(4))
    assert found.half_warm_h == pytest.approx(np.full(5, 9 + later_h), abs=0.1)
    assert found.hottest_h == pytest.approx(np.full(5, 15 + later_h), abs=0.51)


def test_a_dull_day_has_no_morning_and_no_hottest_hour() -> None:
    found = place_days(hours(10 + 0.2 * weather(3)), UTC_ZONE, FIRST, FIRST + timedelta(2))
    assert np.isnan(found.half_warm_h).all()
    assert np.isnan(found.hottest_h).all()
    assert np.isfinite(found.mean_c).all()


def test_a_day_that_only_cools_has_no_morning() -> None:
    falling = np.tile(np.linspace(20.0, 5.0, 24), 2)
    found = place_days(hours(falling), UTC_ZONE, FIRST, FIRST + timedelta(1))
    assert np.isnan(found.half_warm_h[0])


def test_days_are_the_gardens_own_and_clock_times_its_clock() -> None:
    """In Lisbon clocks go forward on 29 March 2026, a day of 23 hours; the same sun is then an hour later."""
    start_s = pd.Timestamp("2026-03-28", tz="Europe/Lisbon").timestamp()
    middle_h = np.arange(72) % 24 + 0.5
    curve = hours(10 - 5 * np.cos((middle_h - 3) / 24 * 2 * np.pi), start_s)
    found = place_days(curve, LISBON, date(2026, 3, 28), date(2026, 3, 30), spans_c={"all": (-50, 50)})
    assert found.inside_h["all"].tolist() == [24.0, 23.0, 24.0]
    assert found.half_warm_h == pytest.approx([9.0, 10.0, 10.0], abs=0.1)
    assert found.coverage.tolist() == [1.0, 1.0, 1.0]


def test_a_day_with_too_few_hours_is_blank_and_one_with_enough_is_scaled_up() -> None:
    temp_c = weather(3)
    temp_c[24:34] = np.nan  # ten hours of the second day
    temp_c[48:51] = np.nan  # three of the third
    found = place_days(hours(temp_c), UTC_ZONE, FIRST, FIRST + timedelta(2), spans_c={"all": (-50, 50)})
    assert found.coverage == pytest.approx([1.0, 14 / 24, 21 / 24])
    for name in ("low_c", "high_c", "mean_c", "half_warm_h", "hottest_h"):
        assert np.isnan(getattr(found, name)[1])
    assert found.inside_h["all"] == pytest.approx([24.0, np.nan, 24.0], nan_ok=True)
    assert same_days([found, found]).tolist() == [True, False, True]


def test_days_without_any_reading_are_there_and_blank() -> None:
    found = place_days(hours(weather(2)), UTC_ZONE, FIRST - timedelta(2), FIRST + timedelta(3))
    assert len(found.days) == 6
    assert np.isfinite(found.mean_c).tolist() == [False, False, True, True, False, False]
    empty = place_days(hours(np.empty(0)), UTC_ZONE, FIRST, FIRST, spans_c={"x": (0, 1)})
    assert np.isnan(empty.inside_h["x"]).all()


def test_the_day_curve_is_the_mean_of_each_clock_hour_on_the_days_asked_for() -> None:
    temp_c = weather(10)
    days = [FIRST + timedelta(n) for n in (1, 4, 5)]
    table = pd.Series(temp_c, pd.date_range(FIRST, periods=temp_c.size, freq="h"))
    index = pd.DatetimeIndex(table.index)
    chosen = table[[stamp.date() in days for stamp in index]]
    theirs = chosen.groupby(pd.DatetimeIndex(chosen.index).hour).mean()
    np.testing.assert_allclose(day_curve(hours(temp_c), UTC_ZONE, days), theirs.to_numpy(), rtol=1e-12)


@pytest.mark.data
def test_deeper_soil_warms_later_in_a_recorded_july() -> None:
    """Heat takes its time downward. (In April the sensors lay open: all depths leap at sunrise.)"""
    _, two, four, eight = figures.july()
    assert two.difference is None
    found = [place.difference.half_warm_h for place in (four, eight) if place.difference is not None]
    assert [round(each.estimate or 0.0, 1) for each in found] == [0.2, 0.7]
    assert found[0].low is not None
    assert found[0].low > 0
    lows = [place.mean.high_c.estimate for place in (two, four, eight)]
    assert lows == sorted(lows, reverse=True)  # type: ignore[type-var]


@pytest.mark.data
@pytest.mark.parametrize(("kind", "least"), [("limits", 40), ("best", 50)])
def test_a_ranking_of_the_odd_dates_is_never_turned_round_by_the_even_ones(kind: str, least: int) -> None:
    told, same, turned = figures.ranking_again(kind)
    assert told >= least
    assert same == told
    assert turned == 0


@pytest.mark.data
def test_hours_by_hourly_means_are_those_by_single_readings() -> None:
    """Even where a house is held at a crop's very minimum: by minutes on average, a quarter hour on a day."""
    mean_off, day_off = figures.hours_off_by_hourly_means()
    assert mean_off < 0.1
    assert day_off < 0.3
