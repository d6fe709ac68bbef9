"""Moments as a grower writes them."""

import contextlib
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.errors import UsageError
from traywarden.services.moments import moment_words, parse_moment

LISBON = ZoneInfo("Europe/Lisbon")


def ms(*when: int) -> int:
    return round(datetime(*when, tzinfo=UTC).timestamp() * 1000)  # type: ignore[misc,arg-type]


NOW = ms(2026, 6, 10, 14, 0)  # 15:00 in Lisbon (UTC+1 in summer)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("", NOW),
        ("now", NOW),
        ("2026-03-01 08:00", ms(2026, 3, 1, 8, 0)),
        ("2026-06-01 08:00", ms(2026, 6, 1, 7, 0)),
        ("2026-06-01T08:00:30", ms(2026, 6, 1, 7, 0, 30)),
        ("2026-06-01", ms(2026, 6, 1, 11, 0)),
        ("1998-01-01 00:30", ms(1998, 1, 1, 0, 30)),  # loggers' files go back that far
        ("yesterday 18:00", ms(2026, 6, 9, 17, 0)),
        ("Yesterday at 6:00 pm", ms(2026, 6, 9, 17, 0)),
        ("yesterday", ms(2026, 6, 9, 11, 0)),
        ("today 7:30", ms(2026, 6, 10, 6, 30)),
        ("7:30", ms(2026, 6, 10, 6, 30)),
        ("12:15 am", ms(2026, 6, 9, 23, 15)),
        ("2 h ago", ms(2026, 6, 10, 12, 0)),
        ("90 minutes ago", ms(2026, 6, 10, 12, 30)),
        ("1,5 hours ago", ms(2026, 6, 10, 12, 30)),
        ("3 days ago", ms(2026, 6, 7, 14, 0)),
        ("a week ago", None),
        ("2 weeks ago", ms(2026, 5, 27, 14, 0)),
        ("2026-06-01T08:00+02:00", ms(2026, 6, 1, 6, 0)),
        ("2026-06-01 08:00Z", ms(2026, 6, 1, 8, 0)),
        ("2026-06-01t08:00:00.500+0000", ms(2026, 6, 1, 8, 0) + 500),
    ],
)
def test_words_mean_an_instant_in_the_gardens_zone(words: str, expected: int | None) -> None:
    if expected is None:
        with pytest.raises(UsageError, match="cannot be read; write it like"):
            parse_moment(words, now_ms=NOW, zone=LISBON)
    else:
        assert parse_moment(words, now_ms=NOW, zone=LISBON).at_ms == expected


def test_days_ago_keep_the_clock_time_over_a_change_of_clocks() -> None:
    """Lisbon's clocks went forward on 29 March 2026: the same wall-clock time is 71 hours earlier."""
    now = ms(2026, 3, 30, 11, 0)
    assert now - parse_moment("3 days ago", now_ms=now, zone=LISBON).at_ms == 71 * 3_600_000


def test_a_clock_time_that_clocks_skipped_is_refused_with_a_way_out() -> None:
    with pytest.raises(UsageError, match=r"no 01:30 on 2026-03-29 in Europe/Lisbon.*00:30 or 02:30"):
        parse_moment("2026-03-29 01:30", now_ms=NOW, zone=LISBON)


def test_a_clock_time_that_came_twice_is_the_first_and_says_so() -> None:
    now = ms(2026, 12, 1)
    first = parse_moment("2026-10-25 01:30", now_ms=now, zone=LISBON)
    assert first.at_ms == ms(2026, 10, 25, 0, 30)
    assert "came twice" in first.remark
    second = parse_moment("2026-10-25 01:30+0000", now_ms=now, zone=LISBON)
    assert second.at_ms == ms(2026, 10, 25, 1, 30)
    assert "2026-10-25 01:30+0000" in first.remark


def test_what_is_still_to_come_is_refused_unless_asked_for() -> None:
    with pytest.raises(UsageError, match="still to come"):
        parse_moment("today 18:00", now_ms=NOW, zone=LISBON)
    assert parse_moment("today 18:00", now_ms=NOW, zone=LISBON, future=True).at_ms == ms(2026, 6, 10, 17, 0)


def test_today_without_a_time_is_never_in_the_future() -> None:
    early = ms(2026, 6, 10, 5, 0)
    assert parse_moment("today", now_ms=early, zone=LISBON).at_ms == early
    assert parse_moment("2026-06-10", now_ms=early, zone=LISBON).at_ms == early


@pytest.mark.parametrize(
    "words", ["soon", "25:00", "13:00 pm", "2026-13-01", "2026-02-30", "0026-03-01", "1.5 days ago"]
)
def test_what_cannot_be_a_time_is_refused_in_one_sentence(words: str) -> None:
    with pytest.raises(UsageError):
        parse_moment(words, now_ms=NOW, zone=LISBON)


@given(st.one_of(st.text(max_size=40), st.from_regex(r"\d{4}-\d\d-\d\d( \d\d:\d\d)?(Z|[+-]\d\d:\d\d)?")))
def test_no_words_raise_anything_but_a_usage_error(words: str) -> None:
    with contextlib.suppress(UsageError):
        parse_moment(words, now_ms=NOW, zone=LISBON)


@given(
    st.integers(ms(2001, 1, 1), ms(2026, 6, 1)),
    st.sampled_from(["Europe/Lisbon", "America/Chicago", "Asia/Tokyo"]),
)
def test_printed_moments_read_back_to_the_same_minute(at_ms: int, name: str) -> None:
    zone = ZoneInfo(name)
    read = parse_moment(moment_words(at_ms, zone), now_ms=NOW, zone=zone)
    assert (read.at_ms, read.remark) == (at_ms - at_ms % 60_000, "")
