"""Answers that `--json` prints, in which numbers of pages are looked up.

A page rounds, and shows the grower's units; an answer is in °C, parts and seconds. A number on a page is
right where a number of the answer that is of the same thing, turned into the page's unit and rounded to its
digits, is that number; or where a sentence of the answer says it with the same unit. Instants are right where
one of the answer is.
"""

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from math import log
from typing import Any

from tests.web.numbers_shown import DAY, ISO, MONTHS, Names, Shown, Subjects, shown_in


@dataclass(frozen=True, slots=True)
class _Leaf:
    """A number of an answer, the name it stands under that tells its unit, and what it is of; of a list, how
    long it is.
    """

    name: str
    value: float
    of: Subjects


class Answered:
    """What the answers of some questions hold: numbers, what their sentences say, and instants.

    `derived`: numbers that the page works out from them, by name. `untold`: names of lists whose numbers are
    only drawn there, or left out.
    """

    def __init__(
        self,
        answers: Iterable[Any],
        names: Names,
        now: datetime,
        derived: Iterable[tuple[str, float]] = (),
        untold: Collection[str] = (),
    ) -> None:
        self._untold = untold
        self._leaves = [_Leaf(name, value, {}) for name, value in derived]
        self._names, self._now = names, now
        self._days: set[tuple[int, int]] = {(now.day, now.month)}
        self._clocks: set[tuple[int, int]] = set()
        self._said: list[Shown] = []
        for answer in answers:
            self._take(answer, "", {})

    def has(self, one: Shown) -> bool:
        """Whether the answers say this number of that thing."""
        if any(
            said.words == one.words and one.unit in (said.unit, "") and _same(said.of, one.of)
            for said in self._said
        ):
            return True
        if one.unit == "day":
            return all(day in self._days for day in _days_of(one.words))
        leaves = [leaf for leaf in self._leaves if _same(leaf.of, one.of)]
        if one.unit == "clock":
            hour, minute = map(int, one.words.split(":"))
            of_hours = any(
                leaf.name.endswith("_h")
                and 0 <= leaf.value < 24
                and abs(leaf.value * 60 - hour * 60 - minute) <= 0.6
                for leaf in leaves
            )
            return of_hours or (hour, minute) in self._clocks
        if one.unit == "span":
            least_s, most_s = _seconds_of(one.words)
            return any(least_s <= seconds <= most_s for leaf in leaves for seconds in self._long(leaf))
        half = 0.5 * 10.0**-one.digits + 1e-9
        signed = one.words[0] in "+-−"
        return any(
            abs(value - one.value) <= half or (not signed and abs(value + one.value) <= half)
            for leaf in leaves
            for value in _turned(leaf, one.unit, in_table=one.in_table)
        )

    def _long(self, leaf: _Leaf) -> Iterator[float]:
        """How long it is [s], where it is a stretch of time or an instant before now."""
        if leaf.name.endswith("_s"):
            yield abs(leaf.value)
        elif leaf.name.endswith("_h"):
            yield abs(leaf.value) * 3600
        elif leaf.name.endswith("_ms"):
            yield self._now.timestamp() - leaf.value / 1000

    def _take(self, part: Any, name: str, of: Subjects) -> None:
        """Take in the numbers, instants and sentences that are in it."""
        if isinstance(part, dict):
            of = {**of, **self._of(part.values())}
            for key, value in part.items():
                if key not in self._untold or not isinstance(value, list):
                    self._take(value, _unit_name(key, name), of)
        elif isinstance(part, list):
            self._leaves.append(_Leaf(f"#{name}", len(part), of))
            if not any(isinstance(each, dict | list) for each in part):
                of = {**of, **self._of(part)}
            for value in part:
                self._take(value, name, of)
        elif isinstance(part, str):
            instant = _instant_of(part)
            if isinstance(instant, datetime):
                self._instant(instant.astimezone(self._now.tzinfo))
            elif instant is not None:
                self._days.add((instant.day, instant.month))
            else:
                self._said += shown_in(part, self._names, of)
        elif part is not None and not isinstance(part, bool):
            self._leaves.append(_Leaf(name, float(part), of))
            if name.endswith("_ms"):
                self._instant(datetime.fromtimestamp(part / 1000, self._now.tzinfo))

    def _of(self, values: Iterable[Any]) -> Subjects:
        """What a record of an answer is of: the names and the instants that stand in it."""
        texts = [value for value in values if isinstance(value, str)]
        instants = [instant for text in texts if (instant := _instant_of(text))]
        found = dict(self._names.in_(" · ".join(text for text in texts if len(text) <= 80)))
        if instants:
            found["instant"] = frozenset(at for instant in instants for at in self._both(instant))
        return found

    def _both(self, instant: datetime | date) -> Iterator[tuple[int, ...]]:
        """The day, and the minute."""
        if isinstance(instant, datetime):
            at = instant.astimezone(self._now.tzinfo)
            yield (at.day, at.month, at.hour, at.minute)
            instant = at
        yield (instant.day, instant.month)

    def _instant(self, at: datetime) -> None:
        """As a clock shows it; what is to come is told to the half hour or the hour."""
        self._days.add((at.day, at.month))
        self._clocks |= {(at.hour, at.minute), (at.hour, at.minute // 30 * 30), (at.hour, 0)}


DEGREES = re.compile(r"_c(_|$)|^days_to_emergence$")


def _same(one: Subjects, other: Subjects) -> bool:
    """Whether they can be of the same thing: none of another where both name one of a kind."""
    return all(one[kind] & other[kind] for kind in one.keys() & other.keys())


UNITS = re.compile(r"_(c|pct|v|s|ms|h|d|days|mm|l|litres|kpa|dbm|c_days|g|m3_m3|cells)$|_c_|_days_|_pct_")


def _unit_name(key: str, above: str) -> str:
    """The name that tells the unit: of an estimate and its ends that is the name they stand under."""
    return key if UNITS.search(key) or not UNITS.search(above) else above


def _turned(leaf: _Leaf, unit: str, *, in_table: bool) -> Iterator[float]:  # noqa: PLR0912 - a unit each
    """A number of an answer in the page's unit, where it can be one of that unit."""
    name, value = leaf.name, leaf.value
    seconds, degrees = name.endswith("_s"), DEGREES.search(name) is not None
    part = abs(value) <= 5.0 and not seconds and not degrees and not name.endswith(("_v", "_pct"))
    match unit:
        case "°C" if degrees:
            yield value
        case "°F" if degrees:
            yield from (value * 1.8 + 32.0, value * 1.8)
        case "°C·days" | "°C·hours":
            yield value
        case "°F·days" | "°F·hours":
            yield value * 1.8
        case "V" if name.endswith("_v"):
            yield value
        case "in":
            yield value / 25.4
        case "%" if part:
            yield 100.0 * value
            if name == "coverage":  # what lacks a little is not whole
                yield float(int(100.0 * value))
        case "%" if "pct" in name:
            yield value
        case "h" | "hour" | "hours":
            yield value / 3600.0 if seconds else value
        case "day" | "days":
            yield value / 86_400.0 if seconds else value**0.5 if name.endswith("_d2") else value
        case "dBm" | "l" | "litre" | "litres" | "g" | "mm" | "m³/m³":
            yield value
        case "" if in_table or not UNITS.search(name) or name.endswith(("_d", "_days", "_m3_m3")):
            yield value
            if part and in_table:
                yield 100.0 * value
            if degrees and in_table:
                yield from (value * 1.8 + 32.0, value * 1.8)
            if name.endswith("_h"):
                yield value * 60.0
            if name == "tau_days":  # told as the days in which half of the water goes
                yield value * log(2.0)


def _days_of(words: str) -> list[tuple[int, int]]:
    if found := ISO.fullmatch(words):
        return [(int(found[3]), int(found[2]))]
    found = DAY.fullmatch(words)
    assert found is not None
    month = next(n for n, name in enumerate(MONTHS, 1) if name.startswith(found[3][:3]))
    return [(int(day), month) for day in (found[1], found[2]) if day]


def _seconds_of(words: str) -> tuple[float, float]:
    """From so long to so long [s]: of days and hours, minutes are left out; else the minute is rounded."""
    each_s = {"day": 86_400, "days": 86_400, "h": 3600, "min": 60}
    numbers = words.split()
    pairs = [(int(n), each_s[unit]) for n, unit in zip(numbers[::2], numbers[1::2], strict=True)]
    long_s = sum(n * unit_s for n, unit_s in pairs)
    return long_s - 31.0, long_s + (3600.0 if pairs[0][1] == 86_400 else 31.0)


def _instant_of(text: str) -> datetime | date | None:
    if not re.match(r"\d{4}-\d\d-\d\d", text) or len(text) > 40:
        return None
    try:
        return date.fromisoformat(text) if len(text) == 10 else datetime.fromisoformat(text)
    except ValueError:
        return None
