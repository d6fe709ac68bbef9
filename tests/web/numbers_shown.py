"""Numbers as a page shows them, each looked up in the answers that `--json` prints.

A page rounds, and shows the grower's units; an answer is in °C, parts and seconds. A number on a page is right
where a number of the answer, turned into the page's unit and rounded to the page's digits, is that number; or
where a sentence of the answer says it with the same unit. Instants are right where one of the answer is.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from html.parser import HTMLParser
from math import log
from typing import Any

UNREAD = {
    "script": "no words",
    "style": "no words",
    "option": "chosen from, not told",
    "textarea": "typed by the grower",
    "datalist": "chosen from, not told",
    "code": "a command or an address to type",
    "label": "the name of a field",
}
"""Elements whose words tell no number, and why. Fields hold theirs as attributes, which are not read; a button
with a name holds what a tap would write, a form's value too."""
INLINE = {"a", "b", "bdi", "em", "i", "small", "span", "strong", "time", "tspan"}
ENDLESS = {"br", "img", "input", "link", "meta", "hr", "col"}
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
_MONTH = "|".join(f"{name}|{name[:3]}" for name in MONTHS)
_ISO = re.compile(r"\b(\d{4})-(\d\d)-(\d\d)(?:T[\d:.+]+)?\b")
_DAY = re.compile(rf"\b(\d{{1,2}})(?: to (\d{{1,2}}))? ({_MONTH})\b(?: \d{{4}}\b)?")
_CLOCK = re.compile(r"\b(\d{1,2}):(\d\d)\b")
_NUMBER = r"(?:(?<![\w.])[+−-])?(?<![\w.,])\d+(?:,\d{3})*(?:\.\d+)?(?!\w*\d)"
_SPAN = re.compile(r"\b(?:\d+ days? \d+ h|\d+ h \d+ min|\d+ min)\b")
_UNIT = (
    r"°C·days|°F·days|°C·hours|°F·hours|°C|°F|%|V\b|dBm\b|m³/m³|mm\b|in(?=[,.;)]|$)|litres?\b|l\b|g\b|hours?\b|h\b"
    r"|days?\b"
)
_RANGE = rf" \(({_NUMBER}) to ({_NUMBER})\)|(?: to |, | ± | \[)({_NUMBER})(?:(?:, |–)({_NUMBER})\])?"
_WITH_UNIT = re.compile(rf"({_NUMBER})(?:{_RANGE})? ?({_UNIT})")
_BARE = re.compile(f"({_NUMBER})")


@dataclass(frozen=True, slots=True)
class Shown:
    """A number on a page: its words, its unit (or “day”, “clock”, “span”), and the words around it."""

    words: str
    unit: str
    where: str

    @property
    def value(self) -> float:
        return float(self.words.replace(",", "").replace("−", "-"))

    @property
    def digits(self) -> int:
        return len(self.words.partition(".")[2])

    def __str__(self) -> str:
        return f"{self.words} {self.unit} in “{self.where}”"


