"""Tonight and tomorrow by the garden's clock, and past nights with what was known then."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from traywarden.domain.lows_highs import walk
from traywarden.domain.nights import STILL_NIGHT_H, Hours, past_turns, turn_at, turn_of
from traywarden.domain.series import FloatArray

LISBON = ZoneInfo("Europe/Lisbon")
UTC_ZONE = ZoneInfo("UTC")


def at(text: str, zone: ZoneInfo = LISBON) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()


@pytest.mark.parametrize(
    ("asked", "night", "day"),
    [
        ("2026-06-10 05:59", date(2026, 6, 9), date(2026, 6, 10)),
        ("2026-06-10 06:01", date(2026, 6, 10), date(2026, 6, 11)),
        ("2026-06-10 14:00", date(2026, 6, 10), date(2026, 6, 11)),
        ("2026-06-10 23:59", date(2026, 6, 10), date(2026, 6, 11)),
        ("2026-06-11 00:01", date(2026, 6, 10), date(2026, 6, 11)),
    ],
)
def test_tonight_and_tomorrow_are_what_a_grower_means(asked: str, night: date, day: date) -> None:
    turn = turn_at(at(asked), LISBON)
    assert (turn.night, turn.day) == (night, day)


def test_the_night_clocks_go_forward_is_an_hour_shorter_and_the_day_too() -> None:
    turn = turn_of(date(2026, 3, 28), LISBON)
    assert turn.night_end_s - turn.night_start_s == 14 * 3600
    assert turn.day_end_s - turn.day_start_s == 23 * 3600
    assert datetime.fromtimestamp(turn.night_end_s, UTC).astimezone(LISBON).hour == 9


def hours_of(lows: FloatArray, start: str = "2026-05-01 00:00") -> Hours:
    """Days that are coldest at 5 o'clock, as given, and 12 degrees warmer at 17."""
    hour = np.arange(lows.size * 24)
    temps = np.repeat(lows, 24) + 6 - 6 * np.cos((hour % 24 - 5) / 24 * 2 * np.pi)
    return Hours(at(start, UTC_ZONE), temps, temps, temps, np.full(temps.size, np.nan))


def test_past_nights_have_the_lows_that_came_and_the_last_has_none_yet() -> None:
    lows = np.arange(30.0)
    now_s = at("2026-05-30 20:00", UTC_ZONE)
    found = past_turns(hours_of(lows), now_s, UTC_ZONE, of_night=True, days=10)
    assert found.nights[-1] == date(2026, 5, 30)
    assert np.isnan(found.truth_c[-1])
    # The night of the 29th ends in the morning of the 30th, whose low is number 29.
    assert found.truth_c[-2] == pytest.approx(29.0)
    np.testing.assert_allclose(found.plain_c[1:], found.truth_c[:-1])
    assert found.so_far_c[-1] == pytest.approx(hours_of(lows).mean_c[29 * 24 + 19])


def test_a_high_is_that_of_the_next_day_and_compared_with_todays_when_it_has_been_seen() -> None:
    lows = np.arange(30.0)
    evening = past_turns(hours_of(lows), at("2026-05-29 18:00", UTC_ZONE), UTC_ZONE, of_night=False, days=5)
    assert evening.plain_c[-1] == pytest.approx(28 + 12.0)  # today's, at 17 o'clock
    assert evening.truth_c[-2] == pytest.approx(np.nan, nan_ok=True)  # of today: not over
    morning = past_turns(hours_of(lows), at("2026-05-29 08:00", UTC_ZONE), UTC_ZONE, of_night=False, days=5)
    assert morning.plain_c[-1] == pytest.approx(27 + 12.0)  # yesterday's: today's is still to come
    assert np.isnan(morning.so_far_c[-1])


