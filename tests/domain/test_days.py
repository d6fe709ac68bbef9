"""Garden days against the time-zone database's own published clock changes."""

from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.days import day_start_ms, days_touching, local_date, local_day_bounds

HOUR_MS = 3_600_000


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Lisbon", date(2026, 3, 29), 23),  # EU directive 2000/84/EC: last Sunday of March
        ("Europe/Lisbon", date(2026, 10, 25), 25),  # … and of October
        ("America/Chicago", date(2026, 3, 8), 23),  # US Energy Policy Act of 2005: second Sunday of March
        ("America/Chicago", date(2026, 11, 1), 25),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),  # half an hour only
        ("Africa/Cairo", date(2026, 4, 24), 23),  # the clocks jump at midnight itself
        ("Asia/Kolkata", date(2026, 6, 1), 24),
    ],
)
def test_a_day_is_as_long_as_its_clock_says(zone: str, day: date, hours: float) -> None:
    ((found, start_ms, end_ms),) = local_day_bounds(day, day, ZoneInfo(zone))
    assert found == day
    assert (end_ms - start_ms) / HOUR_MS == hours


def test_midnight_of_a_known_day() -> None:
    expected = datetime(2026, 6, 30, 23, tzinfo=UTC).timestamp() * 1000
    assert day_start_ms(date(2026, 7, 1), ZoneInfo("Europe/Lisbon")) == expected


def test_where_midnight_is_skipped_the_day_begins_at_the_jump() -> None:
    start_ms = day_start_ms(date(2026, 4, 24), ZoneInfo("Africa/Cairo"))
    assert datetime.fromtimestamp(start_ms / 1000, ZoneInfo("Africa/Cairo")).isoformat() == (
        "2026-04-24T01:00:00+03:00"
    )


def test_a_date_a_zone_left_out_does_not_appear() -> None:
    """Samoa went from 29 to 31 December 2011 to cross the date line."""
    days = local_day_bounds(date(2011, 12, 28), date(2012, 1, 1), ZoneInfo("Pacific/Apia"))
    assert [day.day for day, _, _ in days] == [28, 29, 31, 1]
    assert all(b == c for (_, _, b), (_, c, _) in pairwise(days))


def test_an_empty_span_has_no_days() -> None:
    assert local_day_bounds(date(2026, 1, 2), date(2026, 1, 1), ZoneInfo("UTC")) == []


@given(
    st.integers(0, 4_000_000_000_000),
    st.integers(0, 10 * 86_400_000),
    st.sampled_from(
        ["Europe/Lisbon", "America/Chicago", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Tokyo"]
    ),
)
def test_days_touching_a_span_join_and_hold_it(start_ms: int, length_ms: int, name: str) -> None:
    zone = ZoneInfo(name)
    days = days_touching(start_ms, start_ms + length_ms, zone)
    assert days[0][1] <= start_ms < days[0][2]
    assert days[-1][1] <= start_ms + length_ms < days[-1][2]
    assert all(before[2] == after[1] for before, after in pairwise(days))
    assert local_date(days[-1][1], zone) == days[-1][0]
