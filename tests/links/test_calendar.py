"""Calendars are read back by the library that others read them with."""

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from icalendar import Calendar, Event

from traywarden.errors import UsageError
from traywarden.links.calendar import CalendarDay, calendar_bytes, write_calendar

NOW = datetime(2026, 3, 1, 23, 30, 15, 123456, tzinfo=timezone(timedelta(hours=-5)))
SOW = CalendarDay(
    "tomato/Frame/2026-05-15/sow", date(2026, 4, 7), date(2026, 4, 7), "Sow Tomato", "For “May”; ok, so"
)
HARDEN = CalendarDay("tomato/Frame/2026-05-15/harden", date(2026, 5, 1), date(2026, 5, 14), "Harden off")


def events(raw: bytes) -> list[Event]:
    return [part for part in Calendar.from_ical(raw).walk() if isinstance(part, Event)]


def test_days_come_back_as_whole_days_and_the_end_is_the_day_after() -> None:
    sow, harden = events(calendar_bytes("Sowing", "hill", [SOW, HARDEN], NOW))
    assert (sow.decoded("dtstart"), sow.decoded("dtend")) == (date(2026, 4, 7), date(2026, 4, 8))
    assert (harden.decoded("dtstart"), harden.decoded("dtend")) == (date(2026, 5, 1), date(2026, 5, 15))
    for event in (sow, harden):
        # A date, not midnight in some time zone: it is the same day for whoever opens it, wherever.
        assert not isinstance(event.decoded("dtstart"), datetime)
        assert event["dtstart"].params["VALUE"] == "DATE"
        assert "TZID" not in event["dtstart"].params
    assert str(sow["summary"]) == "Sow Tomato"
    assert str(sow["description"]) == "For “May”; ok, so"


def test_the_stamp_is_the_instant_in_utc() -> None:
    (event,) = events(calendar_bytes("Sowing", "hill", [SOW], NOW))
    assert event.decoded("dtstamp") == datetime(2026, 3, 2, 4, 30, 15, tzinfo=UTC)
    assert event["dtstamp"].to_ical() == b"20260302T043015Z"


def test_the_same_entry_keeps_its_uid_when_its_day_moves_and_no_other_has_it() -> None:
    moved = CalendarDay(SOW.key, date(2026, 4, 9), date(2026, 4, 9), "Sow Tomato later")
    first = events(calendar_bytes("Sowing", "hill", [SOW, HARDEN], NOW))
    again = events(calendar_bytes("Sowing", "hill", [moved], NOW + timedelta(days=3)))
    other = events(calendar_bytes("Sowing", "vale", [SOW], NOW))
    assert str(first[0]["uid"]) == str(again[0]["uid"])
    assert len({str(e["uid"]) for e in (*first, *other)}) == 3


def test_the_file_keeps_to_the_standards_form() -> None:
    """RFC 5545: CRLF line ends (3.1), no line over 75 octets (3.1), PRODID and VERSION once (3.6)."""
    long = CalendarDay("k", date(2026, 4, 7), date(2026, 4, 7), "Sow", "ü" * 300 + "\nline")
    raw = calendar_bytes("Sowing", "hill", [long], NOW)
    assert raw.endswith(b"END:VCALENDAR\r\n")
    lines = raw.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not any(b"\n" in line for line in lines)
    assert raw.count(b"\r\nPRODID:") == raw.count(b"\r\nVERSION:2.0") == 1
    (event,) = events(raw)
    assert str(event["description"]) == long.description


def test_a_name_or_folder_that_will_not_do_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"end the name in \.ics"):
        write_calendar(tmp_path / "plan.txt", "Sowing", "hill", [SOW], NOW)
    with pytest.raises(UsageError, match="cannot be written"):
        write_calendar(tmp_path / "nowhere" / "plan.ics", "Sowing", "hill", [SOW], NOW)
