"""Instants and days as a person says them, near ones by their day."""

from datetime import UTC, date, datetime, timedelta

from traywarden.domain.notice_words import Reader
from traywarden.domain.units import span_words


def clock(at: datetime, now: datetime) -> str:
    """“14:05” today, “tomorrow 14:05”, “Sun 14:05” within six days to come, else “Tue 3 Mar 14:05”."""
    return f"{day}{at:%H:%M}" if (day := _near_day(at, now)) is not None else _far(at, now)


def at_clock(at: datetime, now: datetime) -> str:
    """“at 14:05” today; with a day as `clock`, which needs no “at”.

    >>> now = datetime(2026, 3, 2, 9, tzinfo=UTC)
    >>> at_clock(now, now), at_clock(now - timedelta(days=1), now)
    ('at 09:00', 'yesterday 09:00')
    """
    return f"at {clock(at, now)}" if at.date() == now.date() else clock(at, now)


def soon_words(at: datetime, now: datetime) -> str:
    """An instant to come, no more precise than it is known: to the half hour within a day, to the hour
    within six, else the day. Rounded down, so that nobody comes too late.

    >>> now = datetime(2026, 3, 2, 9, tzinfo=UTC)
    >>> [soon_words(now + timedelta(hours=h), now) for h in (0.2, 3.7, 28.7, 50.7, 200.0)]
    ['now', '12:30', 'tomorrow 13:00', 'Wed 11:00', 'Tue 10 Mar']
    """
    minutes = 30 if at - now < timedelta(days=1) else 60
    rough = at.replace(minute=at.minute // minutes * minutes, second=0, microsecond=0)
    if rough <= now:
        return "now"
    return day_words(at, now) if (at.date() - now.date()).days > 6 else clock(rough, now)


def _near_day(at: datetime, now: datetime) -> str | None:
    ahead_d = (at.date() - now.date()).days
    if 1 < ahead_d <= 6:
        return f"{at:%a} "
    return {-1: "yesterday ", 0: "", 1: "tomorrow "}.get(ahead_d)


def _far(at: datetime, now: datetime) -> str:
    reader = Reader(round(now.timestamp() * 1000), now.tzinfo or UTC)
    return reader.clock(round(at.timestamp() * 1000))


def day_words(at: date, now: date) -> str:
    """“Tue 3 Mar”, with the year where it is not this one."""
    year = f" {at.year}" if at.year != now.year else ""
    return f"{at:%a} {at.day} {at:%b}{year}"


def days_words(first: date, last: date) -> str:
    """From one day to another, saying once what both share.

    >>> days_words(date(2026, 11, 20), date(2026, 11, 27)), days_words(date(2026, 3, 28), date(2026, 4, 3))
    ('20 to 27 November 2026', '28 March to 3 April 2026')
    """
    end = f"{last.day} {last:%B %Y}"
    if first == last:
        return end
    same_month = (first.year, first.month) == (last.year, last.month)
    begin = f"{first.day}" if same_month else f"{first.day} {first:%B}"
    return f"{begin}{'' if first.year == last.year else f' {first.year}'} to {end}"


def ago(seconds: float) -> str:
    """“3 days 2 h ago”; within the last minute “just now”."""
    return "just now" if seconds < 60 else f"{span_words(seconds)} ago"
