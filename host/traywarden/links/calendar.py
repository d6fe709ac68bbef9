"""iCalendar files (RFC 5545): whole days of a plan, for any calendar program."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid5

from traywarden.errors import UsageError

SUFFIX = ".ics"
_NAMESPACE = UUID("6f0f6b0e-3b6a-5a0c-9a53-1d1c5f3f7c11")


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """One entry of whole days, `first` to `last` inclusive. `key` names it for good: the same key gives the
    same UID, so that a plan made again changes the entries of the old one instead of doubling them."""

    key: str
    first: date
    last: date
    summary: str
    description: str = ""


def check_calendar_name(path: Path) -> None:
    """Raises UsageError for a file name that no calendar can have; ask before working on what to write."""
    if path.suffix.lower() != SUFFIX:
        raise UsageError(f"A calendar called “{path.name}” cannot be written; end the name in .ics.")


def calendar_bytes(name: str, garden: str, entries: Sequence[CalendarDay], now: datetime) -> bytes:
    """A calendar of all-day entries. Its days are the garden's dates and belong to no time zone (RFC 5545,
    3.3.4: a DATE is floating); only DTSTAMP is an instant, in UTC."""
    # imported here because every command would load it, and one in a hundred writes a calendar
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Traywarden//Sowing plan//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", name)
    stamp = now.astimezone(UTC).replace(microsecond=0)
    for entry in entries:
        event = Event()
        event.add("uid", f"{uuid5(_NAMESPACE, f'{garden}/{entry.key}')}")
        event.add("dtstamp", stamp)
        event.add("dtstart", entry.first)
        event.add("dtend", entry.last + timedelta(days=1))  # the end is the first day that is not in it
        event.add("summary", entry.summary)
        if entry.description:
            event.add("description", entry.description)
        event.add("transp", "TRANSPARENT")  # a day to sow on leaves the day free
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def write_calendar(path: Path, name: str, garden: str, entries: Sequence[CalendarDay], now: datetime) -> None:
    """Write the calendar. Raises UsageError where the name or the folder will not do."""
    check_calendar_name(path)
    try:
        path.write_bytes(calendar_bytes(name, garden, entries, now))
    except OSError as error:
        raise UsageError(
            f"The calendar cannot be written to {path} ({error.strerror}); give another folder or name."
        ) from error
