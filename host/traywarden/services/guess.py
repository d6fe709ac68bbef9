"""A mapping guessed from a logger file, where header, units and cells leave no doubt; doubts are told."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Generic, TypeVar

from traywarden.errors import ImportFileError
from traywarden.links.sheets import Shape, first_look, open_sheet
from traywarden.services.guess_columns import guess_columns, spread
from traywarden.services.guess_stamps import StampGuess, guess_stamps
from traywarden.services.mapping import HIGHEST_HEAD, Mapping
from traywarden.services.mapping_file import DEFAULT_MISSING, TimeMap
from traywarden.services.stamps import offset_s_from

M = TypeVar("M")
_DELIMITERS = (",", ";", "\t", "|")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_DECIMAL_POINT = re.compile(r"[+-]?\d+\.\d+")
_SENTINEL = re.compile(r"-(?:99|999|9999|6999|99999|7999)(?:\.[09]+)?")
_GROUPS = re.compile(
    r"plot|sensor|probe|station|device|head|channel|node|tray|bed|(?:sensor|device|probe)[ _]?id", re.I
)
_SAMPLE_ROWS = 2000
_MOST_MEMBERS = 24


@dataclass(frozen=True, slots=True)
class Doubt:
    """A question the file does not answer: what is asked, and the answers with what each would mean."""

    key: str
    question: str
    answers: dict[str, str]


@dataclass(frozen=True, slots=True)
class Guess(Generic[M]):
    """A guessed mapping; with `doubts` it must not be used before a person has answered them."""

    mapping: M
    doubts: tuple[Doubt, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Sample:
    """Header and rows from the file's beginning."""

    header: tuple[str, ...]
    rows: Sequence[Sequence[str]]

    def column(self, place: int) -> list[str]:
        return [row[place].strip() for row in self.rows]


def guess(path: Path, *, zone: str = "", offset: str = "", date_order: str = "") -> Guess[Mapping]:
    """Guess how a file is to be read.

    `zone` or `offset` is what the person said of the logger's clock (a zone may be the garden's own);
    `date_order` ("dmy" or "mdy") settles dates that can be read both ways. Raises ImportFileError when no
    stamp or no quantity can be made out.
    """
    layout = guess_layout(path, zone=zone, offset=offset, date_order=date_order)
    shape, sample, stamps = layout.shape, layout.sample, layout.stamps
    columns, notes = guess_columns(sample.header, sample.rows, stamps.places, shape.decimal)
    if not columns:
        raise ImportFileError(
            f"{path}: no column's name says what it measures (there is {listed(sample.header)}); "
            "write a mapping (see docs/importing.md)."
        )
    group = _group(path, shape, sample.header)
    spread_out = columns if group is None else spread(columns, *group)
    if group is not None and max(column.head for column in spread_out) <= HIGHEST_HEAD:
        columns = spread_out
        notes = [*notes, f"Heads of their own for each “{group[0]}”: " + ", ".join(group[1])]
    elif group is not None:
        notes = [*notes, f"“{group[0]}” has {len(group[1])} members, too many for one logger; use where"]
    if layout.time.zone:
        notes = [
            *notes,
            f"Stamps are wall-clock time in {layout.time.zone}; use offset if the logger kept one all year",
        ]
    mapping = Mapping(shape, layout.time, tuple(columns), layout.missing, (), tuple(notes))
    return Guess(mapping, layout.doubts)


@dataclass(frozen=True, slots=True)
class Layout:
    """How a file is laid out and its stamps read, whatever it measures; `sample` is its beginning."""

    shape: Shape
    sample: Sample
    stamps: StampGuess
    time: TimeMap
    missing: tuple[str, ...]
    doubts: tuple[Doubt, ...]


def guess_layout(path: Path, *, zone: str = "", offset: str = "", date_order: str = "") -> Layout:
    """Guess how a file is laid out. Raises ImportFileError when no stamp can be made out."""
    look = first_look(path)
    shape = Shape() if look.workbook else _shape(path, look.encoding, look.text)
    sample = _sample(path, shape)
    stamps = guess_stamps(sample.header, sample.rows)
    if stamps is None:
        raise ImportFileError(
            f"{path}: no column holds dates and times that can be told apart "
            f"(there is {listed(sample.header)}); write a mapping (see --write-map and docs/importing.md)."
        )
    if stamps.either and not date_order:
        stamps = _settled(path, shape, stamps)
    time, doubts = _time(sample, stamps, zone, offset, date_order)
    missing = (*DEFAULT_MISSING, *_sentinels(sample, stamps.places))
    return Layout(shape, sample, stamps, time, missing, tuple(doubts))


def listed(header: Sequence[str]) -> str:
    """The first columns of a header, in quotes."""
    return ", ".join(f"“{name}”" for name in header[:12]) + (", …" if len(header) > 12 else "")


