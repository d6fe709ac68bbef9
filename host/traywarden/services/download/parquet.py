"""A table as a Parquet file: columns typed, with unit and meaning; rows in groups, so that few are held."""

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from traywarden.errors import TraywardenError, UsageError
from traywarden.services.download.tables import Cell, Column, Rows, Table

if TYPE_CHECKING:
    from arro3.core import Array, RecordBatch, Schema

ROWS_AT_ONCE = 4_096
ROWS_IN_A_GROUP = 65_536
BYTES_AT_ONCE = 1 << 18
MEDIA_TYPE = "application/vnd.apache.parquet"
_EPOCH = date(1970, 1, 1)


def as_parquet(table: Table, content: Rows) -> Iterator[tuple[int, bytes]]:
    """The file's bytes piece by piece, with the number of rows at the first piece.

    A Parquet file tells where things are at its end, so it is made in a file of its own first.
    """
    try:
        # only who asks for Parquet waits for it
        from arro3.core import RecordBatchReader
        from arro3.io import write_parquet
    except ImportError as error:
        raise UsageError("Parquet files need the package arro3-io; install it, or take CSV.") from error
    batches = _Batches(table, content)
    with tempfile.TemporaryFile() as file:
        try:
            write_parquet(
                RecordBatchReader.from_batches(batches.schema, iter(batches)),
                file,
                compression="zstd(3)",
                max_row_group_size=ROWS_IN_A_GROUP,
            )
        except Exception:
            if batches.error is not None:  # what went wrong with the rows, not with the file
                raise batches.error from None
            raise
        file.seek(0)
        rows = batches.rows
        while piece := file.read(BYTES_AT_ONCE):
            yield rows, piece
            rows = 0


class _Batches:
    """The rows as Arrow batches, as they are asked for; `error` is what the rows raised."""

    def __init__(self, table: Table, content: Rows) -> None:
        self._table, self._content = table, content
        self.schema = _schema(table)
        self.rows = 0
        self.error: TraywardenError | None = None

    def __iter__(self) -> "Iterator[RecordBatch]":
        from arro3.core import RecordBatch

        remaining = iter(self._content)
        try:
            while chunk := list(islice(remaining, ROWS_AT_ONCE)):
                self.rows += len(chunk)
                columns = zip(self._table.columns, zip(*chunk, strict=True), strict=True)
                arrays = [_array(column, cells) for column, cells in columns]
                yield RecordBatch.from_arrays(arrays, schema=self.schema)
        except TraywardenError as error:
            self.error = error
            raise


def _schema(table: Table) -> "Schema":
    from arro3.core import DataType, Field, Schema

    types: dict[str, Callable[[], Any]] = {
        "string": DataType.utf8,
        "object": DataType.utf8,
        "integer": DataType.int64,
        "number": DataType.float64,
        "boolean": DataType.bool,
        "date": DataType.date32,
        "datetime": lambda: DataType.timestamp("ms", tz="UTC"),
    }
    fields = []
    for column in table.columns:
        told = {"description": column.means} | ({"unit": column.unit} if column.unit else {})
        fields.append(Field(column.name, types[column.kind](), nullable=True, metadata=told))
    return Schema(fields, metadata={"title": table.title, "description": table.means})


def _array(column: Column, cells: Sequence[Cell]) -> "Array":
    from arro3.core import Array, DataType

    if column.kind == "datetime":
        numbers = _milliseconds(cells)
        return Array(numbers, DataType.int64()).cast(DataType.timestamp("ms", tz="UTC"))
    if column.kind == "date":
        days = [None if cell is None else (cell - _EPOCH).days for cell in cells]
        return Array(days, DataType.int32()).cast(DataType.date32())
    if column.kind == "number":
        return Array([None if cell is None else float(cell) for cell in cells], DataType.float64())
    if column.kind == "integer":
        return Array([None if cell is None else int(cell) for cell in cells], DataType.int64())
    if column.kind == "boolean":
        return Array(list(cells), DataType.bool())
    return Array([None if cell is None else str(cell) for cell in cells], DataType.utf8())


def _milliseconds(cells: Iterable[str | None]) -> list[int | None]:
    stamps = [None if cell is None else cell.removesuffix("Z") for cell in cells]
    known = np.array([stamp or "NaT" for stamp in stamps], "datetime64[ms]").astype(np.int64).tolist()
    return [None if stamp is None else int(value) for stamp, value in zip(stamps, known, strict=True)]
