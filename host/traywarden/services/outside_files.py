"""Forecast and weather files as arrays: through a mapping, with every fault counted, hours or days."""

from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from traywarden.domain.series import FloatArray, IntArray
from traywarden.errors import ImportFileError, UsageError
from traywarden.links.sheets import open_sheet
from traywarden.services.cells import CellReader
from traywarden.services.feeds import CHUNK_ROWS, position_of, stamp_texts
from traywarden.services.findings import Findings, Kind
from traywarden.services.outside_mapping import QUANTITIES, OutsideMapping
from traywarden.services.stamps import NO_TIME, Fate, WallClock, offset_s_from, read_stamps
from traywarden.store.outside import DAY_VALUES, FORECAST_VALUES

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
_DAILY_FROM_MS = 20 * HOUR_MS
_SUMMED = ("rain_mm",)
_LEAST_HOURS = 20
"""Hours of a day that must be known for its lowest and highest to count, where a file is hourly."""


@dataclass(frozen=True, slots=True, eq=False)
class OutsideRows:
    """What a file holds, row by row; `wall_ms` is what the file's clock showed, `time_ms` the instant."""

    rows: int
    wall_ms: IntArray
    time_ms: IntArray
    values: dict[str, FloatArray]

    @property
    def daily(self) -> bool:
        """Whether rows are days: usual step of most of a day or more."""
        steps = np.diff(np.unique(self.wall_ms))
        return bool(steps.size and np.median(steps) >= _DAILY_FROM_MS)


def read_outside(path: Path, mapping: OutsideMapping, findings: Findings) -> OutsideRows:
    """Read a forecast or weather file; `findings` fills with what could not be taken.

    Raises ImportFileError (the file, or nothing in it), UsageError (the mapping does not fit it).
    """
    time = mapping.time
    clock = WallClock(ZoneInfo(time.zone), time.newest_first) if time.zone else None
    offset_ms = (offset_s_from(time.offset) or 0) * 1000 if time.offset else None
    cells = CellReader(mapping.shape.decimal, mapping.shape.thousands, mapping.missing)
    walls, instants, rows = [], [], 0
    columns: dict[str, list[FloatArray]] = {column.quantity: [] for column in mapping.columns}
    with open_sheet(path, mapping.shape) as sheet:
        places = [position_of(sheet, name) for name in time.columns]
        positions = [position_of(sheet, column.name) for column in mapping.columns]
        for chunk in sheet.chunks(CHUNK_ROWS):
            rows += len(chunk.lines) + len(chunk.uneven)
            findings.add(
                Kind.UNEVEN_ROW,
                [line for line, _ in chunk.uneven],
                [f"{count} cells where the header has {len(sheet.header)}" for _, count in chunk.uneven],
            )
            texts = stamp_texts(chunk, places)
            wall_ms, aware = read_stamps(texts, time.format)
            fates = np.where(wall_ms == NO_TIME, Fate.UNREADABLE, Fate.READ).astype(np.int8)
            time_ms = wall_ms.copy()
            local = (wall_ms != NO_TIME) & ~aware
            if local.any() and clock is not None:
                time_ms[local], fates[local] = clock.instants(wall_ms[local])
            elif local.any() and offset_ms is not None:
                time_ms[local] -= offset_ms
            elif local.any():
                raise UsageError(
                    f"The stamp “{texts[int(np.flatnonzero(local)[0])]}” has no offset; set time.offset, "
                    'such as "-06:00", or time.zone, such as "Europe/Lisbon", in the mapping.'
                )
            for fate, kind in ((Fate.UNREADABLE, Kind.UNREADABLE_TIME), (Fate.HOLE, Kind.HOLE)):
                met = np.flatnonzero(fates == fate).tolist()
                findings.add(kind, [chunk.lines[row] for row in met], [texts[row] for row in met])
            kept = time_ms != NO_TIME
            walls.append(wall_ms[kept])
            instants.append(time_ms[kept] + round(time.shift_s * 1000))
            for column, position in zip(mapping.columns, positions, strict=True):
                raw, unreadable = cells.read(chunk.columns[position])
                scale, limits = column.scale, QUANTITIES[column.quantity]
                values = np.round(raw * scale.factor + scale.offset, 10)
                outside = np.flatnonzero((values < limits.lowest) | (values > limits.highest)).tolist()
                for kind, met in ((Kind.UNREADABLE_CELL, unreadable), (Kind.OUT_OF_LIMITS, outside)):
                    lines = [chunk.lines[row] for row in met]
                    findings.add(kind, lines, [chunk.columns[position][row] for row in met], column.name)
                values[outside] = np.nan
                columns[column.quantity].append(values[kept])
    found = {quantity: np.concatenate(parts) for quantity, parts in columns.items() if parts}
    if not instants or not any(np.isfinite(values).any() for values in found.values()):
        raise ImportFileError(f"{path} holds no row with a time and a value; check the mapping.")
    return OutsideRows(rows, np.concatenate(walls), np.concatenate(instants), found)


def by_hour(rows: OutsideRows) -> tuple[IntArray, dict[str, FloatArray]]:
    """Starts of hours [ms], ascending, and for each the mean of its rows; rain is summed."""
    table = pd.DataFrame({name: rows.values[name] for name in FORECAST_VALUES if name in rows.values})
    grouped = table.groupby(rows.time_ms // HOUR_MS)
    found = {}
    for name in table.columns.astype(str):
        hours = grouped[name].sum(min_count=1) if name in _SUMMED else grouped[name].mean()
        found[name] = hours.to_numpy(np.float64)
    return np.asarray(grouped.size().index, np.int64) * HOUR_MS, found


def by_day(rows: OutsideRows, zone: ZoneInfo) -> tuple[IntArray, dict[str, FloatArray]]:
    """Calendar days since 1970-01-01 and their lowest, highest, rain and wind.

    Rows that are days count by the date they bear; hours by the garden's own day, and a day with fewer than
    20 hours has no lowest and highest.
    """
    if rows.daily:
        days = rows.wall_ms // DAY_MS
        table = pd.DataFrame({name: rows.values[name] for name in DAY_VALUES if name in rows.values})
        if table.empty:
            return np.unique(days), {}
        grouped = table.groupby(days)
        return np.asarray(grouped.size().index, np.int64), {
            name: grouped[name].first().to_numpy(np.float64) for name in table.columns.astype(str)
        }
    hours, values = by_hour(rows)
    local = pd.to_datetime(hours, unit="ms", utc=True).tz_convert(zone).tz_localize(None)
    days = np.asarray(local.to_numpy("datetime64[D]").astype(np.int64))
    grouped_hours = pd.DataFrame(values).groupby(days)
    found: dict[str, FloatArray] = {}
    if "air_temp_c" in values:
        air = grouped_hours["air_temp_c"]
        enough = (air.count() >= _LEAST_HOURS).to_numpy()
        found["air_min_c"] = np.where(enough, air.min().to_numpy(np.float64), np.nan)
        found["air_max_c"] = np.where(enough, air.max().to_numpy(np.float64), np.nan)
    if "rain_mm" in values:
        found["rain_mm"] = grouped_hours["rain_mm"].sum(min_count=1).to_numpy(np.float64)
    if "wind_m_s" in values:
        found["wind_m_s"] = grouped_hours["wind_m_s"].mean().to_numpy(np.float64)
    return np.asarray(grouped_hours.size().index, np.int64), found
