"""JSON files as tables: a list of objects, or an object of lists of one length, however deep it lies."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from traywarden.errors import ImportFileError
from traywarden.links.chunks import Chunk, Shape
from traywarden.links.delimited import opened

MOST_BYTES = 64 * 1024**2
_DEEPEST = 6


def is_json(path: Path) -> bool:
    """Whether the file is JSON, by its content: what begins and ends with brackets and can be read."""
    with opened(path) as file:
        begins = file.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
        if begins not in (b"{", b"["):
            return False
    return _parsed(path) is not None


class JsonSheet:
    """A table in a JSON file; `chunks` gives its rows as text cells.

    The shape's `sheet` says where the table lies, such as “hourly” or “properties.timeseries”; without it the
    first table met is taken. Keys within a row's objects are joined by dots.
    """

    def __init__(self, path: Path, shape: Shape) -> None:
        self._path = path
        self._total = path.stat().st_size
        tree = _parsed(path)
        inside = _at(path, tree, shape.sheet) if shape.sheet else tree
        found = _table(inside, 0)
        if found is None:
            where = f" under “{shape.sheet}”" if shape.sheet else ""
            raise ImportFileError(
                f"{path} holds no table{where}: neither a list of objects nor lists of one length; "
                "name where it lies with sheet in the mapping, such as “hourly”."
            )
        self._header, self._rows = found
        if not self._rows:
            raise ImportFileError(f"{path} has no rows; there is nothing to import.")

    @property
    def header(self) -> tuple[str, ...]:
        return self._header

    @property
    def total_bytes(self) -> int:
        return self._total

    def chunks(self, rows: int) -> Iterator[Chunk]:
        for start in range(0, len(self._rows), rows):
            part = self._rows[start : start + rows]
            lines = range(start + 1, start + len(part) + 1)
            yield Chunk(lines, list(zip(*part, strict=True)), (), self._total)

    def close(self) -> None:
        self._rows = []


def _parsed(path: Path) -> Any:
    """What the file holds; None where it is not JSON, or is nothing."""
    if path.stat().st_size > MOST_BYTES:
        raise ImportFileError(f"{path} is larger than the {MOST_BYTES // 1024**2} MiB of JSON that are read.")
    with opened(path) as file:
        raw = file.read()
    try:
        return json.loads(raw)
    except (ValueError, RecursionError):
        return None


def _at(path: Path, tree: Any, where: str) -> Any:
    for key in where.split("."):
        if not isinstance(tree, dict) or key not in tree:
            there = ", ".join(f"“{name}”" for name in list(tree)[:12]) if isinstance(tree, dict) else "a list"
            raise ImportFileError(f"{path} has no “{key}” on the way to “{where}”; there is {there}.")
        tree = tree[key]
    return tree


def _table(tree: Any, depth: int) -> tuple[tuple[str, ...], list[tuple[str, ...]]] | None:
    if depth > _DEEPEST:
        return None
    if isinstance(tree, list):
        return _of_objects(tree)
    if not isinstance(tree, dict):
        return None
    found = _of_lists(tree)
    if found is not None:
        return found
    # The first table met on the level nearest to the top.
    inner = [_table(value, depth + 1) for value in tree.values() if isinstance(value, dict | list)]
    return next((table for table in inner if table is not None), None)


def _of_objects(items: list[Any]) -> tuple[tuple[str, ...], list[tuple[str, ...]]] | None:
    objects = [_flat(item) for item in items if isinstance(item, dict)]
    if not objects or len(objects) != len(items):
        return None
    header = tuple(dict.fromkeys(key for item in objects for key in item))
    return header, [tuple(_text(item.get(key)) for key in header) for item in objects]


def _of_lists(tree: dict[str, Any]) -> tuple[tuple[str, ...], list[tuple[str, ...]]] | None:
    lists = {
        key: value
        for key, value in tree.items()
        if isinstance(value, list) and value and not any(isinstance(v, dict | list) for v in value)
    }
    length = max((len(value) for value in lists.values()), default=0)
    columns = {key: value for key, value in lists.items() if len(value) == length}
    if len(columns) < 2:
        return None
    rows = zip(*([_text(v) for v in value] for value in columns.values()), strict=True)
    return tuple(columns), list(rows)


def _flat(item: dict[str, Any], before: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in item.items():
        if isinstance(value, dict):
            found |= _flat(value, f"{before}{key}.")
        elif not isinstance(value, list):
            found[before + key] = value
    return found


def _text(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.15g}" if isinstance(value, float) else str(value)
