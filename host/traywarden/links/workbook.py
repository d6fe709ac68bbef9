"""XLSX workbooks: one sheet, read row by row, its cells as the text a CSV file would hold."""

import datetime as dt
import itertools
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from traywarden.errors import ImportFileError, did_you_mean
from traywarden.links.chunks import Chunk, Shape, split_rows
from traywarden.links.delimited import opened

_MOST_UNPACKED_BYTES = 2 * 1024**3


def is_workbook(path: Path) -> bool:
    """Whether the file is an XLSX workbook, by its content."""
    with opened(path) as file:
        return file.read(4) == b"PK\x03\x04" and zipfile.is_zipfile(path)


class WorkbookSheet:
    """One sheet of an XLSX workbook, opened; `chunks` streams it once.

    Numbers are written with the shape's decimal mark, dates and times as ISO text, so that the same mapping
    serves a workbook and the CSV file saved from it.
    """

    def __init__(self, path: Path, shape: Shape) -> None:
        self._path, self._decimal = path, shape.decimal
        self._total = path.stat().st_size
        try:
            with zipfile.ZipFile(path) as packed:
                unpacked = sum(entry.file_size for entry in packed.infolist())
            if unpacked > _MOST_UNPACKED_BYTES:
                raise ImportFileError(
                    f"{path} unpacks to {unpacked / 1024**3:.1f} GiB, more than the 2 GiB that are read; "
                    "save the sheet as CSV."
                )
            self._book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, ParseError) as error:
            raise ImportFileError(
                f"{path} is not a workbook that can be read ({error}); save the sheet as CSV."
            ) from error
        try:
            self._begin(shape)
        except BaseException:
            self.close()
            raise

    @property
    def header(self) -> tuple[str, ...]:
        return self._header

    @property
    def total_bytes(self) -> int:
        return self._total

    def _begin(self, shape: Shape) -> None:
        names = self._book.sheetnames
        if shape.sheet and shape.sheet not in names:
            raise ImportFileError(
                f"{self._path} has no sheet “{shape.sheet}”{did_you_mean(shape.sheet, names)}."
            )
        sheet = self._book[shape.sheet or names[0]]
        sheet.reset_dimensions()  # some programs write a wrong size into the file
        self._rows: Iterator[tuple[Any, ...]] = sheet.iter_rows(values_only=True)
        self._line = sum(1 for _ in itertools.islice(self._rows, shape.skip_rows))
        self._ahead: list[tuple[str, ...]] = []
        for values in self._rows:
            self._line += 1
            first = self._texts(values)
            while first and not first[-1]:
                first.pop()
            if first:
                break
        else:
            raise ImportFileError(f"{self._path} has no rows; there is nothing to import.")
        if shape.header:
            self._header = tuple(first)
        else:
            self._header = tuple(f"#{number}" for number in range(1, len(first) + 1))
            self._ahead.append(tuple(first))

    def _texts(self, values: Sequence[Any]) -> list[str]:
        return [_text(value, self._decimal) for value in values]

    def chunks(self, rows: int) -> Iterator[Chunk]:
        width = len(self._header)
        if self._ahead:
            yield split_rows(self._ahead, [self._line], width, 0)
            self._ahead = []
        while True:
            taken: list[Sequence[str]] = []
            for values in itertools.islice(self._rows, rows):
                cells = self._texts(values)
                # A sheet leaves out empty cells at a row's end, so that a short row there is a whole row.
                cells += [""] * (width - len(cells))
                taken.append(cells)
            if not taken:
                return
            lines = range(self._line + 1, self._line + len(taken) + 1)
            self._line += len(taken)
            yield split_rows(taken, lines, width, 0)

    def close(self) -> None:
        self._book.close()


def _text(value: Any, decimal: str) -> str:
    match value:
        case None:
            return ""
        case bool():
            return str(value)
        case float():
            return f"{value:.15g}".replace(".", decimal)
        case dt.datetime():
            return value.date().isoformat() if value.time() == dt.time.min else value.isoformat(" ")
        case dt.date() | dt.time():
            return value.isoformat()
        case _:
            return str(value).strip()
