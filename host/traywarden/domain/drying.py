"""A dry-down by the hour, on a clock that runs with the evaporative demand."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

DAY_H = 24
USUAL_DEMAND_MM = 0.15
"""Demand of a usual hour: 3.6 mm a day, a mild day of the growing season (no source)."""
DAYS_BACK = 3
"""The next day is taken to run like the mean of so many days before it (no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Drying:
    """One dry-down by whole hours, without a gap; NaN where moisture or temperature were not measured.

    `hour_s` is the start of each hour [s since 1970]. `demand` is the evaporative demand in it, as a part of
    a usual hour's; `demand_ahead` (n, 24) is what was then expected of the 24 hours after it.
    """

    hour_s: Floats
    moisture_m3_m3: Floats
    soil_temp_c: Floats
    demand: Floats
    demand_ahead: Floats

    @property
    def hours(self) -> int:
        return int(self.hour_s.size)

    @property
    def demand_h(self) -> Floats:
        """Usual hours of demand from the start of the first hour to the middle of each."""
        return np.asarray(np.cumsum(self.demand) - self.demand / 2)

    def pace(self, share: float) -> Floats:
        """How far a clock moves in each hour that runs with the demand for this share, else with time."""
        return 1 - share + share * self.demand

    def pace_ahead(self, share: float) -> Floats:
        """What the same clock is expected to do in the 24 hours after each."""
        return 1 - share + share * self.demand_ahead


def relative_demand(demand_mm: ArrayLike) -> Floats:
    """Demand of each hour as a part of a usual hour's, without gaps.

    Parameters
    ----------
    demand_mm : array, shape (n,) [mm in the hour], hour after hour; NaN where unknown

    Returns
    -------
    array, shape (n,)

    Notes
    -----
    demand / 0.15 mm. An unknown hour is like the same hour of the day before, or a usual hour where that is
    not known either; later hours are never looked at.

    References
    ----------
    The demand is that of `reference_demand_mm`.

    Examples
    --------
    >>> relative_demand([0.0, 0.15, 0.45, np.nan]).tolist()
    [0.0, 1.0, 3.0, 1.0]
    """
    demand = np.array(demand_mm, dtype=np.float64)
    for start in range(DAY_H, demand.size, DAY_H):
        today = demand[start : start + DAY_H]
        gap = np.isnan(today)
        today[gap] = demand[start - DAY_H : start][: today.size][gap]
    return np.where(np.isnan(demand), 1.0, demand / USUAL_DEMAND_MM)


def expected_demand(demand: ArrayLike) -> Floats:
    """What the next 24 hours are expected to bring, as known at the end of each hour.

    Parameters
    ----------
    demand : array, shape (n,), demand of each hour in any unit

    Returns
    -------
    array, shape (n, 24), in the same unit

    Notes
    -----
    The mean of the same hour on up to three days before; 1 where there is none.

    References
    ----------
    None: persistence of the last days’ shape.

    Examples
    --------
    >>> expected_demand(np.arange(48.0))[47, :3].tolist()  # the means of 0 and 24, 1 and 25, 2 and 26
    [12.0, 13.0, 14.0]
    """
    known = np.asarray(demand, dtype=np.float64)
    total, count = np.zeros((known.size, DAY_H)), np.zeros((known.size, DAY_H))
    coming = np.arange(known.size)[:, None] + 1 + np.arange(DAY_H)[None, :]
    for day in range(1, DAYS_BACK + 1):
        at = coming - day * DAY_H
        total += np.where(at >= 0, known[np.maximum(at, 0)], 0.0)
        count += at >= 0
    return np.where(count > 0, total / np.maximum(count, 1), 1.0)


def hours_until(need_h: ArrayLike, pace_ahead: ArrayLike, forecast_pace: ArrayLike = ()) -> Floats:
    """When the clock will have moved on by so much.

    Parameters
    ----------
    need_h : array, shape (k,) [usual hours]
    pace_ahead : array, shape (k, 24) or (24,) [usual hours in an hour], the next 24 hours, then over again
    forecast_pace : array, shape (m,) [usual hours in an hour], optional: what a forecast says of the next m
        hours, NaN where it is silent; it takes the place of the expected ones

    Returns
    -------
    array, shape (k,) [h]

    Notes
    -----
    After the forecast’s last hour the days run as expected without it.

    References
    ----------
    None: inversion of a running sum.

    Examples
    --------
    >>> hours_until([12.0, 60.0], np.full(24, 2.0)).tolist()
    [6.0, 30.0]
    >>> hours_until([12.0], np.full(24, 2.0), [1.0] * 6).tolist()
    [9.0]
    """
    need = np.asarray(need_h, dtype=np.float64)
    day = np.broadcast_to(np.asarray(pace_ahead, dtype=np.float64), (need.size, DAY_H))
    told = np.asarray(forecast_pace, dtype=np.float64)
    if told.size == 0:
        return _through_days(need, day)
    hours = np.arange(told.size)
    first = np.where(np.isnan(told)[None, :], day[:, hours % DAY_H], told[None, :])
    covered = np.concatenate((np.zeros((need.size, 1)), np.cumsum(first, axis=1)), axis=1)
    within = np.array([np.interp(n, c, np.arange(c.size)) for n, c in zip(need, covered, strict=True)])
    after = np.roll(day, -(told.size % DAY_H), axis=1)
    beyond = told.size + _through_days(np.maximum(need - covered[:, -1], 0.0), after)
    return np.where(need <= covered[:, -1], within, beyond)


def _through_days(need: Floats, day: Floats) -> Floats:
    """Hours until a sum over days that are all alike reaches the need."""
    whole = np.floor(need / day.sum(axis=1))
    rest = need - whole * day.sum(axis=1)
    ends = np.cumsum(day, axis=1)
    hour = np.minimum((ends <= rest[:, None]).sum(axis=1), DAY_H - 1)
    row = np.arange(need.size)
    before = ends[row, hour] - day[row, hour]
    return np.asarray(whole * DAY_H + hour + (rest - before) / np.maximum(day[row, hour], 1e-9))


def filled(values: Floats) -> Floats:
    """Gaps bridged in a straight line; zeros where nothing is known."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros_like(values)
    at = np.arange(values.size)
    return np.interp(at, at[known], values[known])


def carried(values: Floats) -> Floats:
    """Gaps filled with the last known value, so that nothing of a later hour shows; zeros without any."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros_like(values)
    last = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    return np.where(last >= 0, values[last], values[np.argmax(known)])


def smoothed(values: Floats, width: int) -> Floats:
    """The mean of `width` hours about each hour that has them; of an even width the ends count half."""
    kernel = np.ones(width + 1 - width % 2)
    if width % 2 == 0:
        kernel[[0, -1]] = 0.5
    if values.size < kernel.size:
        return np.empty(0)
    return np.convolve(values, kernel / kernel.sum(), "valid")
