"""When notices may go out: quiet hours, and the hours of a channel's digest, in garden time."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from traywarden.domain.hushes import LATE_TONIGHT, MORNING

AT_ONCE = "at once"
DIGEST_EXAMPLES = "“at once”, “every 4 h”, or clock times such as “07:00, 18:00”"
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
_EVERY = re.compile(r"every\s+(\d{1,2})\s*h(?:ours?)?")


def clock_time(text: str) -> time | None:
    """“22:00” as a clock time; None where it is none.

    >>> clock_time("7:30"), clock_time("24:00")
    (datetime.time(7, 30), None)
    """
    found = _CLOCK.fullmatch(text.strip())
    return time(int(found[1]), int(found[2])) if found else None


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one clock time to another, over midnight or not. The same time twice, or none: no quiet hours."""

    start: time | None = None
    end: time | None = None

    def __bool__(self) -> bool:
        """Whether there are any."""
        return self.start is not None and self.end is not None and self.start != self.end

    def until(self, at: datetime) -> datetime | None:
        """When the quiet hours that the instant lies in end; None outside them.

        Example
        -------
        >>> night = QuietHours(time(22), time(6, 30))
        >>> [f"{night.until(datetime(2026, 3, 1, h)):%d %H:%M}" for h in (23, 2)]
        ['02 06:30', '01 06:30']
        >>> night.until(datetime(2026, 3, 1, 12)) is None
        True
        """
        if self.start is None or self.end is None or not self:
            return None
        clock = at.time()
        over_midnight = self.start > self.end
        inside = clock >= self.start or clock < self.end if over_midnight else self.start <= clock < self.end
        if not inside:
            return None
        day = at.date() + timedelta(days=over_midnight and clock >= self.start)
        return datetime.combine(day, self.end, at.tzinfo)


NIGHT = QuietHours(LATE_TONIGHT, MORNING)
"""Where no quiet hours are set nobody is told in these of what is for their information, or reminded of what
can wait (common practice, no source)."""


def digest_times(text: str) -> tuple[time, ...]:
    """The clock times at which a channel sends what has gathered; none for “at once”.

    Raises
    ------
    ValueError
        For words that say no such times.

    Example
    -------
    >>> [f"{t:%H:%M}" for t in digest_times("every 8 h")], digest_times("at once")
    (['00:00', '08:00', '16:00'], ())
    >>> [f"{t:%H:%M}" for t in digest_times("18:00, 7:00")]
    ['07:00', '18:00']
    """
    words = " ".join(text.lower().split())
    if words == AT_ONCE:
        return ()
    if found := _EVERY.fullmatch(words):
        hours = int(found[1])
        if 1 <= hours <= 24:
            return tuple(time(hour) for hour in range(0, 24, hours))
    else:
        clocks = [clock_time(part) for part in words.replace(" and ", ",").split(",")]
        known = sorted({clock for clock in clocks if clock is not None})
        if known and None not in clocks:
            return tuple(known)
    raise ValueError(f"use {DIGEST_EXAMPLES}")


def next_digest(times: Sequence[time], after: datetime) -> datetime | None:
    """The first of the clock times after an instant; None where there are none.

    >>> next_digest([time(7), time(18)], datetime(2026, 3, 1, 18))
    datetime.datetime(2026, 3, 2, 7, 0)
    """
    days = (after.date() + timedelta(days=n) for n in range(3))
    coming = (datetime.combine(day, clock, after.tzinfo) for day in days for clock in times)
    return next((at for at in coming if at > after), None)
