"""Moments as a grower writes them — “yesterday 18:00”, “2 h ago” — in the garden's own time zone."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from traywarden.errors import UsageError

EXAMPLES = "“2026-03-01 08:00”, “yesterday 18:00”, “today 7:30”, “2 h ago” or “3 days ago”"
EARLIEST_YEAR = 1970
LATEST_YEAR = 2200
NOON = time(12)

_AGO = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]+)\s+ago")
_MINUTES = {"min": 1, "mins": 1, "minute": 1, "minutes": 1, "h": 60, "hour": 60, "hours": 60, "hrs": 60}
_DAYS = {"d": 1, "day": 1, "days": 1, "week": 7, "weeks": 7}
_CLOCK = r"(\d{1,2})(?::(\d{2}))(?::(\d{2}))?\s*(am|pm)?"
_NAMED_DAY = re.compile(rf"(today|yesterday)(?:\s+(?:at\s+)?{_CLOCK})?")
_CLOCK_ONLY = re.compile(_CLOCK)
_DATE = re.compile(rf"(\d{{4}})-(\d{{1,2}})-(\d{{1,2}})(?:(?:\s+(?:at\s+)?|t){_CLOCK})?")
_WITH_OFFSET = re.compile(r"\d{4}-\d{2}-\d{2}[t ]\d{2}:\d{2}.*(?:z|[+-]\d{2}:?\d{2})")


@dataclass(frozen=True, slots=True)
class Moment:
    """An instant, and one sentence where the words left something open (else empty)."""

    at_ms: int
    remark: str = ""


def parse_moment(text: str, *, now_ms: int, zone: ZoneInfo, future: bool = False) -> Moment:
    """The instant that words mean; nothing at all means now.

    A date without a clock time means noon. A clock time that comes twice when clocks go back means the first.

    Raises UsageError for words that cannot be read, a clock time that clocks skipped, and, unless `future`, a
    time still to come.
    """
    words = " ".join(text.strip().lower().split())
    if words in ("", "now"):
        return Moment(now_ms)
    now = _local(now_ms, zone)
    moment = _read(words, now, now_ms, zone)
    if moment is None:
        raise UsageError(f"The time “{text}” cannot be read; write it like {EXAMPLES}.")
    if moment.at_ms > now_ms and not future:
        raise UsageError(
            f"{moment_words(moment.at_ms, zone)} is still to come (it is {moment_words(now_ms, zone)} "
            f"in {zone.key}); the journal holds what has happened."
        )
    if _local(moment.at_ms, zone).year < EARLIEST_YEAR:
        raise UsageError(f"{moment_words(moment.at_ms, zone)} is before {EARLIEST_YEAR}; check the year.")
    return moment


def moment_words(at_ms: int, zone: ZoneInfo) -> str:
    """The instant as `parse_moment` reads it back: with its offset only where the clock time came twice."""
    local = _local(at_ms, zone)
    stamp = f"{local:%Y-%m-%d %H:%M}"
    twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
    return f"{stamp}{local:%z}" if twice else stamp


def _read(words: str, now: datetime, now_ms: int, zone: ZoneInfo) -> Moment | None:
    if ago := _AGO.fullmatch(words):
        return _ago(float(ago[1].replace(",", ".")), ago[2], now, now_ms, zone)
    if (year := re.match(r"\d{4}(?=-)", words)) and not EARLIEST_YEAR <= int(year[0]) <= LATEST_YEAR:
        raise UsageError(
            f"The year {year[0]} cannot be meant; give one from {EARLIEST_YEAR} to {LATEST_YEAR}."
        )
    if _WITH_OFFSET.fullmatch(words):
        return _with_offset(words)
    if named := _NAMED_DAY.fullmatch(words):
        day = now.date() - timedelta(days=named[1] == "yesterday")
        return _on(day, named.groups()[1:], now_ms, zone)
    if clock := _CLOCK_ONLY.fullmatch(words):
        return _on(now.date(), clock.groups(), now_ms, zone)
    if dated := _DATE.fullmatch(words):
        try:
            day = date(int(dated[1]), int(dated[2]), int(dated[3]))
        except ValueError:
            raise UsageError(
                f"There is no date {dated[1]}-{dated[2]}-{dated[3]}; check month and day."
            ) from None
        return _on(day, dated.groups()[3:], now_ms, zone)
    return None


def _ago(amount: float, unit: str, now: datetime, now_ms: int, zone: ZoneInfo) -> Moment | None:
    if unit in _MINUTES:
        minutes = amount * _MINUTES[unit]
        if minutes > 1e8:
            return None
        return Moment(now_ms - round(minutes * 60_000))
    if unit in _DAYS and amount * _DAYS[unit] == int(amount * _DAYS[unit]) <= 36_500:
        # Days are the calendar's: “3 days ago” keeps the clock time over a change of clocks.
        day = now.date() - timedelta(days=int(amount * _DAYS[unit]))
        return _at(day, now.time().replace(microsecond=0), zone, lenient=True)
    return None


def _with_offset(words: str) -> Moment | None:
    try:
        moment = datetime.fromisoformat(words.upper())
        return Moment(round(moment.timestamp() * 1000))
    except (ValueError, OverflowError):
        return None


def _on(day: date, clock: tuple[str | None, ...], now_ms: int, zone: ZoneInfo) -> Moment | None:
    """A day with or without (hour, minute, second, am/pm)."""
    hour, minute, second, half = clock
    if hour is None:
        noon = _at(day, NOON, zone, lenient=True)
        return (
            Moment(min(noon.at_ms, now_ms), "Noon is meant.") if day == _local(now_ms, zone).date() else noon
        )
    hours = int(hour)
    if half and not 1 <= hours <= 12:
        return None
    if half:
        hours = hours % 12 + (12 if half == "pm" else 0)
    try:
        wall = time(hours, int(minute or 0), int(second or 0))
    except ValueError:
        return None
    return _at(day, wall, zone)


def _at(day: date, wall: time, zone: ZoneInfo, *, lenient: bool = False) -> Moment:
    """The instant of a wall-clock time; `lenient` for times nobody typed, which move instead of failing."""
    first = datetime.combine(day, wall, zone)
    second = first.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return Moment(round(first.timestamp() * 1000))
    back = first.astimezone(UTC).astimezone(zone)
    if back.replace(tzinfo=None) != first.replace(tzinfo=None):
        if lenient:
            return Moment(round(first.timestamp() * 1000))
        raise UsageError(
            f"There was no {wall:%H:%M} on {day} in {zone.key}: clocks jumped over it; "
            f"write {second.astimezone(UTC).astimezone(zone):%H:%M} or {back:%H:%M}."
        )
    remark = (
        f"{wall:%H:%M} came twice on {day}; the first is meant (second: “{day} {wall:%H:%M}{second:%z}”)."
    )
    return Moment(round(first.timestamp() * 1000), "" if lenient else remark)


def _local(at_ms: int, zone: ZoneInfo) -> datetime:
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)).astimezone(zone)
