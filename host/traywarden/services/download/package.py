"""A garden as a data package: CSV or Parquet files, and datapackage.json that says what each column means.

Tabular Data Package, version 1 (specs.frictionlessdata.io); `unit` is a property of our own. Rows are written
as they are read. The description comes last, as it tells length and digest of every file.
"""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import islice
from pathlib import Path
from typing import IO, Any, cast

from traywarden import __version__
from traywarden.domain.days import local_date
from traywarden.errors import UsageError
from traywarden.services.download import rows, tables
from traywarden.services.download.parquet import MEDIA_TYPE, as_parquet
from traywarden.services.download.tables import Cell, Rows, Table
from traywarden.services.questions.ground import Ground
from traywarden.store import probes as probe_store

DESCRIPTION = "datapackage.json"
ROWS_AT_ONCE = 2_000
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
MEANS = (
    "Everything stored of one garden. Instants are UTC, days are the garden's own. Readings and days are of "
    "the span asked for; the journal and the names are whole. "
)
MEANS_OF_CSV = (
    "An empty cell is not known. Where a text begins with = + - or @ an apostrophe stands before it, so that "
    "no spreadsheet takes it for a formula."
)
MEANS_OF_PARQUET = "A null is not known. Recipes and data of entries are texts of JSON."


class Form(StrEnum):
    """What the files of a package are."""

    CSV = "csv"
    PARQUET = "parquet"

    @property
    def profile(self) -> str:
        """A tabular data package is of CSV alone."""
        return "tabular-data-package" if self is Form.CSV else "data-package"

    def path(self, table: Table) -> str:
        return table.path if self is Form.CSV else f"{table.path.removesuffix('.csv')}.parquet"

    def described(self, table: Table) -> dict[str, Any]:
        told = table.described()
        if self is Form.CSV:
            return told
        told |= {"path": self.path(table), "format": "parquet", "mediatype": MEDIA_TYPE}
        told["profile"] = "data-resource"
        return {name: value for name, value in told.items() if name not in ("encoding", "dialect")}


@dataclass(frozen=True, slots=True)
class Span:
    """First and last garden day."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Written:
    """One file of a package."""

    path: str
    rows: int
    size: int


def span_asked(on: Ground, start: date | None, end: date | None) -> Span:
    """The days asked for; by default all that were measured. Raises UsageError where there is none."""
    first, last = rows.recorded_days(on)
    found = Span(start or first, end or max(last, local_date(on.now_ms, on.zone)))
    if found.first > found.last:
        raise UsageError(f"From {found.first} to {found.last} there is no day; turn the two round.")
    return found


@dataclass(slots=True)
class _File:
    """What is known of a file once its last part was handed out."""

    table: Table
    rows: int = 0
    size: int = 0
    digest: str = ""


Part = tuple[str, int, bytes]
"""Where it belongs in the package, and the next rows of it: how many, and their text."""


def parts(on: Ground, span: Span, form: Form = Form.CSV) -> Iterator[Part]:
    """The whole package, file after file, each in parts; the description last."""
    done: list[_File] = []
    encoded = as_parquet if form is Form.PARQUET else _as_csv
    for table, content in _contents(on, span):
        file, digest = _File(table), hashlib.sha256()
        done.append(file)
        for count, text in encoded(table, content):
            file.rows += count
            file.size += len(text)
            digest.update(text)
            yield form.path(table), count, text
        file.digest = digest.hexdigest()
    described = json.dumps(_described(on, span, done, form), ensure_ascii=False, indent=2)
    yield DESCRIPTION, 0, f"{described}\n".encode()


def to_folder(on: Ground, span: Span, folder: Path, form: Form = Form.CSV) -> list[Written]:
    """Write the package into a new or empty folder."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"There is something at {folder} already; name a new folder.")
    written: dict[str, list[int]] = {}
    file: IO[bytes] | None = None
    try:
        for path, count, text in parts(on, span, form):
            if path not in written:
                if file is not None:
                    file.close()
                target = folder / path
                target.parent.mkdir(parents=True, exist_ok=True)
                file = target.open("wb")
            assert file is not None
            file.write(text)
            _count(written, path, count, text)
    except OSError as error:
        raise UsageError(f"{folder} could not be written ({error.strerror}); is there space?") from error
    finally:
        if file is not None:
            file.close()
    return _listed(written)


