"""Numbers as a page shows them: each with its unit, the words around it, and what it is of."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
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
"""Elements whose words tell no number, and why. Fields hold theirs as attributes, which are not read; what a
button with a name holds is what a tap would write, a form's value too."""
INLINE = {"a", "b", "bdi", "em", "i", "small", "span", "strong", "time", "tspan"}
ENDLESS = {"br", "img", "input", "link", "meta", "hr", "col"}
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
_MONTH = "|".join(f"{name}|{name[:3]}" for name in MONTHS)
ISO = re.compile(r"\b(\d{4})-(\d\d)-(\d\d)(?:T[\d:.+]+)?\b")
DAY = re.compile(rf"\b(\d{{1,2}})(?: to (\d{{1,2}}))? ({_MONTH})\b(?: \d{{4}}\b)?")
_AT = re.compile(r"(\d{4})-(\d\d)-(\d\d)(?: (\d\d):(\d\d))?")
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


Subjects = Mapping[str, frozenset[Any]]
"""What numbers are of: by kind of thing (tray, place, mix, …, instant) its names."""
RECORDS = {"tr", "li", "article"}
"""Elements that tell of one thing or of a few: what a number in them is of stands in them too."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A number on a page: its words, its unit (or “day”, “clock”, “span”), and the words around it."""

    words: str
    unit: str
    where: str
    of: "Subjects"
    in_table: bool = False
    """Its unit may stand in the heading of its column."""

    @property
    def value(self) -> float:
        return float(self.words.replace(",", "").replace("−", "-"))

    @property
    def digits(self) -> int:
        return len(self.words.partition(".")[2])

    def __str__(self) -> str:
        return f"{self.words} {self.unit} in “{self.where}”"


@dataclass(slots=True)
class _Piece:
    """Words of one block, and the records around it, innermost first."""

    words: str
    within: tuple["_Record", ...]


@dataclass(eq=False, slots=True)
class _Record:
    tag: str
    pieces: list[_Piece] = field(default_factory=list)

    @property
    def words(self) -> str:
        return " · ".join(piece.words for piece in self.pieces)


class _Words(HTMLParser):
    """The words of a page's main part, one piece for each block; labels of pictures too."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[_Piece] = []
        self._open: list[tuple[str, bool]] = []
        self._records: list[_Record] = []
        self._inside = False
        self.title = ""
        self._begin()

    def _begin(self, words: str = "") -> None:
        piece = _Piece(words, tuple(reversed(self._records)))
        self.pieces.append(piece)
        for record in self._records:
            record.pieces.append(piece)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self._inside = self._inside or tag == "main"
        if not self._inside:
            return
        if tag not in ENDLESS:
            unread = tag in UNREAD or (tag == "button" and "name" in said)
            self._open.append((tag, unread or (bool(self._open) and self._open[-1][1])))
        if tag in RECORDS:
            self._records.append(_Record(tag))
        if tag not in INLINE:
            self._begin()
        for name in ("aria-label", "alt"):
            if said.get(name):
                self._begin(str(said[name]))
                self._begin()

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del tag, attrs  # shapes of a drawing

    def handle_endtag(self, tag: str) -> None:
        if not self._inside:
            return
        while self._open and self._open.pop()[0] != tag:
            pass
        if tag in RECORDS and self._records:
            self._records.pop()
        if tag not in INLINE:
            self._begin()
        self._inside = tag != "main"

    def handle_data(self, data: str) -> None:
        if self._inside and not (self._open and self._open[-1][1]):
            self.pieces[-1].words += data
            if self._open and self._open[-1][0] == "h1":
                self.title += data


class Names:
    """Names of a garden's things, by kind."""

    def __init__(self, by_kind: Mapping[str, Iterable[str]]) -> None:
        self._kinds = {kind: frozenset(names) for kind, names in by_kind.items()}
        every = {name for names in self._kinds.values() for name in names}
        self._with_digits = sorted((name for name in every if re.search(r"\d", name)), key=len, reverse=True)

    def in_(self, words: str) -> Subjects:
        """Those that stand in some words, by kind."""
        found = {
            kind: frozenset(n for n in names if _stands(n, words)) for kind, names in self._kinds.items()
        }
        return {kind: names for kind, names in found.items() if names}

    def without(self, words: str) -> str:
        """The words without names that have digits in them."""
        for name in self._with_digits:
            words = words.replace(name, "…")
        return words


def _stands(name: str, words: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(name)}(?!\w)", words) is not None


def shown_on(page: str, names: Names) -> list[Shown]:
    """Every number that a page says."""
    read = _Words()
    read.feed(page)
    titled = names.in_(read.title)
    found: list[Shown] = []
    for piece in read.pieces:
        words = " ".join(piece.words.split())
        if re.search(r"\d", words):
            in_table = any(record.tag == "tr" for record in piece.within)
            of = {**titled, **_subjects(piece, names)}
            found += (replace(one, in_table=in_table) for one in _numbers(names.without(words), of))
    return found


def _subjects(piece: _Piece, names: Names) -> Subjects:
    """What the innermost record around it that names something is of; of a table's row also its instant."""
    of = next((found for record in piece.within if (found := names.in_(record.words))), {})
    if piece.within and piece.within[0].tag == "tr":
        cells = [words for each in piece.within[0].pieces if (words := " ".join(each.words.split()))]
        if cells and (instant := _AT.fullmatch(cells[0])):
            _, month, day, hour, minute = instant.groups()
            at = (int(day), int(month)) if hour is None else (int(day), int(month), int(hour), int(minute))
            return {**of, "instant": frozenset([at])}
    return of


def shown_in(sentence: str, names: Names, of: Subjects) -> Iterator[Shown]:
    return _numbers(names.without(" ".join(sentence.split())), of)


def _numbers(text: str, of: Subjects) -> Iterator[Shown]:
    for pattern, unit in ((ISO, "day"), (DAY, "day"), (_CLOCK, "clock"), (_SPAN, "span")):
        for match in pattern.finditer(text):
            yield Shown(match[0], unit, _around(text, match), of)
        text = pattern.sub("…", text)
    for match in _WITH_UNIT.finditer(text):
        for words in match.groups()[:-1]:
            if words:
                yield Shown(words, match.groups()[-1], _around(text, match), of)
    text = _WITH_UNIT.sub("…", text)
    for match in _BARE.finditer(text):
        yield Shown(match[1], "", _around(text, match), of)


def _around(text: str, match: re.Match[str]) -> str:
    return text[max(match.start() - 40, 0) : match.end() + 30]