def _shape(path: Path, encoding: str, text: str) -> Shape:
    """Delimiter, header line and decimal mark, from the file's beginning."""
    lines = text.splitlines()[:200]
    best: tuple[int, int, str, int, list[list[str]]] | None = None
    for delimiter in _DELIMITERS:
        try:
            rows = list(csv.reader(lines, delimiter=delimiter))
        except csv.Error:
            continue
        widths = Counter(len(row) for row in rows if len(row) > 1)
        if not widths:
            continue
        width, count = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
        numbers = sum(_is_number(cell) for row in rows if len(row) == width for cell in row)
        if best is None or (count, numbers) > best[:2]:
            best = (count, numbers, delimiter, width, rows)
    if best is None:
        raise ImportFileError(f"{path} is not a table: no line splits at a comma, semicolon, tab or bar.")
    _, _, delimiter, width, rows = best
    skip = next(n for n, row in enumerate(rows) if len(row) == width and any(cell.strip() for cell in row))
    header = not any(_is_number(cell) for cell in rows[skip])
    cells = [cell.strip() for row in rows[skip + 1 :] if len(row) == width for cell in row]
    commas = sum(_DECIMAL_COMMA.fullmatch(cell) is not None for cell in cells)
    points = sum(_DECIMAL_POINT.fullmatch(cell) is not None for cell in cells)
    return Shape(encoding, delimiter, skip, header, "," if commas > points and delimiter != "," else ".")


def _is_number(cell: str) -> bool:
    return (
        _DECIMAL_COMMA.fullmatch(cell.strip()) is not None
        or re.fullmatch(r"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?", cell.strip()) is not None
    )


def _sample(path: Path, shape: Shape) -> Sample:
    with open_sheet(path, shape) as sheet:
        for chunk in sheet.chunks(_SAMPLE_ROWS):
            return Sample(sheet.header, list(zip(*chunk.columns, strict=True)))
        raise ImportFileError(f"{path} has a header and no rows; there is nothing to import.")


def _group(path: Path, shape: Shape, header: Sequence[str]) -> tuple[str, list[str]] | None:
    """The column that tells several series of a long file apart, and its texts; None where there is none."""
    place = next((p for p, name in enumerate(header) if _GROUPS.fullmatch(name.strip())), None)
    if place is None or header.count(header[place]) > 1:
        return None
    members: dict[str, None] = {}
    with open_sheet(path, shape) as sheet:
        for chunk in sheet.chunks(20_000):
            members |= dict.fromkeys(cell.strip() for cell in set(chunk.columns[place]))
            if len(members) > _MOST_MEMBERS:
                return None
    texts = sorted((text for text in members if text), key=lambda text: (len(text), text))
    return (header[place], texts) if len(texts) > 1 else None


def _settled(path: Path, shape: Shape, stamps: StampGuess) -> StampGuess:
    """Look through the whole file for a date that can be read in one order only."""
    place = stamps.places[0]
    with open_sheet(path, shape) as sheet:
        for chunk in sheet.chunks(20_000):
            for cell in dict.fromkeys(text[:10] for text in chunk.columns[place]):
                order = stamps.order_told_by(cell)
                if order:
                    return replace(stamps, format=stamps.formats[order], either=False)
    return stamps


def _time(
    sample: Sample, stamps: StampGuess, zone: str, offset: str, date_order: str
) -> tuple[TimeMap, list[Doubt]]:
    doubts: list[Doubt] = []
    pattern = stamps.format
    if stamps.either:
        if date_order:
            pattern = stamps.formats[date_order]
        else:
            first = sample.column(stamps.places[0])[0]
            doubts.append(
                Doubt(
                    "date_order",
                    f"Is the date in “{first}” written day first or month first? No date in the file tells.",
                    {"dmy": "day first", "mdy": "month first"},
                )
            )
    names = tuple(
        sample.header[place] if sample.header.count(sample.header[place]) == 1 else f"#{place + 1}"
        for place in stamps.places
    )
    if stamps.aware:
        return TimeMap(names, pattern, newest_first=stamps.newest_first), doubts
    if offset and offset_s_from(offset) is not None:
        return TimeMap(names, pattern, offset, newest_first=stamps.newest_first), doubts
    if not zone:
        doubts.append(
            Doubt(
                "zone",
                "Which clock did the logger keep? Its stamps say no time zone.",
                {"--zone Europe/Lisbon": "with daylight saving", "--offset -06:00": "the same all year"},
            )
        )
    return TimeMap(names, pattern, zone=zone, newest_first=stamps.newest_first), doubts


def _sentinels(sample: Sample, stamp_places: Sequence[int]) -> list[str]:
    """Texts such as -6999 that loggers write for “no value”; below every sensor's range."""
    found: dict[str, None] = {}
    for place in range(len(sample.header)):
        if place not in stamp_places:
            found |= dict.fromkeys(c for c in sample.column(place) if _SENTINEL.fullmatch(c))
    return list(found)
