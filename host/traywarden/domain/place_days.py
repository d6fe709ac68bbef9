"""What each garden day was like in a place: its low, its high, when it warmed, hours in a crop's range."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from traywarden.domain.days import local_day_bounds
from traywarden.domain.hourly import HOUR_S, Hourly
from traywarden.domain.series import FloatArray

LEAST_SWING_C = 3.0
"""A day that swings less has no morning to speak of: half of it is within the sensor's error (no source)."""
LONGEST_STEP_H = 2.0
"""Hours farther apart are not joined when the half-way time is read off."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class PlaceHours:
    """The air or the soil of one place by whole hours (UTC), NaN in an hour without a reading."""

    name: str
    hour_s: FloatArray
    temp_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    vpd_kpa: FloatArray

    @classmethod
    def of(cls, name: str, hours: Hourly, measured: str) -> "PlaceHours":
        """`measured` “air” or “soil”; the vapour-pressure deficit is that of the air in either case."""
        temp_c, min_c, max_c = (getattr(hours, f"{measured}_{what}_c") for what in ("temp", "min", "max"))
        return cls(name, hours.hour_s, temp_c, min_c, max_c, hours.vpd_kpa)


@dataclass(frozen=True, slots=True, eq=False)
class PlaceDays:
    """One place by garden days; every array has one value for each of `days`, NaN where it is not known.

    `half_warm_h` and `hottest_h` are clock times [h of the day]; `inside_h` has one array for each span
    asked for: hours of the day inside it.
    """

    name: str
    days: tuple[date, ...]
    coverage: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    mean_c: FloatArray
    half_warm_h: FloatArray
    hottest_h: FloatArray
    vpd_kpa: FloatArray
    inside_h: Mapping[str, FloatArray]

    @property
    def range_c(self) -> FloatArray:
        """The day's high less its low [°C]."""
        return self.high_c - self.low_c

    def of_month(self, month: int) -> "PlaceDays":
        """Only the days of one month of the year, of whatever years."""
        kept = np.array([day.month == month for day in self.days], np.bool_)
        return self.where(kept)

    def where(self, kept: np.ndarray) -> "PlaceDays":
        """Only the days marked."""
        return PlaceDays(
            self.name,
            tuple(day for day, keep in zip(self.days, kept.tolist(), strict=True) if keep),
            self.coverage[kept],
            self.low_c[kept],
            self.high_c[kept],
            self.mean_c[kept],
            self.half_warm_h[kept],
            self.hottest_h[kept],
            self.vpd_kpa[kept],
            {key: hours[kept] for key, hours in self.inside_h.items()},
        )


def place_days(
    hours: PlaceHours,
    zone: ZoneInfo,
    first_day: date,
    last_day: date,
    *,
    spans_c: Mapping[str, Span] | None = None,
    least_coverage: float = 0.8,
) -> PlaceDays:
    """The days of a place, from its hours.

    Parameters
    ----------
    hours : PlaceHours
    zone : ZoneInfo of the garden
    first_day, last_day : date, both included
    spans_c : for each name the lowest and highest temperature [°C] that count as inside
    least_coverage : float, 0 … 1; a day of which fewer hours are known is blank

    Returns
    -------
    PlaceDays, one entry for every day asked for

    Notes
    -----
    An hour belongs to the day its middle falls in. Low and high are the extremes among readings. The
    half-way time is when the hourly mean, on its way from the lowest hour before the day's warmest hour up
    to that hour, first passes the middle of the two, by a straight line between the middles of hours; blank
    on a day whose hours rise by less than 3 °C. The hottest hour is the clock time of the middle of the hour
    with the highest mean, on days that have a half-way time. An hour lies inside a span by the part of the
    way from its lowest to its highest reading that does; hours are scaled up to the whole day where some are
    missing.

    References
    ----------
    Definitions of this project; the coverage policy follows xclim's treatment of missing data.

    Examples
    --------
    >>> hour_s = np.arange(0, 48 * 3600, 3600.0)
    >>> temp_c = 10 - 5 * np.cos((hour_s + 1800 - 3 * 3600) / 86400 * 2 * np.pi)
    >>> bench = PlaceHours("bench", hour_s, temp_c, temp_c, temp_c, np.full(48, np.nan))
    >>> first, last = date(1970, 1, 1), date(1970, 1, 2)
    >>> found = place_days(bench, ZoneInfo("UTC"), first, last, spans_c={"x": (10, 99)})
    >>> found.half_warm_h.round(1).tolist(), found.inside_h["x"].tolist()
    ([9.0, 9.0], [12.0, 12.0])
    """
    bounds = local_day_bounds(first_day, last_day, zone)
    days = tuple(day for day, _, _ in bounds)
    grid = _Grid(hours, bounds, zone)
    lengths_h = np.array([(end - start) / 3_600_000 for _, start, end in bounds], np.float64)
    temps = grid.of(hours.temp_c)
    known = np.isfinite(temps).sum(axis=1)
    covered = np.divide(known, lengths_h, out=np.zeros(len(days)), where=lengths_h > 0)
    whole = covered >= least_coverage - 1e-9

    def of_whole(values: FloatArray) -> FloatArray:
        return np.where(whole, values, np.nan)

    half_warm_h, hottest_h = grid.mornings(temps)
    lows, highs = grid.of(hours.min_c), grid.of(hours.max_c)
    inside_h = {
        key: of_whole(np.nansum(_part_inside(temps, lows, highs, span), axis=1) / np.maximum(known, 1))
        * lengths_h
        for key, span in (spans_c or {}).items()
    }
    return PlaceDays(
        hours.name,
        days,
        np.minimum(covered, 1.0),
        of_whole(_rows(np.fmin, lows)),
        of_whole(_rows(np.fmax, highs)),
        of_whole(_row_means(temps)),
        of_whole(half_warm_h),
        of_whole(hottest_h),
        of_whole(_row_means(grid.of(hours.vpd_kpa))),
        inside_h,
    )


