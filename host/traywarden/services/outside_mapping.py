"""Mappings for weather of the open air: which column of a forecast or weather file is which quantity."""

import re
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from traywarden.domain.readings import BY_COLUMN, Quantity
from traywarden.domain.series import FloatArray
from traywarden.errors import ImportFileError, UsageError, did_you_mean
from traywarden.links.sheets import Shape
from traywarden.services.cells import CellReader
from traywarden.services.column_units import UNITS, Scale, unit_named
from traywarden.services.guess import Guess, guess_layout, listed
from traywarden.services.guess_columns import words_of
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

_SECTIONS = ("file", "time", "missing", "column")
_COLUMN_KEYS = ("name", "quantity", "unit")
QUANTITIES: dict[str, Quantity] = {
    **{name: BY_COLUMN[name] for name in ("air_temp_c", "rh_pct", "rain_mm")},
    "air_min_c": Quantity("air_min_c", "", "Cel", -127.0, 125.0, "lowest air temperature of the day"),
    "air_max_c": Quantity("air_max_c", "", "Cel", -127.0, 125.0, "highest air temperature of the day"),
    # The strongest gust ever measured outside a tornado is 113 m/s (WMO, Barrow Island 1996).
    "wind_m_s": Quantity("wind_m_s", "", "m/s", 0.0, 120.0, "wind speed"),
}
OUTSIDE_UNITS: dict[str, dict[str, Scale]] = {
    **{name: UNITS[name] for name in ("air_temp_c", "rh_pct", "rain_mm")},
    "air_min_c": UNITS["air_temp_c"],
    "air_max_c": UNITS["air_temp_c"],
    "wind_m_s": {"m/s": Scale(1.0), "km/h": Scale(1 / 3.6), "mph": Scale(0.44704), "kn": Scale(1852 / 3600)},
}
_WIND_WORDS = {
    "m/s": "m/s",
    "ms": "m/s",
    "km/h": "km/h",
    "kmh": "km/h",
    "kph": "km/h",
    "mph": "mph",
    "kn": "kn",
}
_NOT_THESE = re.compile(
    r"\b(dew\w*|soil|ground|apparent|feels?|wet bulb|gusts?|dir\w*|prob\w*|chance|flag|std|count|water"
    r"|snow\w*)\b"
)
_PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("rh_pct", re.compile(r"\b(rh\w*|(rel\w* )?humid\w*|feuchte|umidade|humidade)\b")),
    ("rain_mm", re.compile(r"\b(rain\w*|precip\w*|prcp|ppt|chuva|niederschlag)\b")),
    ("wind_m_s", re.compile(r"\bwind\w*\b")),
    (
        "air_min_c",
        re.compile(r"\b(t(emp\w*)?( ?\d+m?)? ?(min\w*|low\w*)|(min\w*|low\w*) ?t(emp\w*)?|tmn|tn)\b"),
    ),
    (
        "air_max_c",
        re.compile(r"\b(t(emp\w*)?( ?\d+m?)? ?(max\w*|high\w*)|(max\w*|high\w*) ?t(emp\w*)?|tmx|tx)\b"),
    ),
    ("air_temp_c", re.compile(r"\b(t|temp\w*|t ?air\w*|air ?t|tavg|tmean|t2m|ta|tobs|air ?temp\w*)\b")),
)
_FAHRENHEIT_ABOVE = 45.0  # a median of temperatures that no air in °C has
_DEFAULT = {"rh_pct": "%", "rain_mm": "mm", "wind_m_s": "m/s"}


@dataclass(frozen=True, slots=True)
class OutsideColumn:
    """One column of the file: `quantity` is one of QUANTITIES, `unit` the file's."""

    name: str
    quantity: str
    unit: str

    @property
    def scale(self) -> Scale:
        return OUTSIDE_UNITS[self.quantity][_unit(self.quantity, self.unit) or ""]


@dataclass(frozen=True, slots=True)
class OutsideMapping:
    """A whole mapping of a forecast or weather file. `notes` are remarks for who confirms it."""

    shape: Shape
    time: TimeMap
    columns: tuple[OutsideColumn, ...]
    missing: tuple[str, ...] = DEFAULT_MISSING
    notes: tuple[str, ...] = field(default=())


def load_outside_mapping(path: Path) -> OutsideMapping:
    """Read a mapping file. Raises UsageError that names every problem found."""
    return outside_mapping_from(tree_of(path), str(path))