class _Words(HTMLParser):
    """The words of a page's main part, one piece for each block; labels of pictures too."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = [""]
        self._open: list[tuple[str, bool]] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self._inside = self._inside or tag == "main"
        if not self._inside:
            return
        if tag not in ENDLESS:
            unread = tag in UNREAD or (tag == "button" and "name" in said)
            self._open.append((tag, unread or (bool(self._open) and self._open[-1][1])))
        if tag not in INLINE:
            self.pieces.append("")
        for name in ("aria-label", "alt"):
            if said.get(name):
                self.pieces += [str(said[name]), ""]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del tag, attrs  # shapes of a drawing

    def handle_endtag(self, tag: str) -> None:
        if not self._inside:
            return
        while self._open and self._open.pop()[0] != tag:
            pass
        if tag not in INLINE:
            self.pieces.append("")
        self._inside = tag != "main"

    def handle_data(self, data: str) -> None:
        if self._inside and not (self._open and self._open[-1][1]):
            self.pieces[-1] += data


def pieces_of(page: str) -> list[str]:
    """What a page says, block by block."""
    words = _Words()
    words.feed(page)
    return [said for piece in words.pieces if (said := " ".join(piece.split()))]


def shown_in(pieces: Iterable[str], names: Iterable[str]) -> list[Shown]:
    """Every number in them. Digits in names of the garden are none."""
    known = sorted({name for name in names if re.search(r"\d", name)}, key=len, reverse=True)
    found: list[Shown] = []
    for piece in pieces:
        text = piece
        for name in known:
            text = text.replace(name, "…")
        found += _numbers(text)
    return found


def _numbers(text: str) -> Iterator[Shown]:
    for pattern, unit in ((_ISO, "day"), (_DAY, "day"), (_CLOCK, "clock"), (_SPAN, "span")):
        for match in pattern.finditer(text):
            yield Shown(match[0], unit, _around(text, match))
        text = pattern.sub("…", text)
    for match in _WITH_UNIT.finditer(text):
        for words in match.groups()[:-1]:
            if words:
                yield Shown(words, match.groups()[-1], _around(text, match))
    text = _WITH_UNIT.sub("…", text)
    for match in _BARE.finditer(text):
        yield Shown(match[1], "", _around(text, match))


def _around(text: str, match: re.Match[str]) -> str:
    return text[max(match.start() - 40, 0) : match.end() + 30]


@dataclass(frozen=True, slots=True)
class _Leaf:
    """A number of an answer, and the name it stands under that tells its unit; of a list, how long it is."""

    name: str
    value: float


class Answered:
    """What the answers of some questions hold: numbers, what their sentences say, and instants.

    `derived`: numbers that the page works out from them, by name.
    """

    def __init__(
        self,
        answers: Iterable[Any],
        names: Sequence[str],
        now: datetime,
        derived: Iterable[tuple[str, float]] = (),
    ) -> None:
        self._leaves = [_Leaf(name, value) for name, value in derived]
        self._now, texts = now, []
        self._days: set[tuple[int, int]] = {(now.day, now.month)}
        self._clocks: set[tuple[int, int]] = set()
        for answer in answers:
            texts += self._taken(answer, "")
        said = shown_in((" ".join(text.split()) for text in texts), names)
        self._said = {(one.words, one.unit) for one in said} | {(one.words, "") for one in said}

    def has(self, one: Shown) -> bool:
        """Whether the answers say this number."""
        if (one.words, one.unit) in self._said:
            return True
        if one.unit == "day":
            return all(day in self._days for day in _days_of(one.words))
        if one.unit == "clock":
            hour, minute = map(int, one.words.split(":"))
            of_hours = any(
                leaf.name.endswith("_h") and 0 <= leaf.value < 24 and abs(leaf.value * 60 - hour * 60 - minute) <= 0.6
                for leaf in self._leaves
            )
            return of_hours or (hour, minute) in self._clocks
        if one.unit == "span":
            least_s, most_s = _seconds_of(one.words)
            return any(least_s <= seconds <= most_s for leaf in self._leaves for seconds in self._long(leaf))
        half = 0.5 * 10.0**-one.digits + 1e-9
        signed = one.words[0] in "+-−"
        return any(
            abs(value - one.value) <= half or (not signed and abs(value + one.value) <= half)
            for leaf in self._leaves
            for value in _turned(leaf, one.unit)
        )

    def _long(self, leaf: _Leaf) -> Iterator[float]:
        """How long it is [s], where it is a stretch of time or an instant before now."""
        if leaf.name.endswith("_s"):
            yield abs(leaf.value)
        elif leaf.name.endswith("_h"):
            yield abs(leaf.value) * 3600
        elif leaf.name.endswith("_ms"):
            yield self._now.timestamp() - leaf.value / 1000

    def _taken(self, part: Any, name: str) -> list[str]:
        """Take numbers and instants in; the sentences that are in it."""
        if isinstance(part, dict):
            return [text for key, value in part.items() for text in self._taken(value, _unit_name(key, name))]
        if isinstance(part, list):
            self._leaves.append(_Leaf(f"#{name}", len(part)))
            return [text for value in part for text in self._taken(value, name)]
        if isinstance(part, bool) or part is None:
            return []
        if isinstance(part, int | float):
            self._leaves.append(_Leaf(name, float(part)))
            if name.endswith("_ms"):
                self._instant(datetime.fromtimestamp(part / 1000, self._now.tzinfo))
            return []
        instant = _instant_of(part)
        if instant is None:
            return [part]
        if isinstance(instant, datetime):
            self._instant(instant.astimezone(self._now.tzinfo))
        else:
            self._days.add((instant.day, instant.month))
        return []

    def _instant(self, at: datetime) -> None:
        """As a clock shows it; what is to come is told to the half hour or the hour."""
        self._days.add((at.day, at.month))
        self._clocks |= {(at.hour, at.minute), (at.hour, at.minute // 30 * 30), (at.hour, 0)}


DEGREES = re.compile(r"_c(_|$)|^days_to_emergence$")
UNITS = re.compile(r"_(c|pct|v|s|ms|h|d|days|mm|l|litres|kpa|dbm|c_days|g|m3_m3|cells)$|_c_|_days_|_pct_")


def _unit_name(key: str, above: str) -> str:
    """The name that tells the unit: that of an estimate, its ends and its count is the name they stand under."""
    return key if UNITS.search(key) or not UNITS.search(above) else above


def _turned(leaf: _Leaf, unit: str) -> Iterator[float]:
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
        case "%":
            yield value
        case "h" | "hour" | "hours":
            yield value / 3600.0 if seconds else value
        case "day" | "days":
            yield value / 86_400.0 if seconds else value**0.5 if name.endswith("_d2") else value
        case "dBm" | "l" | "litre" | "litres" | "g" | "mm" | "m³/m³":
            yield value
        case "":
            yield value
            if part:
                yield 100.0 * value
            if degrees:
                yield from (value * 1.8 + 32.0, value * 1.8)
            if name.endswith("_h"):
                yield value * 60.0
            if name == "tau_days":  # told as the days in which half of the water goes
                yield value * log(2.0)


def _days_of(words: str) -> list[tuple[int, int]]:
    if found := _ISO.fullmatch(words):
        return [(int(found[3]), int(found[2]))]
    found = _DAY.fullmatch(words)
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
