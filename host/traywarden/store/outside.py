"""Imported weather of the open air: forecasts as they were issued, and days of past years."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from sqlalchemy import Row, delete, func, insert, select

from traywarden.domain.outside import Forecast, WeatherDays
from traywarden.domain.series import FloatArray, IntArray
from traywarden.store import schema
from traywarden.store.store import Tx

FORECAST_VALUES = ("air_temp_c", "rh_pct", "rain_mm", "wind_m_s")
DAY_VALUES = ("air_min_c", "air_max_c", "rain_mm", "wind_m_s")
_forecast, _day = schema.forecast, schema.weather_day


def put_forecast(
    tx: Tx, source: str, issued_ms: int, time_ms: IntArray, values: Mapping[str, FloatArray]
) -> int:
    """Keep a forecast; one of the same source and issue is replaced. Returns how many hours it has."""
    tx.execute(delete(_forecast).where(_forecast.c.source == source, _forecast.c.issued_ms == issued_ms))
    rows = _rows("time_ms", time_ms, values, FORECAST_VALUES)
    if rows:
        tx.execute(insert(_forecast), [{"source": source, "issued_ms": issued_ms, **row} for row in rows])
    return len(rows)


def newest_forecast(tx: Tx, at_ms: int, source: str = "") -> Forecast | None:
    """The forecast issued last up to an instant; None where there is none."""
    asked = select(_forecast.c.source, _forecast.c.issued_ms).where(_forecast.c.issued_ms <= at_ms)
    if source:
        asked = asked.where(_forecast.c.source == source)
    newest = tx.execute(asked.order_by(_forecast.c.issued_ms.desc(), _forecast.c.source).limit(1)).first()
    if newest is None:
        return None
    hours = tx.execute(
        select(_forecast)
        .where(_forecast.c.source == newest.source, _forecast.c.issued_ms == newest.issued_ms)
        .order_by(_forecast.c.time_ms)
    ).all()
    return _as_forecast(newest.source, newest.issued_ms, hours)


def forecasts_issued(tx: Tx, start_ms: int, end_ms: int) -> list[Forecast]:
    """Every forecast issued from start_ms to before end_ms, oldest first."""
    rows = tx.execute(
        select(_forecast)
        .where(_forecast.c.issued_ms >= start_ms, _forecast.c.issued_ms < end_ms)
        .order_by(_forecast.c.issued_ms, _forecast.c.source, _forecast.c.time_ms)
    ).all()
    grouped: dict[tuple[int, str], list[Row[Any]]] = {}
    for row in rows:
        grouped.setdefault((row.issued_ms, row.source), []).append(row)
    return [_as_forecast(source, issued_ms, hours) for (issued_ms, source), hours in grouped.items()]


def put_days(tx: Tx, source: str, day: IntArray, values: Mapping[str, FloatArray]) -> int:
    """Keep days of past weather; a day of the same source is replaced. Returns how many were not known."""
    known = set(tx.scalars(select(_day.c.day).where(_day.c.source == source)))
    rows = _rows("day", day, values, DAY_VALUES)
    for start in range(0, len(rows), 500):
        these = [row["day"] for row in rows[start : start + 500]]
        tx.execute(delete(_day).where(_day.c.source == source, _day.c.day.in_(these)))
    if rows:
        tx.execute(insert(_day), [{"source": source, **row} for row in rows])
    return sum(row["day"] not in known for row in rows)


def weather_days(tx: Tx, source: str = "") -> list[WeatherDays]:
    """Days of past weather by source, or of one source."""
    asked = select(_day).order_by(_day.c.source, _day.c.day)
    rows = tx.execute(asked.where(_day.c.source == source) if source else asked).all()
    grouped: dict[str, list[Row[Any]]] = {}
    for row in rows:
        grouped.setdefault(row.source, []).append(row)
    return [
        WeatherDays(
            name,
            np.array([row.day for row in days], np.int64),
            **{column: _column(days, column) for column in DAY_VALUES},
        )
        for name, days in grouped.items()
    ]


def forget(tx: Tx, source: str) -> tuple[int, int]:
    """Forget a source: how many forecast hours and how many days were taken out."""
    hours = tx.scalar(select(func.count()).select_from(_forecast).where(_forecast.c.source == source)) or 0
    days = tx.scalar(select(func.count()).select_from(_day).where(_day.c.source == source)) or 0
    tx.execute(delete(_forecast).where(_forecast.c.source == source))
    tx.execute(delete(_day).where(_day.c.source == source))
    return hours, days


def sources(tx: Tx) -> list[str]:
    """Every source there is anything of."""
    found = set(tx.scalars(select(_forecast.c.source).distinct()))
    return sorted(found | set(tx.scalars(select(_day.c.source).distinct())))


def _rows(
    key: str, keys: IntArray, values: Mapping[str, FloatArray], columns: Sequence[str]
) -> list[dict[str, Any]]:
    """Rows with at least one value; NaN as nothing."""
    lists = {name: values[name].tolist() for name in columns if name in values}
    rows = []
    for position, at in enumerate(keys.tolist()):
        row = {name: _known(lists[name][position]) if name in lists else None for name in columns}
        if any(value is not None for value in row.values()):
            rows.append({key: at, **row})
    return rows


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _column(rows: Sequence[Row[Any]], name: str) -> FloatArray:
    return np.array([math.nan if (v := getattr(row, name)) is None else v for row in rows], np.float64)


def _as_forecast(source: str, issued_ms: int, hours: Sequence[Row[Any]]) -> Forecast:
    return Forecast(
        source,
        issued_ms / 1000,
        np.array([row.time_ms / 1000 for row in hours], np.float64),
        **{column: _column(hours, column) for column in FORECAST_VALUES},
    )