def outside_mapping_from(tree: Map[str, Any], where: str) -> OutsideMapping:
    """A mapping from parsed TOML; `where` names its source. Raises UsageError with every problem found."""
    problems: list[str] = []

    def wrong(sentence: str) -> None:
        problems.append(f"{where}: {sentence}.")

    parts = parts_from(tree, _SECTIONS, _column, "name, quantity and unit", wrong)
    given: dict[str, str] = {}
    for column in parts.columns:
        if column.quantity in given:
            wrong(f"columns “{given[column.quantity]}” and “{column.name}” both give {column.quantity}")
        given[column.quantity] = column.name
    if problems:
        raise UsageError("\n".join(problems))
    return OutsideMapping(parts.shape, parts.time, parts.columns, parts.missing)


def outside_toml(mapping: OutsideMapping) -> str:
    """The mapping as the TOML file that would give it."""
    lines = top_lines(mapping.notes, mapping.missing, mapping.shape, mapping.time)
    for column in mapping.columns:
        lines += ["", "[[column]]"]
        lines += [f"{key} = {toml_text(getattr(column, key))}" for key in _COLUMN_KEYS]
    return "\n".join(lines) + "\n"


def guess_outside(
    path: Path, *, zone: str = "", offset: str = "", date_order: str = ""
) -> Guess[OutsideMapping]:
    """Guess how a forecast or weather file is to be read.

    Raises ImportFileError when no stamp or no temperature, rain or wind can be made out.
    """
    layout = guess_layout(path, zone=zone, offset=offset, date_order=date_order)
    reader = CellReader(layout.shape.decimal, layout.shape.thousands, layout.missing)
    values = {
        name: reader.read(layout.sample.column(place))[0]
        for place, name in enumerate(layout.sample.header)
        if place not in layout.stamps.places
    }
    columns, notes = _guessed_columns(values)
    if not columns:
        raise ImportFileError(
            f"{path}: no column's name says temperature, humidity, rain or wind (there is "
            f"{listed(layout.sample.header)}); write a mapping (see docs/weather.md)."
        )
    if layout.time.zone:
        notes.append(f"Stamps are wall-clock time in {layout.time.zone}")
    mapping = OutsideMapping(layout.shape, layout.time, tuple(columns), layout.missing, tuple(notes))
    return Guess(mapping, layout.doubts)


def _guessed_columns(values: Map[str, FloatArray]) -> tuple[list[OutsideColumn], list[str]]:
    found: dict[str, OutsideColumn] = {}
    notes: list[str] = []
    for name, numbers in values.items():
        words = words_of(name)
        quantity = next((q for q, pattern in _PATTERNS if pattern.search(words)), None)
        known = numbers[np.isfinite(numbers)]
        if quantity is None or _NOT_THESE.search(words) or quantity in found or not known.size:
            continue
        unit = _unit_in(quantity, name)
        if unit is None:
            warm = float(np.median(known)) > _FAHRENHEIT_ABOVE
            unit = _DEFAULT.get(quantity, "°F" if warm else "°C")
            notes.append(f"“{name}” says no unit; taken as {unit}")
        found[quantity] = OutsideColumn(name, quantity, unit)
    return list(found.values()), notes


def _unit_in(quantity: str, name: str) -> str | None:
    """The unit a name ends in or has in brackets, if it fits the quantity."""
    parts = re.findall(r"[(\[]([^)\]]*)[)\]]", name) or re.findall(r"(?<=[_ .])[^_ .]+$", name)
    if quantity == "wind_m_s" and name.lower().endswith("m_s"):
        return "m/s"
    return next((unit for part in parts if (unit := _unit(quantity, part))), None)


def _unit(quantity: str, text: str) -> str | None:
    """The unit a text means for that quantity; None where it fits none."""
    if quantity == "wind_m_s":
        return _WIND_WORDS.get(text.strip().casefold())
    known = unit_named(text)
    return known if known in OUTSIDE_UNITS[quantity] else None


def _column(value: Any, number: int, wrong: Wrong) -> OutsideColumn | None:
    name = f"column {number}"
    table = checked_table(value, name, _COLUMN_KEYS, wrong)
    lacking = [key for key in _COLUMN_KEYS if key not in table]
    if lacking:
        wrong(f"[[column]] {number} lacks {', '.join(lacking)}")
        return None
    title, quantity, unit = (taken(table, name, key, "", wrong) for key in _COLUMN_KEYS)
    if quantity not in QUANTITIES:
        wrong(f"{name} “{title}”: there is no quantity “{quantity}”{did_you_mean(quantity, QUANTITIES)}")
        return None
    if _unit(quantity, unit) is None:
        fitting = ", ".join(OUTSIDE_UNITS[quantity])
        wrong(f"{name} “{title}”: unit “{unit}” does not fit {quantity}; use one of {fitting}")
        return None
    return OutsideColumn(title, quantity, unit)
