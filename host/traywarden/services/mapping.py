"""The mapping file: which column of a logger file is which quantity of which head, and how its times read."""

import tomllib
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.errors import UsageError, did_you_mean
from traywarden.links.sheets import Shape
from traywarden.services.column_units import scale_for
from traywarden.services.stamps import offset_s_from

Where = tuple[tuple[str, tuple[str, ...]], ...]
"""Rows to take: every named column must hold one of its texts. Empty takes all rows."""

HIGHEST_HEAD = 15
"""As on the wire, so that whatever is imported can also be replayed."""
_SECTIONS = ("file", "time", "missing", "where", "column")
FILE_KEYS = ("encoding", "delimiter", "skip_rows", "header", "decimal", "thousands", "sheet")
TIME_KEYS = ("columns", "format", "offset", "zone", "shift_s", "newest_first")
_COLUMN_KEYS = ("name", "head", "quantity", "unit", "where")
DEFAULT_MISSING = ("", "NA", "N/A", "NaN", "nan", "null", "-")


@dataclass(frozen=True, slots=True)
class TimeMap:
    """How stamps read. `columns` are joined by a space; `shift_s` is added to every stamp.

    A zone or a fixed offset is needed unless every stamp carries its own offset or is an epoch count.
    """

    columns: tuple[str, ...]
    format: str = "iso"
    offset: str = ""
    zone: str = ""
    shift_s: float = 0.0
    newest_first: bool = False


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """One column of the file: `quantity` is one of domain/readings.QUANTITIES, `unit` the file's."""

    name: str
    head: int
    quantity: str
    unit: str
    where: Where = ()


@dataclass(frozen=True, slots=True)
class Mapping:
    """A whole mapping. `notes` are remarks for the person who confirms it, written as comments."""

    shape: Shape
    time: TimeMap
    columns: tuple[ColumnMap, ...]
    missing: tuple[str, ...] = DEFAULT_MISSING
    where: Where = ()
    notes: tuple[str, ...] = field(default=())


def load_mapping(path: Path) -> Mapping:
    """Read a mapping file. Raises UsageError that names every problem found."""
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise UsageError(f"There is no mapping file {path}; --write-map writes one.") from error
    except OSError as error:
        raise UsageError(f"{path} cannot be read ({error.strerror}); check its permissions.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{path} is not valid TOML ({error}); correct that line.") from error
    return mapping_from(tree, str(path))


def mapping_from(tree: Map[str, Any], where: str) -> Mapping:
    """A mapping from parsed TOML; `where` names its source. Raises UsageError with every problem found."""
    problems: list[str] = []

    def wrong(sentence: str) -> None:
        problems.append(f"{where}: {sentence}.")

    for key in tree:
        if key not in _SECTIONS:
            wrong(f"there is no “{key}”{did_you_mean(key, _SECTIONS)}")
    shape = shape_from(tree.get("file", {}), wrong)
    time = time_from(tree.get("time", {}), wrong)
    rows = tree.get("column", [])
    columns: list[ColumnMap] = []
    if not isinstance(rows, list) or not rows:
        wrong("needs at least one [[column]] with name, head, quantity and unit")
    else:
        columns = [c for n, row in enumerate(rows, 1) if (c := _column(row, n, wrong)) is not None]
    given: dict[tuple[int, str, Where], str] = {}
    for column in columns:
        key3 = (column.head, column.quantity, column.where)
        if key3 in given:
            wrong(
                f"columns “{given[key3]}” and “{column.name}” both give {column.quantity} of head "
                f"{column.head}; give one of them another head"
            )
        given[key3] = column.name
    missing = tree.get("missing", list(DEFAULT_MISSING))
    if not isinstance(missing, list):
        wrong('missing must be a list of texts, such as ["-6999", "NA", ""]')
        missing = []
    filters = _where(tree.get("where", {}), "where", wrong)
    if problems:
        raise UsageError("\n".join(problems))
    return Mapping(shape, time, tuple(columns), tuple(str(m) for m in missing), filters)


def checked_table(value: Any, name: str, keys: tuple[str, ...], wrong: Any) -> dict[str, Any]:
    """A table of a mapping as a dict; keys it cannot have go to `wrong`."""
    if not isinstance(value, dict):
        wrong(f"[{name}] must be a table")
        return {}
    for key in value:
        if key not in keys:
            wrong(f"[{name}] has no “{key}”{did_you_mean(key, keys)}")
    return value


def taken(table: dict[str, Any], name: str, key: str, default: Any, wrong: Any) -> Any:
    """A value of a table, of the default's type; another type goes to `wrong`."""
    value = table.get(key, default)
    if isinstance(default, float) and type(value) is int:
        value = float(value)
    if type(value) is not type(default):
        words = {str: "text in quotes", int: "a whole number", float: "a number", bool: "true or false"}
        wrong(f"{name}.{key} is {value!r}; write {words[type(default)]}")
        return default
    return value