def to_zip(on: Ground, span: Span, file: Path, form: Form = Form.CSV) -> list[Written]:
    """Write the package as one file, which is only there once it is whole."""
    if file.exists():
        raise UsageError(f"There is a file {file} already; name a new one.")
    written: dict[str, list[int]] = {}
    partial = file.with_name(f"{file.name}.part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("wb") as out:
            for chunk in zipped(on, span, written, form):
                out.write(chunk)
        partial.replace(file)
    except OSError as error:
        raise UsageError(f"{file} could not be written ({error.strerror}); is there space?") from error
    finally:
        partial.unlink(missing_ok=True)
    return _listed(written)


def zipped(
    on: Ground, span: Span, written: dict[str, list[int]] | None = None, form: Form = Form.CSV
) -> Iterator[bytes]:
    """The package as the bytes of a zip file, as they come."""
    out = _Outgoing()
    with zipfile.ZipFile(cast(IO[bytes], out), "w", zipfile.ZIP_DEFLATED) as archive:
        path, file = "", None
        try:
            for path_of_part, count, text in parts(on, span, form):
                if path_of_part != path:
                    if file is not None:
                        file.close()
                    path, file = path_of_part, archive.open(path_of_part, "w", force_zip64=True)
                assert file is not None
                file.write(text)
                if written is not None:
                    _count(written, path, count, text)
                if out.size >= 1 << 16:
                    yield out.taken()
        finally:
            if file is not None:
                file.close()
    yield out.taken()


class _Outgoing:
    """A file that can only be written to, and is emptied again and again."""

    def __init__(self) -> None:
        self._chunks: list[bytes] = []
        self.size = 0

    def write(self, data: bytes) -> int:
        self._chunks.append(bytes(data))
        self.size += len(data)
        return len(data)

    def flush(self) -> None:
        """Nothing waits."""

    def taken(self) -> bytes:
        data = b"".join(self._chunks)
        self._chunks.clear()
        self.size = 0
        return data


def _contents(on: Ground, span: Span) -> Iterator[tuple[Table, Rows]]:
    for table in (tables.GARDEN, tables.PLACES, tables.MIXES, tables.TRAYS, tables.LOTS):
        yield table, rows.nouns(on, table.name)
    yield tables.HEADS, rows.heads(on)
    yield tables.JOURNAL, rows.journal(on)
    yield tables.PLACE_DAYS, rows.days_of_places(on, span.first, span.last)
    yield tables.TRAY_DAYS, rows.days_of_trays(on, span.first, span.last)
    for head in probe_store.heads(on.tx):
        content = rows.readings(on, head, span.first, span.last)
        yield tables.readings_of(head.head_id, head.label), content


def _as_csv(table: Table, content: Rows) -> Iterator[tuple[int, bytes]]:
    """Some rows and their text at a time, the heading first."""
    texts = {n for n, column in enumerate(table.columns) if column.kind == "string"}
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([column.name for column in table.columns])
    yield 0, out.getvalue().encode()
    remaining = iter(content)
    while chunk := list(islice(remaining, ROWS_AT_ONCE)):
        out = io.StringIO()
        csv.writer(out).writerows([_cells(row, texts) for row in chunk])
        yield len(chunk), out.getvalue().encode()


def _cells(row: Sequence[Cell], texts: Iterable[int]) -> list[Cell]:
    cells = list(row)
    for n in texts:
        value = cells[n]
        if isinstance(value, str) and value[:1] in FORMULA_SIGNS:
            cells[n] = f"'{value}"
    for n, value in enumerate(cells):
        if isinstance(value, bool):
            cells[n] = "true" if value else "false"
    return cells


def _described(on: Ground, span: Span, files: Sequence[_File], form: Form) -> dict[str, Any]:
    return {
        "profile": form.profile,
        "name": on.garden.slug,
        "title": on.garden.name,
        "description": MEANS + (MEANS_OF_CSV if form is Form.CSV else MEANS_OF_PARQUET),
        "created": on.at(on.now_ms).isoformat(timespec="seconds"),
        "traywarden": __version__,
        "span": {"first_day": str(span.first), "last_day": str(span.last)},
        "resources": [
            {
                **form.described(file.table),
                "bytes": file.size,
                "hash": f"sha256:{file.digest}",
                "rows": file.rows,
            }
            for file in files
        ],
    }


def _count(written: dict[str, list[int]], path: str, count: int, text: bytes) -> None:
    found = written.setdefault(path, [0, 0])
    found[0] += count
    found[1] += len(text)


def _listed(written: dict[str, list[int]]) -> list[Written]:
    return [Written(path, count, size) for path, (count, size) in written.items()]
