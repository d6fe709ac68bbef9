"""How a logger file is laid out, and the pieces it is read in: text cells by column, with their lines."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Shape:
    """How the file is laid out. `skip_rows` lines come before the header (or the data, without a header)."""

    encoding: str = "utf-8"
    delimiter: str = ","
    skip_rows: int = 0
    header: bool = True
    decimal: str = "."
    thousands: str = ""
    sheet: str = ""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows of a file: `columns[c][r]` is a cell, `lines[r]` its line (row in a workbook) from 1 up.

    `uneven` are rows whose number of cells is not the header's: (line, number of cells); they are not in
    `columns`. `bytes_done` is how far into the file the reader is.
    """

    lines: Sequence[int]
    columns: Sequence[Sequence[str]]
    uneven: Sequence[tuple[int, int]] = field(default=())
    bytes_done: int = 0


class Sheet(Protocol):
    """An opened file. `header` has a name for each column; without a header row they are #1, #2, …"""

    @property
    def header(self) -> tuple[str, ...]: ...

    @property
    def total_bytes(self) -> int: ...

    def chunks(self, rows: int) -> Iterator[Chunk]: ...

    def close(self) -> None: ...


def split_rows(rows: Sequence[Sequence[str]], lines: Sequence[int], width: int, bytes_done: int) -> Chunk:
    """Rows of text turned into columns; blank rows vanish, rows of the wrong width are set apart.

    Surplus cells that are empty (a delimiter at the end of each line) do not count.
    """
    if set(map(len, rows)) == {width}:
        return Chunk(lines, list(zip(*rows, strict=True)), (), bytes_done)
    kept: list[Sequence[str]] = []
    kept_lines: list[int] = []
    uneven: list[tuple[int, int]] = []
    for row, line in zip(rows, lines, strict=True):
        if len(row) == width:
            kept.append(row)
            kept_lines.append(line)
        elif len(row) > width and not any(row[width:]):
            kept.append(row[:width])
            kept_lines.append(line)
        elif any(cell.strip() for cell in row):
            uneven.append((line, len(row)))
    return Chunk(kept_lines, list(zip(*kept, strict=True)) if kept else [()] * width, uneven, bytes_done)