def joined(parts: Sequence[PlaceDays]) -> PlaceDays:
    """Spans of one place, one after the other.

    Parameters
    ----------
    parts : at least one; the same place and the same names in `inside_h`, oldest first

    Returns
    -------
    PlaceDays

    Examples
    --------
    >>> day = PlaceDays("a", (date(1970, 1, 1),), *[np.zeros(1)] * 7, {"x": np.ones(1)})
    >>> joined([day, day]).inside_h["x"].tolist()
    [1.0, 1.0]
    """
    first = parts[0]
    return PlaceDays(
        first.name,
        tuple(day for part in parts for day in part.days),
        np.concatenate([part.coverage for part in parts]),
        np.concatenate([part.low_c for part in parts]),
        np.concatenate([part.high_c for part in parts]),
        np.concatenate([part.mean_c for part in parts]),
        np.concatenate([part.half_warm_h for part in parts]),
        np.concatenate([part.hottest_h for part in parts]),
        np.concatenate([part.vpd_kpa for part in parts]),
        {key: np.concatenate([part.inside_h[key] for part in parts]) for key in first.inside_h},
    )


def same_days(places: Sequence[PlaceDays]) -> np.ndarray:
    """Which days every one of the places covers.

    Parameters
    ----------
    places : at least one; all over the same days

    Returns
    -------
    bool array, one value for each day

    Examples
    --------
    >>> blank = np.array([np.nan, 1.0])
    >>> day = PlaceDays("a", (date(1970, 1, 1), date(1970, 1, 2)), *[blank] * 7, {})
    >>> same_days([day, day]).tolist()
    [False, True]
    """
    return np.asarray(np.all([np.isfinite(place.mean_c) for place in places], axis=0))


def day_curve(hours: PlaceHours, zone: ZoneInfo, days: Sequence[date]) -> FloatArray:
    """The mean temperature of each clock hour over the days named.

    Parameters
    ----------
    hours : PlaceHours
    zone : ZoneInfo of the garden
    days : dates that count

    Returns
    -------
    array, shape (24,) [°C]; NaN for an hour that was never measured

    Examples
    --------
    >>> hour_s = np.arange(0, 24 * 3600, 3600.0)
    >>> bench = PlaceHours("bench", hour_s, *[np.arange(24.0)] * 4)
    >>> day_curve(bench, ZoneInfo("UTC"), [date(1970, 1, 1)])[:3].tolist()
    [0.0, 1.0, 2.0]
    """
    local, clock_h = _local(hours.hour_s, zone)
    wanted = np.isin(local, np.array([day.toordinal() for day in days], np.int64)) & np.isfinite(hours.temp_c)
    at = np.floor(clock_h[wanted]).astype(np.int64)
    count = np.bincount(at, minlength=24)
    return np.where(
        count > 0, np.bincount(at, hours.temp_c[wanted], minlength=24) / np.maximum(count, 1), np.nan
    )


