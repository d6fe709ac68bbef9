"""Bundles of coming hours: what they rest on, how they spread, and how often recorded fields fell inside."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.figures import coming_hours, hours
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.forecast_outlook import continued, through_forecast
from traywarden.domain.lag import LearnedLag
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import own_days
from traywarden.errors import ShortOfDataError

HOUR_S = 3600.0
DAY_S = 86_400.0


def days_of(means: FloatArray, *, swing_c: float = 5.0) -> tuple[FloatArray, FloatArray]:
    hour = np.arange(means.size * 24)
    return np.asarray(hour * HOUR_S), np.repeat(means, 24) + swing_c * np.sin(hour / 24 * 2 * np.pi)


def wandering(days: int, *, kept: float = 0.7, seed: int = 4) -> FloatArray:
    random = np.random.default_rng(seed)
    level = np.empty(days)
    now = 0.0
    for day in range(days):
        now = level[day] = kept * now + random.normal(0, 2 * np.sqrt(1 - kept**2))
    return 15 + level


def test_the_spread_grows_to_the_records_own_day_to_day_spread() -> None:
    means = wandering(45)
    times, temps = days_of(means)
    members = own_days(times, temps, times[-1] + HOUR_S, 24 * 10, members=2000).members_c
    spread = members.reshape(2000, 10, 24).mean(axis=2).std(axis=0)
    assert (np.diff(spread[:5]) > 0).all()
    assert spread[0] < 0.9 * spread[-1]
    # Beyond the record's own spread by what its long mean may wander.
    assert means.std() < spread[-1] < 2.2 * means.std()


def test_a_day_keeps_the_course_that_days_had() -> None:
    times, temps = days_of(wandering(30))
    bundle = own_days(times, temps, times[-1] + HOUR_S, 24)
    course = np.median(bundle.members_c - bundle.members_c.mean(axis=1, keepdims=True), axis=0)
    np.testing.assert_allclose(course, 5 * np.sin(np.arange(24) / 24 * 2 * np.pi), atol=0.8)


def test_paths_start_from_what_was_measured_last() -> None:
    """The last day breaks off two degrees above its course: the first hours stay up, not the next day."""
    times, temps = days_of(np.full(30, 15.0) + 1e-3 * np.arange(30))
    temps[-1] += 2.0
    found = own_days(times, temps, times[-1] + HOUR_S, 24)
    usual = 15 + 5 * np.sin(np.arange(24) / 24 * 2 * np.pi)
    over = np.median(found.members_c, axis=0) - usual
    assert over[0] > 1.2
    assert abs(over[-1]) < 0.6


def test_gaps_of_hours_are_filled_and_days_without_readings_left_out() -> None:
    times, temps = days_of(wandering(30))
    temps[24 * 12 : 24 * 14] = np.nan
    temps[5::24] = np.nan
    found = own_days(times, temps, times[-1] + HOUR_S, 48)
    assert found.days == 28
    assert np.isfinite(found.members_c).all()
    kept = np.isfinite(temps)
    again = own_days(times[kept], temps[kept], times[-1] + HOUR_S, 48)
    np.testing.assert_array_equal(found.members_c, again.members_c)


def test_the_same_seed_gives_the_same_bundle_and_another_another() -> None:
    times, temps = days_of(wandering(20))
    one, same, other = (own_days(times, temps, times[-1] + HOUR_S, 24, seed=s).members_c for s in (1, 1, 2))
    np.testing.assert_array_equal(one, same)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize(
    ("days", "last_missing", "says"),
    [(3, False, "Only 3 whole days are known"), (20, True, "The last day was not measured")],
)
def test_too_little_is_refused_with_the_reason(days: int, last_missing: bool, says: str) -> None:
    times, temps = days_of(wandering(days))
    if last_missing:
        temps[-24:] = np.nan
    with pytest.raises(ShortOfDataError, match=says):
        own_days(times, temps, times[-1] + HOUR_S, 24)


def test_few_days_are_enough_and_said_to_be_few() -> None:
    times, temps = days_of(wandering(6))
    assert "6 days only" in own_days(times, temps, times[-1] + HOUR_S, 24).remark
    times, temps = days_of(wandering(20))
    assert own_days(times, temps, times[-1] + HOUR_S, 24).remark == ""


def hour_starts(first: int, end: int) -> FloatArray:
    return np.asarray(np.arange(first, end) * HOUR_S)


def relation(**changes: float) -> LearnedLag:
    numbers = {
        "lag_h": 2.0,
        "gain": 1.0,
        "slow_gain": 0.0,
        "offset_c": 1.0,
        "sun_morning_c": 0.0,
        "sun_afternoon_c": 0.0,
        "spread_c": 0.4,
        "memory_h": 5.0,
        "bias_c": 0.0,
        "r2": 1.0,
        "from_s": 0.0,
        "to_s": 10 * DAY_S,
        "air_low_c": 0.0,
        "air_high_c": 30.0,
    } | changes
    return LearnedLag(**numbers, hours=240, zone=ZoneInfo("UTC"))


def test_a_forecast_goes_through_the_relation_with_its_own_error_and_the_relations() -> None:
    past_s, coming_s = hour_starts(0, 96), hour_starts(96, 168)
    past_air, coming_air = np.full(96, 10.0), np.full(72, 16.0)
    bundle = through_forecast(
        relation(),
        past_s,
        past_air,
        past_air + 1,
        coming_s,
        coming_air,
        error_c=np.full(72, 1.5),
        members=4000,
    )
    median = np.median(bundle.members_c, axis=0)
    assert median[0] == pytest.approx(11.0, abs=2.0)
    assert median[30] == pytest.approx(17.0, abs=0.2)
    # The lag smooths an error that lasts 12 h hardly: sqrt(1.5² · 12/(12 + 2) + 0.4²) = 1.44.
    assert bundle.members_c[:, 40].std() == pytest.approx(1.44, abs=0.08)


def test_what_the_relation_was_off_by_lives_on_and_fades() -> None:
    """Off by 1 °C for days and by 3 °C just now: 1 °C stays, the rest fades."""
    past_s, coming_s = hour_starts(0, 96), hour_starts(96, 144)
    level = np.full(96, 10.0)
    measured = level + 2.0
    measured[-1] += 2.0
    bundle = through_forecast(
        relation(spread_c=0.05),
        past_s,
        level,
        measured,
        coming_s,
        np.full(48, 10.0),
        error_c=np.zeros(48),
    )
    over = np.median(bundle.members_c, axis=0) - 11.0
    assert over[0] == pytest.approx(1 + 2 * np.exp(-1 / 5), abs=0.1)
    assert over[40] == pytest.approx(1.0, abs=0.1)


def test_a_forecast_that_ends_is_carried_on_without_a_jump() -> None:
    times, temps = days_of(wandering(30))
    own = own_days(times, temps, times[-1] + HOUR_S, 96)
    short = Ensemble(own.time_s[:36], own.members_c[::-1, :36] + 4.0, 30, "forecast")
    joined = continued(short, own)
    assert joined.time_s.size == 96
    np.testing.assert_array_equal(joined.members_c[:, :36], short.members_c)
    steps = np.diff(joined.members_c[:, 34:39], axis=1)
    assert np.abs(steps).max() < np.abs(np.diff(own.members_c, axis=1)).max() + 1.0
    assert continued(own, short) is own


@pytest.mark.data
@pytest.mark.parametrize("field", [hours.bondville, hours.ford_dry_lake])
def test_recorded_days_fell_into_the_80_percent_band_about_as_often(field: hours.Maker) -> None:
    """May to October, five days ahead. `python -m tests.figures coming-hours` prints all of it."""
    recorded = field()
    soil = recorded.soil_c[next(iter(recorded.soil_c))]
    for temp_c, least in ((recorded.air_c, 0.75), (soil, 0.72)):
        found = coming_hours.held(recorded, temp_c, coming_hours.SEASON)
        for shares in (found.low, found.mean, found.high):
            assert (shares >= least).all()
            assert (shares <= 0.90).all()
            assert 0.75 <= shares.mean() <= 0.87
        assert (found.error_c[2:] < found.yesterday_error_c[2:]).all()


@pytest.mark.data
def test_the_mean_of_the_coming_weeks_is_held_about_as_often_elsewhere_too() -> None:
    """How far a mean may wander was set on two fields; Seattle's four years had no part in it."""
    found = coming_hours.weeks()
    assert (found["Seattle 2012–2015, air, 45 days known"].shares >= 0.78).all()
    assert (found["Seattle 2012–2015, air, 10 days known"].shares >= 0.78).all()
    for name, held in found.items():
        assert (held.shares[:3] >= 0.72).all(), name
        assert (held.shares >= 0.65).all(), name  # desert soil in spring: three weeks ahead it is warmer
        assert (held.shares <= 0.92).all(), name
    assert np.mean([held.shares[:4].mean() for held in found.values()]) == pytest.approx(0.80, abs=0.05)
