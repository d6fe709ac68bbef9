"""Which columns of a file hold the stamp, and in which format."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from traywarden.services.stamps import NO_TIME, read_stamps

_NAMES = re.compile(r"(?:^|[^a-z])(?:date|time|datetime|timestamp|stamp|datum|zeit|data|hora|utc)", re.I)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{1,2}:\d{2}.*)?")
_SPLIT_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})(?:[ T]+(.*))?")
_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?(\.\d+)?( ?[AaPp][Mm])?")
_OFFSET_END = re.compile(r"(?:Z|[+-]\d{2}:?\d{2})$")
_ENOUGH = 0.95


@dataclass(frozen=True, slots=True)
class StampGuess:
    """Where the stamp stands and how it reads. `either`: day and month could be read both ways.

    `formats` has the format for each order of day and month ("dmy", "mdy") of such a date.
    """

    places: tuple[int, ...]
    format: str
    aware: bool = False
    newest_first: bool = False
    either: bool = False
    formats: dict[str, str] = field(default_factory=dict)

    def order_told_by(self, text: str) -> str:
        """ "dmy" or "mdy" where this date can be read in one order only; else ""."""
        found = _SPLIT_DATE.match(text.strip())
        if found is None:
            return ""
        first, second = int(found[1]), int(found[3])
        if first > 12 >= second:
            return "dmy"
        return "mdy" if second > 12 >= first else ""


def guess_stamps(header: Sequence[str], rows: Sequence[Sequence[str]]) -> StampGuess | None:
    """The stamp of a file, from its header and first rows; None when there is none to be made out."""
    columns = [[row[place].strip() for row in rows] for place in range(len(header))]
    named = [place for place, name in enumerate(header) if _NAMES.search(name)]
    for place in [*named, *(p for p in range(len(header)) if p not in named)]:
        cells = [cell for cell in columns[place] if cell]
        if not cells:
            continue
        guess = _one(place, cells, epoch=place in named)
        if guess is None:
            continue
        dates_only = not any(":" in cell for cell in cells)
        partner = _clock_column(columns, place) if dates_only else None
        if partner is not None:
            clock = _clock_format([cell for cell in columns[partner] if cell])
            joined = guess.format if guess.format == "iso" and clock != "am" else None
            pattern = joined or f"{'%Y-%m-%d' if guess.format == 'iso' else guess.format} {_CLOCKS[clock]}"
            guess = StampGuess(
                (place, partner),
                pattern,
                either=guess.either,
                formats={order: f"{text} {_CLOCKS[clock]}" for order, text in guess.formats.items()},
            )
        return _with_order(guess, columns)
    return None


_CLOCKS = {
    "short": "%H:%M",
    "long": "%H:%M:%S",
    "fraction": "%H:%M:%S.%f",
    "am": "%I:%M %p",
    "am long": "%I:%M:%S %p",
}


def _clock_format(cells: Sequence[str]) -> str:
    if any(cell[-1:] in "Mm" for cell in cells):
        return "am long" if any(cell.count(":") == 2 for cell in cells) else "am"
    if any("." in cell for cell in cells):
        return "fraction"
    return "long" if any(cell.count(":") == 2 for cell in cells) else "short"


def _clock_column(columns: Sequence[Sequence[str]], beside: int) -> int | None:
    for place, cells in enumerate(columns):
        filled = [cell for cell in cells if cell]
        if place != beside and filled and all(_CLOCK.fullmatch(cell) for cell in filled):
            return place
    return None


def _one(place: int, cells: Sequence[str], *, epoch: bool) -> StampGuess | None:
    if _share(_ISO, cells) >= _ENOUGH:
        aware = sum(_OFFSET_END.search(cell[10:]) is not None for cell in cells) >= len(cells) * _ENOUGH
        return StampGuess((place,), "iso", aware)
    if _share(_SPLIT_DATE, cells) >= _ENOUGH:
        return _split(place, cells)
    if epoch and _share(re.compile(r"\d{10}(\.\d+)?|\d{13}"), cells) >= _ENOUGH:
        return StampGuess((place,), "epoch ms" if len(cells[0]) == 13 else "epoch s", aware=True)
    return None


def _split(place: int, cells: Sequence[str]) -> StampGuess | None:
    found = [match for cell in cells if (match := _SPLIT_DATE.fullmatch(cell)) is not None]
    mark = found[0][2]
    tails = [match[5].strip() for match in found if match[5]]
    clock = f" {_CLOCKS[_clock_format(tails)]}" if tails else ""
    if tails and _share(_CLOCK, tails) < _ENOUGH:
        return None
    if all(len(match[1]) == 4 for match in found):
        return StampGuess((place,), f"%Y{mark}%m{mark}%d{clock}")
    year = "%Y" if all(len(match[4]) == 4 for match in found) else "%y"
    formats = {"dmy": f"%d{mark}%m{mark}{year}{clock}", "mdy": f"%m{mark}%d{mark}{year}{clock}"}
    first, second = max(int(match[1]) for match in found), max(int(match[3]) for match in found)
    if first > 12 and second > 12:
        return None
    order = "mdy" if second > 12 else "dmy"
    return StampGuess((place,), formats[order], either=first <= 12 and second <= 12, formats=formats)


def _share(pattern: re.Pattern[str], cells: Sequence[str]) -> float:
    return sum(pattern.fullmatch(cell) is not None for cell in cells) / len(cells)


def _with_order(guess: StampGuess, columns: Sequence[Sequence[str]]) -> StampGuess | None:
    """Whether the newest row comes first; None when the stamps do not read after all."""
    texts = [" ".join(cells) for cells in zip(*(columns[place] for place in guess.places), strict=True)]
    times, _ = read_stamps(texts, guess.format)
    times = times[times != NO_TIME]
    if len(times) < len(texts) * 0.5:
        return None
    steps = np.diff(times)
    newest_first = int((steps < 0).sum()) > int((steps > 0).sum())
    return StampGuess(guess.places, guess.format, guess.aware, newest_first, guess.either, guess.formats)