def shape_from(value: Any, wrong: Any) -> Shape:
    """The [file] table of a mapping; what is wrong with it goes to `wrong`."""
    table, base = checked_table(value, "file", FILE_KEYS, wrong), Shape()
    shape = Shape(**{key: taken(table, "file", key, getattr(base, key), wrong) for key in FILE_KEYS})
    if len(shape.delimiter) != 1:
        wrong(f"file.delimiter is {shape.delimiter!r}; write one character")
    if shape.decimal not in (".", ","):
        wrong(f"file.decimal is {shape.decimal!r}; write a point or a comma")
    if shape.thousands and (len(shape.thousands) != 1 or shape.thousands == shape.decimal):
        wrong(f"file.thousands is {shape.thousands!r}; write one character that is not the decimal mark")
    if shape.skip_rows < 0:
        wrong("file.skip_rows is negative; write how many lines come before the header")
    return shape


def time_from(value: Any, wrong: Any) -> TimeMap:
    """The [time] table of a mapping; what is wrong with it goes to `wrong`."""
    table = checked_table(value, "time", TIME_KEYS, wrong)
    columns = table.get("columns", [])
    if isinstance(columns, str):
        columns = [columns]
    if not isinstance(columns, list) or not columns or not all(isinstance(c, str) for c in columns):
        wrong("time.columns must name the column with the stamp, or those with date and time")
        columns = []
    base = TimeMap(tuple(columns))
    time = TimeMap(
        base.columns, **{key: taken(table, "time", key, getattr(base, key), wrong) for key in TIME_KEYS[1:]}
    )
    if time.offset and time.zone:
        wrong("time has both an offset and a zone; keep the one the logger's clock follows")
    if time.offset and offset_s_from(time.offset) is None:
        wrong(f"time.offset is “{time.offset}”; write it like “-06:00”")
    if time.zone:
        try:
            ZoneInfo(time.zone)
        except (KeyError, ValueError, OSError):
            wrong(f"time.zone is “{time.zone}”, which is no known zone; write it like “America/Chicago”")
    if time.format not in ("iso", "epoch s", "epoch ms") and "%" not in time.format:
        wrong(
            f"time.format is “{time.format}”; write iso, epoch s, epoch ms or a pattern like %d/%m/%Y %H:%M"
        )
    return time


def _column(value: Any, number: int, wrong: Any) -> ColumnMap | None:
    name = f"column {number}"
    table = checked_table(value, name, _COLUMN_KEYS, wrong)
    lacking = [key for key in ("name", "head", "quantity", "unit") if key not in table]
    if lacking:
        wrong(f"[[column]] {number} lacks {', '.join(lacking)}")
        return None
    title = taken(table, name, "name", "", wrong)
    head = taken(table, name, "head", 0, wrong)
    quantity, unit = taken(table, name, "quantity", "", wrong), taken(table, name, "unit", "", wrong)
    if not 0 <= head <= HIGHEST_HEAD:
        wrong(f"{name}.head is {head}; write a number from 0 to {HIGHEST_HEAD}")
    if quantity not in VALUE_COLUMNS:
        wrong(f"{name} “{title}”: there is no quantity “{quantity}”{did_you_mean(quantity, VALUE_COLUMNS)}")
        return None
    scale = scale_for(quantity, unit)
    if isinstance(scale, str):
        wrong(f"{name} “{title}”: {scale}")
    return ColumnMap(title, head, quantity, unit, _where(table.get("where", {}), f"{name}.where", wrong))


def _where(value: Any, name: str, wrong: Any) -> Where:
    if not isinstance(value, dict):
        wrong(f'{name} must be a table such as {{plot = "1"}}')
        return ()
    return tuple(
        (key, tuple(str(v) for v in texts) if isinstance(texts, list) else (str(texts),))
        for key, texts in value.items()
    )


def mapping_toml(mapping: Mapping) -> str:
    """The mapping as the TOML file that would give it."""
    lines = [f"# {note}" for note in mapping.notes]
    lines += ["[file]", *(f"{key} = {toml_text(getattr(mapping.shape, key))}" for key in FILE_KEYS)]
    time = mapping.time
    lines += ["", "[time]", *(f"{key} = {toml_text(getattr(time, key))}" for key in TIME_KEYS)]
    top = [f"missing = {toml_text(mapping.missing)}"]
    if mapping.where:
        top.append(f"where = {_where_toml(mapping.where)}")
    for column in mapping.columns:
        lines += ["", "[[column]]"]
        lines += [f"{key} = {toml_text(getattr(column, key))}" for key in _COLUMN_KEYS[:-1]]
        if column.where:
            lines.append(f"where = {_where_toml(column.where)}")
    notes = len(mapping.notes)
    return "\n".join([*lines[:notes], *top, "", *lines[notes:]]) + "\n"


def _where_toml(where: Where) -> str:
    pairs = (
        f"{toml_text(key)} = {toml_text(texts[0] if len(texts) == 1 else texts)}" for key, texts in where
    )
    return "{" + ", ".join(pairs) + "}"


def toml_text(value: Any) -> str:
    """A value as TOML writes it."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            escaped = "".join(
                f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else c
                for c in value.replace("\\", "\\\\").replace('"', '\\"')
            )
            return f'"{escaped}"'
        case tuple():
            return "[" + ", ".join(toml_text(v) for v in value) + "]"
        case _:
            return repr(value)
