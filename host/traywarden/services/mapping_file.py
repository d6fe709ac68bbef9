"""Mapping files: what every kind has in common, read with every problem named, and written again."""

import tomllib
from collections.abc import Callable, Sequence
from collections.abc import Mapping as Map
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar
from zoneinfo import ZoneInfo

from traywarden.errors import UsageError, did_you_mean
from traywarden.links.sheets import Shape
from traywarden.services.stamps import offset_s_from

FILE_KEYS = ("encoding", "delimiter", "skip_rows", "header", "decimal", "thousands", "sheet")
TIME_KEYS = ("columns", "format", "offset", "zone", "shift_s", "newest_first")
DEFAULT_MISSING = ("", "NA", "N/A", "NaN", "nan", "null", "-")

Column = TypeVar("Column")
Wrong = Callable[[str], None]
"""Takes a sentence about what is wrong, without its full stop."""


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
class Parts(Generic[Column]):
    """What every mapping has."""

    shape: Shape
    time: TimeMap
    columns: tuple[Column, ...]
    missing: tuple[str, ...]


def tree_of(path: Path) -> dict[str, Any]:
    """A mapping file's TOML. Raises UsageError where it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise UsageError(f"There is no mapping file {path}; --write-map writes one.") from error
    except OSError as error:
        raise UsageError(f"{path} cannot be read ({error.strerror}); check its permissions.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{path} is not valid TOML ({error}); correct that line.") from error


def parts_from(
    tree: Map[str, Any],
    sections: Sequence[str],
    column_from: Callable[[Any, int, Wrong], Column | None],
    column_keys: str,
    wrong: Wrong,
) -> Parts[Column]:
    """The parts that every mapping has; what is wrong with them goes to `wrong`.

    `column_from` reads the n-th [[column]], whose needed keys are `column_keys` in words.
    """
    for key in tree:
        if key not in sections:
            wrong(f"there is no “{key}”{did_you_mean(key, sections)}")
    shape, time = shape_from(tree.get("file", {}), wrong), time_from(tree.get("time", {}), wrong)
    rows = tree.get("column", [])
    if not isinstance(rows, list) or not rows:
        wrong(f"needs at least one [[column]] with {column_keys}")
        rows = []
    columns = tuple(c for n, row in enumerate(rows, 1) if (c := column_from(row, n, wrong)) is not None)
    missing = tree.get("missing", list(DEFAULT_MISSING))
    if not isinstance(missing, list):
        wrong('missing must be a list of texts, such as ["-6999", "NA", ""]')
        missing = []
    return Parts(shape, time, columns, tuple(str(m) for m in missing))


def checked_table(value: Any, name: str, keys: tuple[str, ...], wrong: Wrong) -> dict[str, Any]:
    """A table of a mapping as a dict; keys it cannot have go to `wrong`."""
    if not isinstance(value, dict):
        wrong(f"[{name}] must be a table")
        return {}
    for key in value:
        if key not in keys:
            wrong(f"[{name}] has no “{key}”{did_you_mean(key, keys)}")
    return value


def taken(table: dict[str, Any], name: str, key: str, default: Any, wrong: Wrong) -> Any:
    """A value of a table, of the default's type; another type goes to `wrong`."""
    value = table.get(key, default)
    if isinstance(default, float) and type(value) is int:
        value = float(value)
    if type(value) is not type(default):
        words = {str: "text in quotes", int: "a whole number", float: "a number", bool: "true or false"}
        wrong(f"{name}.{key} is {value!r}; write {words[type(default)]}")
        return default
    return value


def shape_from(value: Any, wrong: Wrong) -> Shape:
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


def time_from(value: Any, wrong: Wrong) -> TimeMap:
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


def top_lines(notes: Sequence[str], missing: tuple[str, ...], shape: Shape, time: TimeMap) -> list[str]:
    """A mapping's TOML above its columns."""
    lines = [*(f"# {note}" for note in notes), f"missing = {toml_text(missing)}", "", "[file]"]
    lines += [f"{key} = {toml_text(getattr(shape, key))}" for key in FILE_KEYS]
    return [*lines, "", "[time]", *(f"{key} = {toml_text(getattr(time, key))}" for key in TIME_KEYS)]


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
