"""Hushes: nothing is sent about a tray, a place, a rule or all of it until a time, by whom and why.

A hush mutes what is told, never what is judged: the episode opens, is shown, and closes all the same.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from traywarden.domain.subjects import Subject

LONGEST_DAYS = 31
"""A longer silence is a setting, not a hush (common practice, no source)."""
EVENING, MORNING = time(18), time(7)
"""When “tonight” and “tomorrow morning” begin, in garden time (common practice, no source)."""
LATE_TONIGHT = time(22)
"""“Tonight” for one who asks in the evening."""


@dataclass(frozen=True, slots=True)
class Hush:
    """Who asked for silence about what, from when until when. None: every rule, the whole garden.

    A place as `subject` speaks for every tray that stands in it at the time.
    `ended_ms`: when it was taken back before its time.
    """

    hush_id: int
    rule: str | None
    subject: Subject | None
    from_ms: int
    until_ms: int
    who: str
    why: str = ""
    ended_ms: int | None = None
    ended_by: str = ""

    def holds_at(self, at_ms: int) -> bool:
        """Whether it mutes at that instant; it ends with the instant it was set until.

        Also before it began: it was made for then on, and a clock that says less was set back.
        """
        return at_ms < self.until_ms and self.ended_ms is None

    def covers(self, rule: str, subjects: Collection[Subject]) -> bool:
        """Whether it is about that rule, and about one of the subjects (a tray and the place it is in)."""
        return self.rule in (None, rule) and (self.subject is None or self.subject in subjects)


def hushed_by(hushes: Iterable[Hush], rule: str, subjects: Collection[Subject], at_ms: int) -> Hush | None:
    """The hush that mutes it longest at that instant, or None.

    Example
    -------
    >>> from traywarden.domain.subjects import a_tray
    >>> two = [Hush(1, None, None, 0, 50, "Ana"), Hush(2, "dry", a_tray(3), 0, 90, "Ana")]
    >>> [h and h.hush_id for h in (hushed_by(two, "dry", [a_tray(3)], 10), hushed_by(two, "cold", [], 60))]
    [2, None]
    """
    mine = [h for h in hushes if h.holds_at(at_ms) and h.covers(rule, subjects)]
    return max(mine, key=lambda h: (h.until_ms, h.hush_id), default=None)


@dataclass(frozen=True, slots=True)
class Until:
    """A time to hush until, as it is offered to choose from."""

    words: str
    until: datetime

    @property
    def with_hour(self) -> str:
        """“tonight, 18:00”."""
        return f"{self.words}, {self.until:%H:%M}"


def untils(now: datetime) -> list[Until]:
    """What is offered at that time of the day, the nearest first.

    Example
    -------
    >>> [f"{u.words} {u.until:%d %H}" for u in untils(datetime(2026, 3, 1, 9))]
    ['tonight 01 18', 'tomorrow morning 02 07', 'tomorrow evening 02 18', 'in a week 08 07']
    """
    zone = now.tzinfo
    tomorrow = now.date() + timedelta(days=1)
    evening = tonight(now)
    return [
        *([Until("tonight", evening)] if evening is not None else []),
        Until("tomorrow morning", _at(tomorrow, MORNING, zone)),
        Until("tomorrow evening", _at(tomorrow, EVENING, zone)),
        Until("in a week", _at(now.date() + timedelta(days=7), MORNING, zone)),
    ]


def tonight(now: datetime) -> datetime | None:
    """The evening of today: 18:00, or 22:00 for one who asks in the evening; None when that is past."""
    for clock in (EVENING, LATE_TONIGHT):
        at = _at(now.date(), clock, now.tzinfo)
        if at - now >= timedelta(minutes=30):
            return at
    return None


def _at(day: date, clock: time, zone: tzinfo | None) -> datetime:
    return datetime.combine(day, clock, zone)
