"""Display units. Inside, everything is °C, mm, litres; these turn a number into words at the edge."""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass

HOUR_S = 3600.0
MM_PER_INCH = 25.4


def f_from_c(temp_c: float) -> float:
    return temp_c * 1.8 + 32.0


def c_from_f(temp_f: float) -> float:
    return (temp_f - 32.0) / 1.8


@dataclass(frozen=True, slots=True)
class Display:
    """How the grower wants to read numbers."""

    temperature: str = "C"
    length: str = "mm"

    @property
    def degrees_per_c(self) -> float:
        """How many of the shown degrees make 1 °C."""
        return 1.8 if self.temperature == "F" else 1.0

    def temp(self, temp_c: float, digits: int = 1) -> str:
        """A temperature: “12.5 °C” or “54.5 °F”."""
        value = f_from_c(temp_c) if self.temperature == "F" else temp_c
        return f"{_signless(value, digits):.{digits}f} °{self.temperature}"

    def limit(self, temp_c: float) -> str:
        """A published or chosen limit, as precise as it was given: “12 °C” or “53.6 °F”."""
        number, unit = self.temp(temp_c).split(" ")
        return f"{number.removesuffix('.0')} {unit}"

    def temp_range(self, low_c: float, high_c: float, digits: int = 1) -> str:
        """From one temperature to another: “8.0 to 12.5 °C” or “46.4 to 54.5 °F”."""
        return f"{self.temp(low_c, digits).split(' ')[0]} to {self.temp(high_c, digits)}"

    def temp_difference(self, difference_c: float, digits: int = 1) -> str:
        """A difference between temperatures, signed: “+3.2 °C” or “+5.8 °F”."""
        value = difference_c * self.degrees_per_c
        return f"{_signless(value, digits):+.{digits}f} °{self.temperature}"

    def temp_span(self, difference_c: float, digits: int = 0) -> str:
        """A difference between temperatures without a sign: “4 °C” or “7 °F”."""
        value = difference_c * self.degrees_per_c
        return f"{value:.{digits}f} °{self.temperature}"

    def degree_hours(self, degree_hours_c: float) -> str:
        """Hours times degrees: “300 °C·hours” or “540 °F·hours”."""
        value = degree_hours_c * self.degrees_per_c
        return f"{value:.0f} °{self.temperature}·hours"

    def degree_days(self, degree_days_c: float, digits: int = 0) -> str:
        """A heat sum: “41 °C·days” or “74 °F·days”."""
        value = degree_days_c * self.degrees_per_c
        return f"{value:.{digits}f} °{self.temperature}·days"

    def depth(self, depth_mm: float) -> str:
        """A depth of soil or rain: “6 mm” or “0.24 in”."""
        return f"{depth_mm / MM_PER_INCH:.2f} in" if self.length == "in" else f"{depth_mm:.0f} mm"


def span_words(seconds: float) -> str:
    """A stretch of time in words a person would use: “40 min”, “3 h 20 min”, “2 days 5 h”."""
    minutes = round(abs(seconds) / 60)
    days, rest = divmod(minutes, 1440)
    hours, minutes = divmod(rest, 60)
    if days:
        unit = "day" if days == 1 else "days"
        return f"{days} {unit} {hours} h" if hours else f"{days} {unit}"
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{minutes} min"


def clock_words(hour_h: float) -> str:
    """An hour of the day as a clock shows it.

    >>> clock_words(8.67), clock_words(23.999)
    ('8:40', '23:59')
    """
    minutes = min(max(round(hour_h * 60), 0), 1439)
    return f"{minutes // 60}:{minutes % 60:02d}"


def list_words(parts: Iterable[str]) -> str:
    """Several things in a row.

    >>> list_words(["a", "b", "c"]), list_words(["a"]), list_words([])
    ('a, b and c', 'a', '')
    """
    words = list(parts)
    return " and ".join([*([", ".join(words[:-1])] if len(words) > 1 else []), *words[-1:]])


def listed_in(words: str, known: Collection[str]) -> set[str]:
    """Which of the things known `list_words` has put in a row.

    >>> sorted(listed_in("a, b and salt and c", ["a", "b", "b and salt", "c", "salt"]))
    ['a', 'b and salt', 'c']
    """
    one_of = "|".join(re.escape(each) for each in sorted(known, key=len, reverse=True))
    return set(re.findall(rf"(?:^|, | and )({one_of})(?=, | and |$)", words)) if known else set()


def number(value: float | None, digits: int = 1, unit: str = "") -> str:
    """The number with its unit, or a dash where it is not known."""
    return "–" if value is None else f"{value:.{digits}f}{unit}"


def bare(words: str) -> str:
    """The number alone, where its unit stands in the heading.

    >>> bare("7.4 °C·days")
    '7.4'
    """
    return words.split(" ", maxsplit=1)[0]


def covered(part: float) -> str:
    """How much of a day readings cover, rounded down: a day just short of whole is not whole.

    >>> covered(0.4199), covered(0.999), covered(1.0)
    ('41 %', '99 %', '100 %')
    """
    return f"{int(part * 100 + 1e-9)} %"


def _signless(value: float, digits: int) -> float:
    """A value as it is printed; what rounds to nothing has no sign."""
    return round(value, digits) + 0.0
