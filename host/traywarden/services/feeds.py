"""A logger file as readings: streamed in chunks through its mapping, with every fault counted and listed."""

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.readings import BY_COLUMN
from traywarden.errors import UsageError, did_you_mean
from traywarden.links.chunks import Chunk
from traywarden.links.sheets import Sheet, open_sheet
from traywarden.services.cells import CellReader
from traywarden.services.column_units import Scale, scale_for
from traywarden.services.findings import Findings, Kind
from traywarden.services.mapping import ColumnMap, Mapping, Where
from traywarden.services.seen import SeenRows
from traywarden.services.stamps import NO_TIME, Fate, WallClock, offset_s_from, read_stamps

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
CHUNK_ROWS = 20_000


@dataclass(frozen=True, slots=True)
class HeadChunk:
    """Some readings of one head, in the order of the file; no row is without any value."""

    head: int
    time_ms: IntArray
    values: dict[str, FloatArray]


@dataclass(slots=True)
class Tally:
    """Rows of the file so far. `rows_elsewhere` are those no filter wanted, `rows_blank` hold no value."""

    rows: int = 0
    rows_elsewhere: int = 0
    rows_blank: int = 0
    cells_missing: int = 0
    bytes_done: int = 0
    total_bytes: int = 0


class _Series:
    """The rows that pass one filter: their own clock, their own duplicates."""

    def __init__(self, where: Where, columns: list[ColumnMap], mapping: Mapping, sheet: Sheet) -> None:
        self.where = [(position_of(sheet, name), set(texts)) for name, texts in where]
        self.columns = columns
        self.places = [position_of(sheet, column.name) for column in columns]
        scales = [scale_for(column.quantity, column.unit) for column in columns]
        self.scales = [scale for scale in scales if isinstance(scale, Scale)]
        time = mapping.time
        self.newest_first = time.newest_first
        self.shift_ms = round(time.shift_s * 1000)
        self.offset_ms = (offset_s_from(time.offset) or 0) * 1000 if time.offset else None
        self.clock = WallClock(ZoneInfo(time.zone), time.newest_first) if time.zone else None
        self.seen = SeenRows(len(columns))
        self.last_ms = NO_TIME

    def rows(self, chunk: Chunk) -> NDArray[np.int64]:
        """Which rows of the chunk pass the filter."""
        kept = np.ones(len(chunk.lines), dtype=bool)
        for place, texts in self.where:
            kept &= np.fromiter((cell.strip() in texts for cell in chunk.columns[place]), bool, len(kept))
        return np.flatnonzero(kept)


def head_chunks(
    path: Path, mapping: Mapping, findings: Findings, tally: Tally
) -> Generator[HeadChunk, None, None]:
    """Stream a file's readings by head; `findings` and `tally` fill as it goes.

    Raises ImportFileError for the file, UsageError where the mapping does not fit it.
    """
    with open_sheet(path, mapping.shape) as sheet:
        tally.total_bytes = sheet.total_bytes
        stamp_places = [position_of(sheet, name) for name in mapping.time.columns]
        grouped: dict[Where, list[ColumnMap]] = {}
        for column in mapping.columns:
            grouped.setdefault(mapping.where + column.where, []).append(column)
        series = [_Series(where, columns, mapping, sheet) for where, columns in grouped.items()]
        cells = CellReader(mapping.shape.decimal, mapping.shape.thousands, mapping.missing)
        try:
            for chunk in sheet.chunks(CHUNK_ROWS):
                tally.rows += len(chunk.lines) + len(chunk.uneven)
                tally.bytes_done = chunk.bytes_done
                width = len(sheet.header)
                findings.add(
                    Kind.UNEVEN_ROW,
                    [line for line, _ in chunk.uneven],
                    [f"{count} cells where the header has {width}" for _, count in chunk.uneven],
                )
                stamps = stamp_texts(chunk, stamp_places)
                wall_ms, aware = read_stamps(stamps, mapping.time.format)
                wanted = np.zeros(len(stamps), dtype=bool)
                for one in series:
                    rows = one.rows(chunk)
                    wanted[rows] = True
                    yield from _read(one, chunk, rows, (stamps, wall_ms, aware), cells, findings, tally)
                tally.rows_elsewhere += int((~wanted).sum())
        finally:
            for one in series:
                one.seen.close()


def position_of(sheet: Sheet, name: str) -> int:
    """Where a column stands: by its name, or “#3” for the third."""
    header = sheet.header
    if name in header:
        if header.count(name) > 1:
            numbers = " and ".join(f"#{n}" for n, title in enumerate(header, 1) if title == name)
            raise UsageError(f"Several columns are called “{name}”; name the one you mean: {numbers}.")
        return header.index(name)
    if name.startswith("#") and name[1:].isdecimal() and 1 <= int(name[1:]) <= len(header):
        return int(name[1:]) - 1
    raise UsageError(f"The file has no column “{name}”{did_you_mean(name, header)}; correct the mapping.")


def stamp_texts(chunk: Chunk, places: list[int]) -> list[str]:
    """The stamps of a chunk: the cells of its columns, joined by a space."""
    if len(places) == 1:
        return [cell.strip() for cell in chunk.columns[places[0]]]
    parts = zip(*(chunk.columns[place] for place in places), strict=True)
    return [" ".join(cell.strip() for cell in row).strip() for row in parts]


