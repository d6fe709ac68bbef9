"""Numbers and instants as a page shows them: the grower's units, the garden's zone."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from datetime import date as calendar_day

from traywarden.domain.clock_words import ago, clock, day_words, soon_words
from traywarden.domain.lows_highs import Expected
from traywarden.domain.units import Display, list_words, span_words

NOT_KNOWN = "–"
OLD_S = 5_400.0
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?[+-]\d\d:\d\d")


@dataclass(frozen=True, slots=True)
class PageWords:
    """Handed to every template as `w`."""

    display: Display
    now: datetime

    def temp(self, temp_c: float | None, digits: int = 1) -> str:
        return NOT_KNOWN if temp_c is None else self.display.temp(temp_c, digits)

    def limit(self, temp_c: float | None) -> str:
        return NOT_KNOWN if temp_c is None else self.display.limit(temp_c)

    def temp_range(self, low_c: float, high_c: float) -> str:
        """From one limit to another; one limit where they are the same."""
        return self.display.limit(low_c) if low_c == high_c else self.display.temp_range(low_c, high_c)

    def difference(self, difference_c: float | None, digits: int = 1) -> str:
        return NOT_KNOWN if difference_c is None else self.display.temp_difference(difference_c, digits)

    def degree_days(self, degree_days_c: float | None) -> str:
        return NOT_KNOWN if degree_days_c is None else self.display.degree_days(degree_days_c)

    def between(self, low_c: float | None, high_c: float | None, digits: int = 1) -> str:
        if low_c is None or high_c is None:
            return NOT_KNOWN
        return self.display.temp_range(low_c, high_c, digits)

    def expected(self, found: Expected | None) -> str:
        """What is expected, to the degree, and between what it lies in four of five cases."""
        if found is None:
            return NOT_KNOWN
        return f"{self.temp(found.estimate_c, 0)} ({self.between(found.low_c, found.high_c, 0)})"

    def percent(self, pct: float | None) -> str:
        return NOT_KNOWN if pct is None else f"{pct:.0f} %"

    def number(self, value: float | None, digits: int = 1, unit: str = "") -> str:
        return NOT_KNOWN if value is None else f"{value:.{digits}f}{unit}"

    def moment(self, time_ms: float) -> datetime:
        """An instant in the garden's time zone."""
        return datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(self.now.tzinfo)

    def date(self, time_ms: float) -> str:
        """The day of an instant in full, as over a day's entries."""
        at = self.moment(time_ms)
        return f"{at:%A} {at.day} {at:%B}" + ("" if at.year == self.now.year else f" {at.year}")

    def clock(self, at: datetime | None) -> str:
        return NOT_KNOWN if at is None else clock(at, self.now)

    def day(self, at: datetime | None) -> str:
        return NOT_KNOWN if at is None else day_words(at, self.now)

    def date_words(self, day: calendar_day) -> str:
        """A day by its weekday and month; with its year where that is not this one.

        >>> PageWords(Display(), datetime(2026, 5, 1)).date_words(calendar_day(1998, 7, 4))
        '4 July 1998'
        """
        if day.year != self.now.year:
            return f"{day.day} {day:%B %Y}"
        return f"{day:%A} {day.day} {day:%B}"

    def soon(self, at: datetime | None) -> str:
        return NOT_KNOWN if at is None else soon_words(at, self.now)

    def span(self, seconds: float | None) -> str:
        return NOT_KNOWN if seconds is None else span_words(seconds)

    def ago(self, seconds: float | None) -> str:
        return NOT_KNOWN if seconds is None else ago(seconds)

    def age(self, at: datetime | None) -> str:
        """How long ago an instant was."""
        return NOT_KNOWN if at is None else ago((self.now - at).total_seconds())

    def is_old(self, at: datetime | None) -> bool:
        """Whether a reading is older than what a probe that sleeps an hour brings."""
        return at is not None and (self.now - at).total_seconds() > OLD_S

    def cell(self, value: object) -> object:
        """What a cell of a table holds: an instant in the garden's time, nothing where nothing is known."""
        if isinstance(value, str) and _INSTANT.fullmatch(value):
            value = datetime.fromisoformat(value)
        if isinstance(value, datetime):
            return f"{value.astimezone(self.now.tzinfo):%Y-%m-%d %H:%M}"
        return "" if value is None else value

    @staticmethod
    def all_of(names: list[str]) -> str:
        return list_words(names)

    @staticmethod
    def sentence(words: str) -> str:
        """With a capital at its beginning and a full stop at its end."""
        whole = words[:1].upper() + words[1:]
        return whole if not whole or whole[-1] in ".?!" else f"{whole}."
