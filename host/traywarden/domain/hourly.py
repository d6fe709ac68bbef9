"""One head by the hour: what long spans are computed from, thousands of values a season."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import FloatArray, HeadSeries, IntArray, absent_values, is_absent

HOUR_S = 3600


@dataclass(frozen=True, slots=True, eq=False)
class Hourly:
    """Whole hours (UTC) of one head, or of several together; every array has one value for each hour.

    `hour_s` is the start of each hour [s since 1970], without a gap from the first to the last. Values are
    means over the readings that computation may use, NaN in an hour without one; `_min_c` and `_max_c` are
    the extremes among them; `rain_mm` is the sum; `moisture_m3_m3` is calibrated.
    """

    label: str
    hour_s: FloatArray
    soil_temp_c: FloatArray
    soil_min_c: FloatArray
    soil_max_c: FloatArray
    air_temp_c: FloatArray
    air_min_c: FloatArray
    air_max_c: FloatArray
    rh_pct: FloatArray
    vpd_kpa: FloatArray
    moisture_m3_m3: FloatArray
    rain_mm: FloatArray


_MEANS = ("soil_temp_c", "air_temp_c", "rh_pct", "moisture_m3_m3")
_VALUES = tuple(Hourly.__dataclass_fields__)[2:]


def hourly(series: HeadSeries) -> Hourly:
    """A head's readings by the hour.

    Parameters
    ----------
    series : HeadSeries, times [s] ascending

    Returns
    -------
    Hourly, from the hour of the first reading to that of the last; empty without readings

    Notes
    -----
    Left-out readings count for nothing. `vpd_kpa` is the mean of each reading's own deficit, not the deficit
    of the means. An hour with a single reading is as good as one with six: a coverage policy is for whoever
    sums hours up.

    Examples
    --------
    >>> from traywarden.domain.series import SERIES_COLUMNS
    >>> blank, times = np.full(3, np.nan), np.array([0.0, 600.0, 7300.0])
    >>> flags = {name: np.zeros(3, np.int64) for name in SERIES_COLUMNS}
    >>> soil = np.array([10.0, 12.0, 9.0])
    >>> head = HeadSeries("bench/1", times, soil, blank, True, blank, blank, blank, blank, flags)
    >>> hourly(head).soil_temp_c
    array([11., nan,  9.])
    """
    hours = (series.time_s // HOUR_S).astype(np.int64)
    if not hours.size:
        return Hourly(series.label, *(np.empty(0) for _ in range(len(_VALUES) + 1)))
    first, count = int(hours[0]), int(hours[-1] - hours[0]) + 1
    at = hours - first
    clean = {name: series.clean(name) for name in (*_MEANS, "rain_mm")}
    found = {name: _mean(at, clean[name], count) for name in _MEANS}
    dry = is_absent(clean["air_temp_c"]) or is_absent(clean["rh_pct"])
    deficit = absent_values(at.size) if dry else vpd_kpa(clean["air_temp_c"], clean["rh_pct"])
    found["vpd_kpa"] = _mean(at, deficit, count)
    for what in ("soil", "air"):
        found[f"{what}_min_c"] = _extreme(at, clean[f"{what}_temp_c"], count, np.fmin)
        found[f"{what}_max_c"] = _extreme(at, clean[f"{what}_temp_c"], count, np.fmax)
    found["rain_mm"] = _sum(at, clean["rain_mm"], count)
    hour_s = (first + np.arange(count, dtype=np.float64)) * HOUR_S
    return Hourly(series.label, hour_s, **{name: found[name] for name in _VALUES})


def hourly_together(heads: Sequence[Hourly], label: str = "") -> Hourly:
    """Several heads of one tray or place as one: hour by hour the mean of those that know.

    Extremes are the lowest minimum and the highest maximum. Rain is that of the head with the most hours of
    it: two gauges do not make twice the rain.
    """
    heads = [head for head in heads if head.hour_s.size]
    if not heads:
        return Hourly(label, *(np.empty(0) for _ in range(len(_VALUES) + 1)))
    first = min(head.hour_s[0] for head in heads)
    count = round((max(head.hour_s[-1] for head in heads) - first) / HOUR_S) + 1
    stacked = {name: np.full((len(heads), count), np.nan) for name in _VALUES}
    for row, head in enumerate(heads):
        start = round((head.hour_s[0] - first) / HOUR_S)
        for name in _VALUES:
            stacked[name][row, start : start + head.hour_s.size] = getattr(head, name)
    found = {name: _row_means(values) for name, values in stacked.items()}
    for what in ("soil", "air"):
        found[f"{what}_min_c"] = np.fmin.reduce(stacked[f"{what}_min_c"])
        found[f"{what}_max_c"] = np.fmax.reduce(stacked[f"{what}_max_c"])
    gauge = int((~np.isnan(stacked["rain_mm"])).sum(axis=1).argmax())
    found["rain_mm"] = stacked["rain_mm"][gauge]
    hour_s = first + np.arange(count, dtype=np.float64) * HOUR_S
    return Hourly(label or heads[0].label, hour_s, **found)


def _mean(at: IntArray, values: FloatArray, count: int) -> FloatArray:
    if is_absent(values):
        return np.full(count, np.nan)
    known = ~np.isnan(values)
    number = np.bincount(at[known], minlength=count)
    total = np.bincount(at[known], values[known], count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _sum(at: IntArray, values: FloatArray, count: int) -> FloatArray:
    if is_absent(values):
        return np.full(count, np.nan)
    known = ~np.isnan(values)
    total = np.bincount(at[known], values[known], count)
    return np.where(np.bincount(at[known], minlength=count) > 0, total, np.nan)


def _extreme(at: IntArray, values: FloatArray, count: int, which: np.ufunc) -> FloatArray:
    found = np.full(count, np.nan)
    if not is_absent(values):
        firsts = np.flatnonzero(np.diff(at, prepend=-1))
        found[at[firsts]] = which.reduceat(values, firsts)
    return found


def _row_means(values: FloatArray) -> FloatArray:
    known = ~np.isnan(values)
    number = known.sum(axis=0)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)
