"""What the mix may be like from now on, if days to come are like days just past: whole days drawn again."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import special

from traywarden.domain.series import FloatArray, IntArray

HOUR_S = 3600.0
DAY_H = 24
RECENT_D = 7
"""How many of the last days stand for those to come: in soil at Bondville in 1998 the mean of the last seven
missed the mean of the next 1 … 14 by 3.5 … 3.9 °C, that of the last 14 by 3.7 … 4.0."""
BLOCK_D = 2
"""Days drawn together, as warm days come in spells (common practice, no source)."""
LEVEL_TIMES, LEAST_LEVEL_C = 1.7, 0.5
"""Weather lasts: days to come differ from the last seven as a whole. By how much, in times the spread among
those seven, was set on the same record so that the band holds, and tried on another (docs/emergence.md)."""
MEMBERS = 100
SEED = 1954
LEAST_H = 18
"""Hours of a day that must be known for it to stand for another (common practice, no source)."""


class Temperatures(Protocol):
    """An ensemble of hourly temperatures: `time_s` shape (h,), `members_c` shape (n, h), without NaN.

    `time_s` holds the start of each hour.
    """

    @property
    def time_s(self) -> FloatArray: ...
    @property
    def members_c(self) -> FloatArray: ...


@dataclass(frozen=True, slots=True, eq=False)
class RecentDays:
    """Temperatures drawn from recent days; `days` is how many there were to draw from."""

    time_s: FloatArray
    members_c: FloatArray
    days: int


def recent_days(
    hour_s: FloatArray,
    temp_c: FloatArray,
    now_s: float,
    horizon_h: int,
    *,
    members: int = MEMBERS,
    seed: int = SEED,
) -> RecentDays | None:
    """An ensemble of hourly temperatures from now on, drawn from the last seven days.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], starts of hours, increasing by one hour
    temp_c : array, shape (n,) [°C], NaN where not measured
    now_s : float [s]
    horizon_h : int [h]
    members, seed : int

    Returns
    -------
    RecentDays, or None without one whole day

    Notes
    -----
    The hours before now are cut into days that end at the present hour, so that the time of day runs on. Days
    with fewer than 18 hours are left out; single missing hours are bridged. Each member strings together
    blocks of two consecutive days, drawn with replacement, and is as a whole shifted by a normal deviate of
    1.7 times the standard deviation among the recent days' means: weather to come differs from weather past
    for longer than a few days. The ensemble knows neither the season's course nor a forecast.

    References
    ----------
    Künsch 1989, Ann. Stat. 17:1217 (moving blocks).

    Examples
    --------
    >>> hours = 3600.0 * np.arange(240)
    >>> drawn = recent_days(hours, 15.0 + 5.0 * np.sin(hours / 86400 * 2 * np.pi), 864000.0, 48)
    >>> drawn.members_c.shape, drawn.days
    ((100, 48), 7)
    """
    days = _days(hour_s, temp_c, now_s)
    if not days.shape[0]:
        return None
    rng = np.random.default_rng(seed)
    count = -(-horizon_h // DAY_H)
    drawn = days[_blocks(days.shape[0], count, members, rng)].reshape(members, -1)
    means = days.mean(axis=1)
    level_c = max(LEVEL_TIMES * float(means.std(ddof=1)) if means.size > 1 else 0.0, LEAST_LEVEL_C)
    shift = level_c * rng.permutation(special.ndtri((np.arange(members) + 0.5) / members))
    start_s = now_s // HOUR_S * HOUR_S
    time_s = start_s + HOUR_S * np.arange(horizon_h, dtype=np.float64)
    shifted = drawn[:, :horizon_h] + shift[:, None]
    return RecentDays(time_s, shifted, days.shape[0])


def continued(first: Temperatures, then: Temperatures) -> RecentDays:
    """One ensemble after another has ended: a forecast of days, say, and then recent days.

    Members are paired in order, those of the shorter ensemble again from its start.
    """
    later = then.time_s > first.time_s[-1] if first.time_s.size else np.ones(then.time_s.size, dtype=bool)
    rows = np.arange(max(first.members_c.shape[0], then.members_c.shape[0]))
    parts = [first.members_c[rows % first.members_c.shape[0]]]
    parts.append(then.members_c[:, later][rows % then.members_c.shape[0]])
    return RecentDays(np.concatenate([first.time_s, then.time_s[later]]), np.hstack(parts), 0)


def _days(hour_s: FloatArray, temp_c: FloatArray, now_s: float) -> FloatArray:
    """Whole days before now, oldest first, shape (days, 24)."""
    past = hour_s < now_s // HOUR_S * HOUR_S
    hours = np.round((hour_s[past] - now_s // HOUR_S * HOUR_S) / HOUR_S).astype(np.int64) + RECENT_D * DAY_H
    values = np.full(RECENT_D * DAY_H, np.nan)
    kept = hours >= 0
    values[hours[kept]] = temp_c[past][kept]
    rows = values.reshape(RECENT_D, DAY_H)
    known = np.isfinite(values)
    if known.any():
        at = np.arange(values.size)
        values = np.interp(at, at[known], values[known])
    whole: FloatArray = values.reshape(RECENT_D, DAY_H)[np.isfinite(rows).sum(axis=1) >= LEAST_H]
    return whole


def _blocks(days: int, count: int, members: int, rng: np.random.Generator) -> IntArray:
    """Which day stands for each of `count` days to come, shape (members, count)."""
    starts = rng.integers(0, days, size=(members, -(-count // BLOCK_D)))
    wanted: IntArray = np.mod(starts[:, :, None] + np.arange(BLOCK_D), days)
    return wanted.reshape(members, -1)[:, :count]
