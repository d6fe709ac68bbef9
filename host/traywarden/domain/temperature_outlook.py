"""Hourly soil or air of the coming days as a bundle of ways it may go, from a place's own recent days."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from traywarden.domain.ensemble import Ensemble
from traywarden.domain.first_order import hour_grid
from traywarden.domain.series import FloatArray, IntArray
from traywarden.domain.units import HOUR_S
from traywarden.errors import ShortOfDataError

MEMBERS = 200
SEED = 1998
MOST_DAYS = 45
"""Own days looked back upon; older ones belong to another season."""
LEAST_DAYS = 4
"""Fewer whole days than this tell nothing of how days differ (common practice, no source)."""
FEW_DAYS = 10
"""Below this the bundle is said to rest on little."""
_DAY_H = 24
_LEAST_HOURS = 20  # of a day that must be known
_HALF_LIFE_D = 20.0
_BLOCK_D = 3
_STARTS_RIGHT_H = 6.0  # how long a path keeps the mark of what was measured last
_PERSISTS = 0.7  # how much of a day's departure the next day keeps, where the record does not yet tell
_PERSISTS_WEIGHS_D = 10.0
# A mean over some weeks wanders on, more than its days' spread lets on. Set so that the mean of the next one
# to fourteen days is held in four of five on two recorded fields, and tried on four years elsewhere.
_WANDERS = 2.5
_WIDER = 1.1


def own_days(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    start_s: float,
    hours: int,
    *,
    members: int = MEMBERS,
    seed: int = SEED,
) -> Ensemble:
    """Ways the coming hours may go, told from the same head's or place's own recent days.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending; starts of whole hours
    temp_c : array, shape (n,) [°C], hourly means; NaN where missing
    start_s : float [s]; the first hour asked for, at the end of what is known
    hours : int, how many hours ahead
    members : int
    seed : int; the same seed gives the same bundle

    Returns
    -------
    Ensemble

    Notes
    -----
    Days are counted back from start_s, 24 hours each, so that no midnight matters; up to 45 of them, their
    weight halving every 20. A day's mean is the long mean plus what is left of yesterday's departure
    (autoregressive, first order; held towards 0.7 a day while the record is short) plus what surprised on one
    of the own days; to it goes the same day's own course over 24 hours. Own days are drawn in runs of three.
    The long mean itself is uncertain and wanders: each member has its own. So the spread grows with the
    horizon to the record's own day-to-day variance and a little beyond (two factors, found on one recorded
    field and kept on another). Paths start from the last measured hour. A change of clocks shifts the course
    of a day by its hour for that day. It knows nothing of coming weather: fronts come as often as they did.

    Raises
    ------
    ShortOfDataError where fewer than four whole days are known, or the last one is not.

    References
    ----------
    Block bootstrap: Künsch 1989, Ann. Stat. 17:1217; autoregressive persistence of daily temperature:
    Richardson 1981, Water Resour. Res. 17:182.

    Examples
    --------
    >>> times = np.arange(24 * 30) * 3600.0
    >>> temps = 15 + 4 * np.sin(times / 86400 * 2 * np.pi) + np.repeat(np.sin(np.arange(30) * 2.0), 24)
    >>> found = own_days(times, temps, times[-1] + 3600, 48)
    >>> found.members_c.shape, found.days
    ((200, 48), 30)
    """
    windows = _days_back(np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64), start_s)
    means = windows.mean(axis=1)
    known = np.isfinite(means)
    pairs = np.flatnonzero(known[:-1] & known[1:])  # day k and the one before it
    if known.sum() < LEAST_DAYS or pairs.size < LEAST_DAYS - 1:
        raise ShortOfDataError(
            f"Only {known.sum()} whole days are known; saying how days differ takes {LEAST_DAYS} in a row."
        )
    if not known[0]:
        raise ShortOfDataError("The last day was not measured; an outlook starts from what is now.")
    weight = np.where(known, 0.5 ** (np.arange(means.size) / _HALF_LIFE_D), 0.0)
    long_mean = float(weight @ np.nan_to_num(means) / weight.sum())
    left = means - long_mean
    kept = _kept(left, pairs)
    surprise = left[pairs] - kept * left[pairs + 1]
    surprise = (surprise - surprise.mean()) * np.sqrt(pairs.size / max(pairs.size - 2, 1)) * _WIDER
    course = windows - means[:, None]
    usual = np.nanmean(course, axis=0)
    course = usual + (course - usual) * _WIDER
    random = np.random.default_rng(seed)
    deviation = float(np.sqrt(weight @ np.nan_to_num(left) ** 2 / weight.sum()))
    effective = float(weight.sum() ** 2 / (weight**2).sum())
    wandered = deviation * np.sqrt((1 + kept) / (1 - kept) / effective) * _WANDERS
    own_means = long_mean + random.normal(0.0, wandered, members)
    days = -(-hours // _DAY_H)
    drawn = _drawn(pairs, weight[pairs], members, days, random)
    level = np.full(members, means[0])
    paths = np.empty((members, days * _DAY_H))
    for day in range(days):
        level = own_means + kept * (level - own_means) + surprise[drawn[:, day]]
        paths[:, day * _DAY_H : (day + 1) * _DAY_H] = level[:, None] + course[pairs[drawn[:, day]]]
    jump = (windows[0, -1] - means[0]) - course[pairs[drawn[:, 0]] + 1, -1]
    paths += jump[:, None] * np.exp(-(np.arange(paths.shape[1]) + 1) / _STARTS_RIGHT_H)
    few = f"rests on {known.sum()} days only: how days differ is hardly known yet"
    return Ensemble(
        np.asarray(start_s + HOUR_S * np.arange(hours)),
        paths[:, :hours],
        int(known.sum()),
        "own recent days",
        few if known.sum() < FEW_DAYS else "",
    )


def _days_back(time_s: FloatArray, temp_c: FloatArray, start_s: float) -> FloatArray:
    """Runs of 24 hours before start_s, the latest first; NaN throughout where too little is known."""
    run = np.full(MOST_DAYS * _DAY_H, np.nan)
    at, grid_s = hour_grid(time_s)
    if at.size:
        back = np.round((start_s - grid_s[at]) / HOUR_S).astype(np.int64)
        inside = (back >= 1) & (back <= run.size)
        run[run.size - back[inside]] = temp_c[inside]
    windows = run.reshape(MOST_DAYS, _DAY_H)[::-1]
    enough = np.isfinite(windows).sum(axis=1) >= _LEAST_HOURS
    filled = pd.DataFrame(run).interpolate(limit_direction="both", limit=_DAY_H - _LEAST_HOURS)
    whole = filled.to_numpy()[:, 0].reshape(MOST_DAYS, _DAY_H)[::-1]
    return np.asarray(np.where(enough[:, None], whole, np.nan))


def _kept(left: FloatArray, pairs: IntArray) -> float:
    """Part of a day's departure that the next day keeps."""
    now, before = left[pairs], left[pairs + 1]
    own = float(now @ before) / max(float(before @ before), 1e-9)
    kept = (own * pairs.size + _PERSISTS * _PERSISTS_WEIGHS_D) / (pairs.size + _PERSISTS_WEIGHS_D)
    return float(np.clip(kept, 0.0, 0.95))


def _drawn(
    pairs: IntArray,
    weight: FloatArray,
    members: int,
    days: int,
    random: np.random.Generator,
) -> IntArray:
    """For each member and coming day which of the pairs it takes; the day after a day where there is one."""
    follows = np.searchsorted(pairs, pairs - 1)  # later days have lower numbers
    there = (pairs[np.minimum(follows, pairs.size - 1)] == pairs - 1) & (pairs > 0)
    drawn = np.empty((members, days), dtype=np.int64)
    for day in range(days):
        fresh = random.choice(pairs.size, members, p=weight / weight.sum())
        if day % _BLOCK_D:
            before = drawn[:, day - 1]
            drawn[:, day] = np.where(there[before], follows[before], fresh)
        else:
            drawn[:, day] = fresh
    return drawn