def _read(
    one: _Series,
    chunk: Chunk,
    rows: NDArray[np.int64],
    stamps: tuple[list[str], IntArray, NDArray[np.bool_]],
    cells: CellReader,
    findings: Findings,
    tally: Tally,
) -> Iterator[HeadChunk]:
    time_ms = _instants(one, chunk, rows, stamps, findings)
    good = time_ms != NO_TIME
    rows, time_ms = rows[good], time_ms[good]
    if len(rows) == 0:
        return
    lines = np.asarray(chunk.lines)[rows]
    values = np.empty((len(rows), len(one.columns)), dtype=np.float64)
    every = len(rows) == len(chunk.lines)
    for place, (column, scale) in enumerate(zip(one.columns, one.scales, strict=True)):
        source = chunk.columns[one.places[place]]
        texts: Sequence[str] = source if every else [source[row] for row in rows.tolist()]
        values[:, place] = _numbers(column, scale, texts, lines, cells, findings)
    split = one.seen.split(time_ms, values)
    for kind, repeated in ((Kind.DUPLICATE_SAME, split.same), (Kind.DUPLICATE_OTHER, split.other)):
        if len(repeated):
            findings.add(kind, lines[repeated], [stamps[0][row] for row in rows[repeated].tolist()])
    _note_backward(one, time_ms, lines, rows, stamps[0], findings)
    kept_ms, values = time_ms[split.fresh], values[split.fresh]
    present = ~np.isnan(values)
    tally.cells_missing += int((~present).sum())
    tally.rows_blank += int((~present.any(axis=1)).sum())
    for head in sorted({column.head for column in one.columns}):
        places = [n for n, column in enumerate(one.columns) if column.head == head]
        some = present[:, places].any(axis=1)
        if some.any():
            yield HeadChunk(
                head, kept_ms[some], {one.columns[place].quantity: values[some, place] for place in places}
            )


def _instants(
    one: _Series,
    chunk: Chunk,
    rows: NDArray[np.int64],
    stamps: tuple[list[str], IntArray, NDArray[np.bool_]],
    findings: Findings,
) -> IntArray:
    """Instants of the series' rows; NO_TIME where a stamp cannot be read or never was."""
    texts, wall_ms, aware = stamps[0], stamps[1][rows], stamps[2][rows]
    readable = wall_ms != NO_TIME
    time_ms = wall_ms.copy()
    fates = np.where(readable, Fate.READ, Fate.UNREADABLE).astype(np.int8)
    local = readable & ~aware
    if local.any():
        if one.clock is not None:
            time_ms[local], fates[local] = one.clock.instants(wall_ms[local])
        elif one.offset_ms is not None:
            time_ms[local] -= one.offset_ms
        else:
            first = int(rows[np.flatnonzero(local)[0]])
            raise UsageError(
                f"The stamp “{texts[first]}” (line {chunk.lines[first]}) has no offset; "
                'set time.offset, such as "-06:00", or time.zone, such as "Europe/Lisbon", in the mapping.'
            )
    time_ms[time_ms != NO_TIME] += one.shift_ms
    for fate, kind, outcome in (
        (Fate.UNREADABLE, Kind.UNREADABLE_TIME, ""),
        (Fate.HOLE, Kind.HOLE, ""),
        (Fate.FIRST_PASS, Kind.FOLD, "kept, as the first pass (daylight time)"),
        (Fate.SECOND_PASS, Kind.FOLD, "kept, as the second pass (standard time)"),
    ):
        met = rows[fates == fate].tolist()
        if fate == Fate.UNREADABLE:
            # An empty line at a table's end is no fault.
            met = [row for row in met if texts[row] or any(cells[row].strip() for cells in chunk.columns)]
        if met:
            findings.add(
                kind, [chunk.lines[row] for row in met], [texts[row] for row in met], outcome=outcome
            )
    return time_ms


def _numbers(
    column: ColumnMap,
    scale: Scale,
    texts: Sequence[str],
    lines: NDArray[np.int64],
    cells: CellReader,
    findings: Findings,
) -> FloatArray:
    """One column's values in the inside unit; NaN where missing, unreadable or out of limits."""
    raw, unreadable = cells.read(texts)
    if unreadable:
        findings.add(Kind.UNREADABLE_CELL, lines[unreadable], [texts[row] for row in unreadable], column.name)
    # Ten digits are more than any sensor has, and make 0.1 in exactly 2.54 mm.
    values = raw if scale == Scale(1.0) else np.round(raw * scale.factor + scale.offset, 10)
    quantity = BY_COLUMN[column.quantity]
    outside = np.flatnonzero((values < quantity.lowest) | (values > quantity.highest))
    if len(outside):
        findings.add(
            Kind.OUT_OF_LIMITS, lines[outside], [texts[row] for row in outside.tolist()], column.name
        )
        values[outside] = np.nan
    return values


def _note_backward(
    one: _Series,
    time_ms: IntArray,
    lines: NDArray[np.int64],
    rows: NDArray[np.int64],
    texts: list[str],
    findings: Findings,
) -> None:
    before = np.concatenate(([one.last_ms if one.last_ms != NO_TIME else time_ms[0]], time_ms[:-1]))
    back = np.flatnonzero(time_ms > before if one.newest_first else time_ms < before)
    if len(back):
        findings.add(Kind.BACKWARD, lines[back], [texts[row] for row in rows[back].tolist()])
    one.last_ms = int(time_ms[-1])