def _local(hour_s: FloatArray, zone: ZoneInfo) -> tuple[np.ndarray, FloatArray]:
    """Date (as an ordinal) and clock time [h] of the middle of each hour."""
    middle = pd.to_datetime(hour_s + HOUR_S / 2, unit="s", utc=True).tz_convert(zone).tz_localize(None)
    since_d = np.asarray((middle - pd.Timestamp(0)).total_seconds(), np.float64) / 86_400
    day = np.floor(since_d)
    return day.astype(np.int64) + date(1970, 1, 1).toordinal(), (since_d - day) * 24


class _Grid:
    """Hours laid out as days × hours of the day."""

    WIDTH = 26

    def __init__(self, hours: PlaceHours, bounds: Sequence[tuple[date, int, int]], zone: ZoneInfo) -> None:
        ordinals = np.array([day.toordinal() for day, _, _ in bounds], np.int64)
        starts_s = np.array([start for _, start, _ in bounds], np.float64) / 1000
        local, clock_h = _local(hours.hour_s, zone)
        row = np.searchsorted(ordinals, local)
        found = np.minimum(row, max(ordinals.size - 1, 0))
        self._kept = (
            (row < ordinals.size) & (ordinals[found] == local)
            if ordinals.size
            else np.zeros(local.size, np.bool_)
        )
        self._row = found[self._kept]
        since_h = (hours.hour_s[self._kept] + HOUR_S / 2 - starts_s[self._row]) / HOUR_S
        self._column = np.clip(np.floor(since_h), 0, self.WIDTH - 1).astype(np.int64)
        self._shape = (ordinals.size, self.WIDTH)
        self._clock_h = self.of(clock_h)

    def of(self, values: FloatArray) -> FloatArray:
        laid = np.full(self._shape, np.nan)
        laid[self._row, self._column] = values[self._kept]
        return laid

    def mornings(self, temps_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Half-way time and hottest hour [h of the clock] of each day."""
        half, hottest = np.full(temps_c.shape[0], np.nan), np.full(temps_c.shape[0], np.nan)
        for n, row in enumerate(temps_c):
            known = np.flatnonzero(np.isfinite(row))
            if known.size:
                top = int(np.argmax(row[known]))
                half[n] = _half_way(self._clock_h[n, known[: top + 1]], row[known[: top + 1]])
                hottest[n] = self._clock_h[n, known[top]] if np.isfinite(half[n]) else np.nan
        return half, hottest


def _half_way(clock_h: FloatArray, temps_c: FloatArray) -> float:
    """When the rise to the last value passes the middle between it and the lowest before it."""
    bottom = int(np.argmin(temps_c))
    middle_c = (temps_c[bottom] + temps_c[-1]) / 2
    if temps_c[-1] - temps_c[bottom] < LEAST_SWING_C:
        return float("nan")
    after = bottom + int(np.argmax(temps_c[bottom:] >= middle_c))
    step_h = clock_h[after] - clock_h[after - 1]
    if not 0 < step_h <= LONGEST_STEP_H:
        return float("nan")
    part = (middle_c - temps_c[after - 1]) / (temps_c[after] - temps_c[after - 1])
    return float(clock_h[after - 1] + part * step_h)


def _part_inside(temps: FloatArray, lows: FloatArray, highs: FloatArray, span: Span) -> FloatArray:
    """The part of each hour inside the span, as if it went evenly from its lowest to its highest reading."""
    low, high = span
    width = highs - lows
    with np.errstate(invalid="ignore"):
        shared = (np.minimum(highs, high) - np.maximum(lows, low)) / np.where(width > 0.05, width, np.nan)
        flat = np.where(np.isfinite(temps), (temps >= low) & (temps <= high), np.nan)
    return np.where(np.isfinite(shared), np.clip(shared, 0.0, 1.0), flat)


def _rows(which: np.ufunc, values: FloatArray) -> FloatArray:
    if not values.size:
        return np.empty(values.shape[0])
    return np.asarray(which.reduce(values, axis=1), np.float64)


def _row_means(values: FloatArray) -> FloatArray:
    known = np.isfinite(values)
    number = known.sum(axis=1)
    return np.where(number > 0, np.where(known, values, 0.0).sum(axis=1) / np.maximum(number, 1), np.nan)
