"""Forecasts and past weather into the store, and what came of it."""

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.outside import EPOCH
from traywarden.errors import ImportFileError
from traywarden.services.findings import Finding, Findings
from traywarden.services.outside_files import by_day, by_hour, read_outside
from traywarden.services.outside_mapping import OutsideMapping
from traywarden.store import outside as outside_store
from traywarden.store.store import Store


@dataclass(frozen=True, slots=True)
class ForecastImported:
    """What was read in. `hours_ahead` are those that lay ahead when it was issued."""

    file: str
    source: str
    issued_ms: int
    rows: int
    hours: int
    hours_ahead: int
    first_ms: int
    end_ms: int
    quantities: tuple[str, ...]
    counts: dict[str, int]
    listed: list[Finding] = field(default_factory=list)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WeatherImported:
    """What was read in. `made_of` is “days” or “hours”, as the file had them; `days_whole`: days of which
    both the lowest and the highest temperature are known, which count as past weather."""

    file: str
    source: str
    rows: int
    days: int
    days_new: int
    days_whole: int
    first: date
    last: date
    made_of: str
    quantities: tuple[str, ...]
    counts: dict[str, int]
    listed: list[Finding] = field(default_factory=list)
    notes: tuple[str, ...] = ()

    @property
    def counted_words(self) -> str:
        """How many of the days count, where not all do."""
        if self.days_whole == self.days:
            return ""
        return f" {self.days_whole:,} have both their lowest and highest temperature, and count."


def import_forecast(
    store: Store,
    path: Path,
    mapping: OutsideMapping,
    source: str,
    issued_ms: int,
    *,
    findings: Findings | None = None,
) -> ForecastImported:
    """Read a forecast into the store. The same source and issue again replaces what was kept of it.

    Raises ImportFileError (the file, or no temperature by the hour in it), UsageError (the mapping).
    """
    findings = Findings() if findings is None else findings
    rows = read_outside(path, mapping, findings)
    if "air_temp_c" not in rows.values:
        raise ImportFileError(f"{path}: a forecast needs the air's temperature; map a column to air_temp_c.")
    if rows.daily:
        raise ImportFileError(
            f"{path} has a row a day; a forecast is taken by the hour. Days of past weather: "
            f"traywarden weather import {path.name}"
        )
    time_ms, values = by_hour(rows)
    with store.write() as tx:
        hours = outside_store.put_forecast(tx, source, issued_ms, time_ms, values)
    return ForecastImported(
        str(path),
        source,
        issued_ms,
        rows.rows,
        hours,
        int((time_ms >= issued_ms).sum()),
        int(time_ms[0]),
        int(time_ms[-1]) + 3_600_000,
        tuple(values),
        findings.counts,
        findings.listed,
        mapping.notes,
    )


def import_weather(
    store: Store,
    path: Path,
    mapping: OutsideMapping,
    source: str,
    zone: ZoneInfo,
    *,
    findings: Findings | None = None,
) -> WeatherImported:
    """Read past weather into the store, by the day. A day of the same source again replaces the old one.

    Raises ImportFileError (the file, or nothing of a day's lowest and highest in it), UsageError.
    """
    findings = Findings() if findings is None else findings
    rows = read_outside(path, mapping, findings)
    day, values = by_day(rows, zone)
    known = [np.isfinite(values.get(name, np.empty(0))) for name in ("air_min_c", "air_max_c")]
    if not all(each.any() for each in known):
        raise ImportFileError(
            f"{path}: past weather needs each day's lowest and highest air temperature (air_min_c and "
            "air_max_c), or its hours (air_temp_c); map them."
        )
    with store.write() as tx:
        new = outside_store.put_days(tx, source, day, values)
    return WeatherImported(
        str(path),
        source,
        rows.rows,
        int(day.size),
        new,
        int((known[0] & known[1]).sum()),
        date.fromordinal(EPOCH.toordinal() + int(day[0])),
        date.fromordinal(EPOCH.toordinal() + int(day[-1])),
        "days" if rows.daily else "hours",
        tuple(values),
        findings.counts,
        findings.listed,
        mapping.notes,
    )
