"""Mappings for logger files: which column is which quantity of which head, and which rows are wanted."""

from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.errors import UsageError, did_you_mean
from traywarden.links.sheets import Shape
from traywarden.services.column_units import scale_for
from traywarden.services.mapping_file import (
    DEFAULT_MISSING,
    TimeMap,
    Wrong,
    checked_table,
    parts_from,
    taken,
    toml_text,
    top_lines,
    tree_of,
)

Where = tuple[tuple[str, tuple[str, ...]], ...]
"""Rows to take: every named column must hold one of its texts. Empty takes all rows."""

HIGHEST_HEAD = 15
"""As on the wire, so that whatever is imported can also be replayed."""
_SECTIONS = ("file", "time", "missing", "where", "column")
_COLUMN_KEYS = ("name", "head", "quantity", "unit", "where")


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
    return mapping_from(tree_of(path), str(path))


def mapping_from(tree: Map[str, Any], where: str) -> Mapping:
    """A mapping from parsed TOML; `where` names its source. Raises UsageError with every problem found."""
    problems: list[str] = []

    def wrong(sentence: str) -> None:
        problems.append(f"{where}: {sentence}.")

    parts = parts_from(tree, _SECTIONS, _column, "name, head, quantity and unit", wrong)
    given: dict[tuple[int, str, Where], str] = {}
    for column in parts.columns:
        key3 = (column.head, column.quantity, column.where)
        if key3 in given:
            wrong(
                f"columns “{given[key3]}” and “{column.name}” both give {column.quantity} of head "
                f"{column.head}; give one of them another head"
            )
        given[key3] = column.name
    filters = _where(tree.get("where", {}), "where", wrong)
    if problems:
        raise UsageError("\n".join(problems))
    return Mapping(parts.shape, parts.time, parts.columns, parts.missing, filters)


def _column(value: Any, number: int, wrong: Wrong) -> ColumnMap | None:
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


def _where(value: Any, name: str, wrong: Wrong) -> Where:
    if not isinstance(value, dict):
        wrong(f'{name} must be a table such as {{plot = "1"}}')
        return ()
    return tuple(
        (key, tuple(str(v) for v in texts) if isinstance(texts, list) else (str(texts),))
        for key, texts in value.items()
    )


def mapping_toml(mapping: Mapping) -> str:
    """The mapping as the TOML file that would give it."""
    lines = top_lines(mapping.notes, mapping.missing, mapping.shape, mapping.time)
    if mapping.where:
        lines.insert(len(mapping.notes) + 1, f"where = {_where_toml(mapping.where)}")
    for column in mapping.columns:
        lines += ["", "[[column]]"]
        lines += [f"{key} = {toml_text(getattr(column, key))}" for key in _COLUMN_KEYS[:-1]]
        if column.where:
            lines.append(f"where = {_where_toml(column.where)}")
    return "\n".join(lines) + "\n"


def _where_toml(where: Where) -> str:
    pairs = (
        f"{toml_text(key)} = {toml_text(texts[0] if len(texts) == 1 else texts)}" for key, texts in where
    )
    return "{" + ", ".join(pairs) + "}"
