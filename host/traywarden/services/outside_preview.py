"""A forecast or weather file before it is read in: its columns, what each is taken for, what comes out."""

from collections.abc import Mapping as Map
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.outside import EPOCH
from traywarden.domain.series import FloatArray, IntArray
from traywarden.errors import ImportFileError, UsageError
from traywarden.services.findings import Finding, Findings
from traywarden.services.guess import Doubt, guess_layout
from traywarden.services.outside_files import by_day, by_hour, read_outside
from traywarden.services.outside_mapping import OUTSIDE_UNITS, OutsideColumn, OutsideMapping, guess_outside

SHOWN_ROWS = 5
LEFT_OUT = ""
STAMP = "time"


@dataclass(frozen=True, slots=True)
class FileColumn:
    """A column of a file: a few of its cells, and what it is taken for: “quantity unit”, time, or nothing."""

    name: str
    cells: tuple[str, ...]
    taken: str


@dataclass(frozen=True, slots=True)
class FileLook:
    """How a file would be read. With `doubts` it cannot be read before they are answered."""

    columns: tuple[FileColumn, ...]
    mapping: OutsideMapping
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """What would be read in: first and last rows by hour or by day, in the units used inside."""

    rows: int
    made_of: str
    found: int
    first: datetime | date
    last: datetime | date
    quantities: tuple[str, ...]
    shown: tuple[tuple[datetime | date, dict[str, float | None]], ...]
    left_between: int
    lowest_c: float | None
    highest_c: float | None
    counts: dict[str, int]
    listed: list[Finding]


def choices() -> dict[str, tuple[str, ...]]:
    """Every quantity with the units it may come in."""
    return {quantity: tuple(units) for quantity, units in OUTSIDE_UNITS.items()}


def look_into(
    path: Path, *, zone: str, offset: str, date_order: str, chosen: Map[int, str] | None = None
) -> FileLook:
    """Look into a file: what each column is taken for is guessed, or as `chosen` by the column's place.

    Raises ImportFileError where nothing of time can be made out, UsageError where two columns are one thing.
    """
    layout = guess_layout(path, zone=zone, offset=offset, date_order=date_order)
    header, stamps = layout.sample.header, layout.stamps.places
    names = [name if header.count(name) == 1 else f"#{place + 1}" for place, name in enumerate(header)]
    notes: tuple[str, ...] = ()
    if chosen is None:
        try:
            guessed = guess_outside(path, zone=zone, offset=offset, date_order=date_order).mapping
            columns, notes = guessed.columns, guessed.notes
        except ImportFileError:
            columns = ()  # no name says what it is: a person has to
    else:
        columns = tuple(
            _column(names[place], words) for place, words in chosen.items() if words and place < len(names)
        )
    taken = {column.name: f"{column.quantity} {column.unit}" for column in columns}
    quantities = [column.quantity for column in columns]
    twice = next((column for column in columns if quantities.count(column.quantity) > 1), None)
    if twice is not None:
        raise UsageError(
            f"Two columns are taken for the same thing, “{twice.name}” one of them; leave one out."
        )
    return FileLook(
        tuple(
            FileColumn(
                name,
                tuple(cell[:40] for cell in layout.sample.column(place)[:3]),
                STAMP if place in stamps else taken.get(names[place], LEFT_OUT),
            )
            for place, name in enumerate(header)
        ),
        OutsideMapping(layout.shape, layout.time, columns, layout.missing, notes),
        layout.doubts,
    )


def _column(name: str, words: str) -> OutsideColumn:
    quantity, _, unit = words.partition(" ")
    if unit not in OUTSIDE_UNITS.get(quantity, {}):
        raise UsageError(f"Column “{name}” cannot be taken for “{words[:40]}”; choose from the list.")
    return OutsideColumn(name, quantity, unit)


def preview(path: Path, mapping: OutsideMapping, zone: ZoneInfo, *, forecast: bool) -> Preview:
    """What the file would give: by the hour for a forecast, by the garden's day for past weather.

    Raises UsageError where it could not be read in so, ImportFileError for the file.
    """
    if not mapping.columns:
        raise UsageError(
            "Say of at least one column what it is: air temperature, or lowest and highest of a day."
        )
    findings = Findings()
    rows = read_outside(path, mapping, findings)
    times, values = by_hour(rows) if forecast else by_day(rows, zone)
    if why := _lacks(values, rows.daily, forecast=forecast):
        raise UsageError(why)
    temperatures = [values[name] for name in ("air_temp_c", "air_min_c", "air_max_c") if name in values]
    known = np.concatenate(temperatures) if temperatures else np.empty(0)
    known = known[np.isfinite(known)]
    shown = _shown(times, values, zone, forecast)
    return Preview(
        rows.rows,
        "days" if rows.daily else "hours",
        int(times.size),
        _when(int(times[0]), zone, forecast),
        _when(int(times[-1]), zone, forecast),
        tuple(values),
        shown,
        max(0, int(times.size) - len(shown)),
        float(known.min()) if known.size else None,
        float(known.max()) if known.size else None,
        findings.counts,
        findings.listed,
    )


def _lacks(values: Map[str, FloatArray], daily: bool, *, forecast: bool) -> str:
    """What keeps it from being read in, in words; empty where nothing does."""
    if forecast and daily:
        return "A forecast is taken by the hour, and this has a row a day; is it past weather?"
    if forecast and "air_temp_c" not in values:
        return "A forecast needs the air temperature of each hour; say which column holds it."
    extremes = [values.get(name, np.empty(0)) for name in ("air_min_c", "air_max_c")]
    if not forecast and not all(np.isfinite(each).any() for each in extremes):
        return (
            "Past weather needs the lowest and the highest air temperature of each day, or the air "
            "temperature of its hours; say which columns hold them."
        )
    return ""


def _shown(
    times: IntArray, values: Map[str, FloatArray], zone: ZoneInfo, forecast: bool
) -> tuple[tuple[datetime | date, dict[str, float | None]], ...]:
    size = int(times.size)
    wanted = sorted({*range(min(SHOWN_ROWS, size)), *range(max(0, size - 2), size)})
    return tuple(
        (
            _when(int(times[row]), zone, forecast),
            {name: float(v[row]) if np.isfinite(v[row]) else None for name, v in values.items()},
        )
        for row in wanted
    )


def _when(value: int, zone: ZoneInfo, forecast: bool) -> datetime | date:
    if forecast:
        return datetime.fromtimestamp(value / 1000, UTC).astimezone(zone)
    return date.fromordinal(EPOCH.toordinal() + value)
