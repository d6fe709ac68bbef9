"""Delimited text files (CSV, TSV, …): decoded, split into cells and handed out in chunks."""

import codecs
import csv
import io
import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from traywarden.errors import ImportFileError
from traywarden.links.chunks import Chunk, Shape, split_rows

_LOOK_BYTES = 262_144
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROLS = frozenset(range(32)) - frozenset(b"\t\n\r\f\x1a")


def opened(path: Path) -> BinaryIO:
    """The file opened for reading; one sentence when it cannot be."""
    try:
        if path.is_dir():
            raise ImportFileError(f"{path} is a folder; name a file in it.")
        return path.open("rb")
    except FileNotFoundError as error:
        raise ImportFileError(f"There is no file {path}; check the name and the folder.") from error
    except OSError as error:
        raise ImportFileError(f"{path} cannot be read ({error.strerror}); check its permissions.") from error


def look(path: Path) -> tuple[str, str]:
    """The file's likely encoding and its first text (up to 256 KiB, whole lines).

    Raises ImportFileError when the file is missing, empty or not text.
    """
    with opened(path) as file:
        raw = file.read(_LOOK_BYTES)
        whole = not file.read(1)
    if not raw.strip(b"\0 \r\n\t"):
        raise ImportFileError(f"{path} is empty; there is nothing to import.")
    encoding = next((name for bom, name in _BOMS if raw.startswith(bom)), "")
    if not encoding:
        encoding = _without_bom(path, raw)
    text = raw.decode(encoding, errors="replace")  # a wrong byte is told when its line is read
    if not whole:
        text = text[: text.rfind("\n") + 1] or text
    return encoding, text


def _without_bom(path: Path, raw: bytes) -> str:
    nuls = raw.count(0)
    if nuls:
        # UTF-16 without its mark: mostly ASCII text, so every other byte is zero.
        for name, start in (("utf-16-le", 1), ("utf-16-be", 0)):
            if raw[start::2].count(0) == nuls and nuls > len(raw) * 0.4:
                return name
        raise ImportFileError(f"{path} is not a text file (it holds zero bytes); export it as CSV or XLSX.")
    strange = sum(byte in _CONTROLS for byte in raw[:4096])
    if strange > len(raw[:4096]) * 0.02:
        raise ImportFileError(f"{path} is not a text file; export it as CSV or XLSX.")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(raw, final=False)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


class DelimitedSheet:
    """A delimited text file, opened; `chunks` streams it once."""

    def __init__(self, path: Path, shape: Shape) -> None:
        self._path, self._shape = path, shape
        self._total = path.stat().st_size if path.exists() else 0
        self._raw = opened(path)
        try:
            self._text = io.TextIOWrapper(self._raw, encoding=shape.encoding, newline="")
        except LookupError as error:
            self._raw.close()
            raise ImportFileError(
                f"There is no encoding “{shape.encoding}”; use utf-8, utf-8-sig, latin-1 or utf-16."
            ) from error
        try:
            self._begin()
        except BaseException:
            self.close()
            raise

    @property
    def header(self) -> tuple[str, ...]:
        return self._header

    @property
    def total_bytes(self) -> int:
        return self._total

    def _begin(self) -> None:
        self._skipped = 0
        self._rows = csv.reader(self._text, delimiter=self._shape.delimiter, skipinitialspace=True)
        self._ahead: list[list[str]] = []
        with self._guarded():
            self._skipped = sum(1 for _ in itertools.islice(self._text, self._shape.skip_rows))
            first = next((row for row in self._rows if any(row)), None)
        if first is None:
            raise ImportFileError(f"{self._path} has no rows; there is nothing to import.")
        while len(first) > 1 and not first[-1].strip():
            first.pop()
        if self._shape.header:
            self._header = tuple(name.strip().lstrip("\ufeff") for name in first)
        else:
            self._header = tuple(f"#{number}" for number in range(1, len(first) + 1))
            self._ahead.append(first)

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        """What the decoder and the csv module complain of becomes one sentence."""
        try:
            yield
        except UnicodeDecodeError as error:
            raise ImportFileError(
                f"{self._path} is not {self._shape.encoding} text (near line {self._line() + 1}: "
                f"{error.reason}); set encoding in the mapping to utf-8, latin-1 or utf-16."
            ) from error
        except (csv.Error, UnicodeError) as error:
            raise ImportFileError(
                f"{self._path} cannot be split into cells near line {self._line() + 1} ({error}); "
                "check the quotes there, the delimiter and the encoding."
            ) from error

    def _line(self) -> int:
        """The line last read."""
        return self._skipped + self._rows.line_num

    def chunks(self, rows: int) -> Iterator[Chunk]:
        width = len(self._header)
        if self._ahead:
            yield split_rows(self._ahead, [self._line()], width, self._raw.tell())
            self._ahead = []
        while True:
            before = self._line()
            with self._guarded():
                taken = list(itertools.islice(self._rows, rows))
            if not taken:
                return
            after = self._line()
            lines = range(before + 1, after + 1) if after - before == len(taken) else _lines(taken, before)
            yield split_rows(taken, lines, width, self._raw.tell())

    def close(self) -> None:
        self._text.close()
        self._raw.close()


def _lines(rows: list[list[str]], before: int) -> list[int]:
    """First line of each row where quoted cells hold line breaks."""
    lines: list[int] = []
    for row in rows:
        lines.append(before + 1)
        before += 1 + sum(cell.count("\n") for cell in row)
    return lines