@pytest.mark.parametrize("asked_h", [3, 7, 8, 12, 18, 20, 23])
def test_nothing_later_than_the_question_is_known_to_it(asked_h: int) -> None:
    """Every reading after the clock time of a row may change; what the row knew and told does not."""
    random = np.random.default_rng(2)
    lows = random.normal(10, 3, 40)
    true = hours_of(lows)
    now_s = true.start_s + (39 * 24 + asked_h) * 3600
    for of_night in (True, False):
        found = past_turns(true, now_s, UTC_ZONE, of_night=of_night, days=20)
        told = walk(found, half_width_c=5.0, of_night=of_night)
        for row in (3, 11, 15, 19):
            night = found.nights[row]
            asked_on = night + timedelta(days=asked_h < STILL_NIGHT_H)
            asked = round((at(f"{asked_on} {asked_h:02d}:00", UTC_ZONE) - true.start_s) // 3600)
            changed = true.mean_c.copy()
            changed[asked:] += -50 if of_night else 50
            other = past_turns(
                Hours(true.start_s, changed, changed, changed, true.dew_point_c),
                now_s,
                UTC_ZONE,
                of_night=of_night,
                days=20,
            )
            np.testing.assert_array_equal(found.marks[row], other.marks[row])
            assert found.plain_c[row] == other.plain_c[row]
            assert found.so_far_c[row] == pytest.approx(other.so_far_c[row], nan_ok=True)
            retold = walk(other, half_width_c=5.0, of_night=of_night)
            for name in ("estimate_c", "low_c", "high_c", "calibrated"):
                assert getattr(told, name)[row] == getattr(retold, name)[row]
            assert row < 15 or told.calibrated[row]


def test_asked_between_two_hours_the_past_knows_no_more_than_whole_hours_before() -> None:
    """At 20:40 the hour that is running counts now, as far as it was measured; in the past it was not
    over."""
    true = hours_of(np.random.default_rng(2).normal(10, 3, 40))
    now_s = at("2026-06-09 20:40", UTC_ZONE)
    found = past_turns(true, now_s, UTC_ZONE, of_night=True, days=20)
    for row in (3, 18):
        asked = round((at(f"{found.nights[row]} 20:00", UTC_ZONE) - true.start_s) // 3600)
        changed = true.mean_c.copy()
        changed[asked:] -= 50
        late = Hours(true.start_s, changed, changed, changed, true.dew_point_c)
        other = past_turns(late, now_s, UTC_ZONE, of_night=True, days=20)
        assert found.so_far_c[row] == other.so_far_c[row]


@pytest.mark.parametrize(
    ("clock", "of_night"),
    [("18:05", True), ("20:01", True), ("20:31", True), ("05:10", True), ("00:05", False), ("05:10", False)],
)
def test_of_the_hour_that_is_running_all_that_was_measured_is_known_now(clock: str, of_night: bool) -> None:
    """Also within its first half, and the first hour of a night or day; of the next hour nothing is."""
    true = hours_of(np.full(40, 10.0))
    now_s = at(f"2026-06-09 {clock}", UTC_ZONE)
    running = int((now_s - true.start_s) // 3600)
    for later, known in ((0, True), (1, False)):
        ends = np.full(true.mean_c.size, 10.0)
        ends[running + later] = 2.0 if of_night else 30.0
        found = past_turns(
            Hours(true.start_s, true.mean_c, ends, ends, true.dew_point_c),
            now_s,
            UTC_ZONE,
            of_night=of_night,
            days=20,
        )
        assert bool(found.so_far_c[-1] == ends[running + later]) is known


def test_asked_early_in_the_morning_the_last_low_is_that_of_the_night_that_is_ending() -> None:
    """At 7 o'clock tonight is the coming night, and this morning's low has been seen; it is what the rows
    before had too, or the errors they made would be too small for it."""
    lows = np.arange(30.0)
    for asked_h in (7, 8, 10):
        now_s = at(f"2026-05-30 {asked_h:02d}:00", UTC_ZONE)
        found = past_turns(hours_of(lows), now_s, UTC_ZONE, of_night=True, days=10)
        assert found.nights[-1] == date(2026, 5, 30)
        assert found.plain_c[-1] == pytest.approx(29.0)
        np.testing.assert_allclose(np.diff(found.plain_c), 1.0)


def test_a_night_with_too_few_readings_has_no_low_and_is_no_last_time() -> None:
    known = hours_of(np.full(30, 8.0))
    known.min_c[20 * 24 : 20 * 24 + 8] = np.nan
    found = past_turns(known, at("2026-05-30 20:00", UTC_ZONE), UTC_ZONE, of_night=True, days=12)
    row = found.nights.index(date(2026, 5, 20))
    assert np.isnan(found.truth_c[row])
    assert found.plain_c[row + 1] == pytest.approx(8.0)  # of the night before it
