"""What earlier dry-downs of a tray or mix took from one moisture to another, on the clock of the demand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.drying import DAY_H, Drying, filled, smoothed

Floats = NDArray[np.float64]

STEP_M3_M3 = 0.01
"""The coarsest step in which a sensor in use reads: levels are told apart no finer."""
LEVELS_M3_M3: Floats = np.linspace(0.0, 1.0, 101)
LEAST_H = 0.5
"""No step counts as faster than this many usual hours: a passage is known to the hour, no better."""


def around_h(drying: Drying) -> int:
    """Over how many hours a dry-down is smoothed: as long as it took, on average, to fall by one step.

    Parameters
    ----------
    drying : Drying

    Returns
    -------
    int, from 3 to 24 [h]

    Notes
    -----
    A tray that loses 0.05 m³/m³ a day is smoothed over 5 hours, so that day and night stay apart; open ground
    that loses 0.01 over a whole day, so that neither a sensor's steps nor its daily swing count as crossings.

    References
    ----------
    The rule is this project’s own.

    Examples
    --------
    >>> hours = np.arange(96.0)
    >>> around_h(Drying(hours * 3600, 0.5 - 0.05 * hours / 24, hours, hours, np.ones((96, 24))))
    5
    """
    moisture = filled(drying.moisture_m3_m3)
    if moisture.size < 3:
        return 3
    fall = moisture[:3].mean() - moisture[-3:].mean()
    return int(np.clip(round(STEP_M3_M3 * moisture.size / max(fall, 1e-9)), 3, DAY_H))


def crossings_h(drying: Drying, levels_m3_m3: ArrayLike, width: int = 0) -> tuple[Floats, Floats]:
    """When moisture first fell to each level.

    Parameters
    ----------
    drying : Drying
    levels_m3_m3 : array, shape (k,) [m³/m³]
    width : int, hours over which moisture is smoothed; 0: as `around_h`

    Returns
    -------
    (array [usual hours of demand], array [h]), shape (k,) each, from the start of the first hour; NaN for
    levels it did not fall to, or was below from the first

    Notes
    -----
    Of the mean over `width` hours about each hour, so that the daily swing and a sensor's steps do not count.

    References
    ----------
    None: a first passage.

    Examples
    --------
    >>> hours = np.arange(200.0)
    >>> even = Drying(hours * 3600, 0.5 - hours / 500, hours, np.full(200, 2.0), np.ones((200, 24)))
    >>> demand_h, plain_h = crossings_h(even, [0.30, 0.05])
    >>> demand_h.round().tolist(), plain_h.round(1).tolist()
    ([201.0, nan], [100.5, nan])
    """
    levels = np.asarray(levels_m3_m3, dtype=np.float64)
    demand, plain = np.full(levels.size, np.nan), np.full(levels.size, np.nan)
    low = np.minimum.accumulate(smoothed(filled(drying.moisture_m3_m3), width or around_h(drying)))
    if low.size < 2:
        return demand, plain
    inside = (levels < low[0]) & (levels >= low[-1])
    after = np.searchsorted(-low, -levels[inside], side="left")
    part = (low[after - 1] - levels[inside]) / (low[after - 1] - low[after])
    at = (drying.hours - low.size) // 2 + after - 1 + part
    plain[inside] = at + 0.5
    demand[inside] = np.interp(at, np.arange(drying.hours), drying.demand_h)
    return demand, plain


@dataclass(frozen=True, slots=True, eq=False)
class UsualDrying:
    """Usual hours, and dry-downs that say so, summed over `LEVELS_M3_M3` from the lowest up."""

    clock_h: Floats
    count: Floats

    def between(self, high_m3_m3: ArrayLike, low_m3_m3: ArrayLike) -> tuple[Floats, Floats]:
        """Usual hours from one moisture down to another, and how many dry-downs speak for it on average."""
        high, low = np.asarray(high_m3_m3, dtype=np.float64), np.asarray(low_m3_m3, dtype=np.float64)
        need_h, count = (
            np.interp(high, LEVELS_M3_M3, sums) - np.interp(low, LEVELS_M3_M3, sums)
            for sums in (self.clock_h, self.count)
        )
        return need_h, count * STEP_M3_M3 / np.maximum(high - low, 1e-9)


def usual_drying(crossings: Sequence[Floats], weights: Sequence[float] = ()) -> UsualDrying | None:
    """What dry-downs usually take, step by step.

    Parameters
    ----------
    crossings : sequence of array, shape (101,) [usual hours], when each passed `LEVELS_M3_M3`
    weights : sequence of float, optional, what each counts; default 1

    Returns
    -------
    UsualDrying, or None where none passed two levels

    Notes
    -----
    For each step of 0.01 m³/m³ the geometric mean over the dry-downs that passed it. A step that none passed
    takes as long as the nearest that was, and counts for none.

    References
    ----------
    The idea is that of a master recession curve in hydrology (Tallaksen 1995, J. Hydrol. 165:349, a review)
    [from memory].

    Examples
    --------
    >>> one = np.where(LEVELS_M3_M3 > 0.2, (0.5 - LEVELS_M3_M3) * 100, np.nan)
    >>> usual = usual_drying([one, 4 * one])
    >>> need_h, count = usual.between([0.4], [0.3])
    >>> need_h.round(2).tolist(), count.round(2).tolist()
    ([20.0], [2.0])
    """
    if not crossings:
        return None
    each = np.stack(crossings)
    share = np.ones(len(each)) if len(weights) == 0 else np.asarray(weights, dtype=np.float64)
    steps = each[:, :-1] - each[:, 1:]
    known = np.isfinite(steps) * share[:, None]
    count = known.sum(axis=0)
    passed = np.flatnonzero(count)
    if not passed.size:
        return None
    logs = np.log(np.where(np.isfinite(steps), np.maximum(steps, LEAST_H), 1.0)) * known
    mean = logs.sum(axis=0)[passed] / count[passed]
    every = np.exp(np.interp(np.arange(count.size), passed, mean))
    return UsualDrying(*(np.concatenate(([0.0], np.cumsum(v))) for v in (every, count)))
