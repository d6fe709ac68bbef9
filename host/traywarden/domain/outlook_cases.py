"""What would have been foreseen in dry-downs that are over, and what came: to calibrate and to back-test."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.drying import DAY_H, Drying, carried, filled, smoothed
from traywarden.domain.foresight import REMEMBERED_S, Remembered, foresight
from traywarden.domain.units import HOUR_S
from traywarden.domain.usual_drying import LEVELS_M3_M3, STEP_M3_M3, around_h, crossings_h

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UPPER_PART = 0.8
"""Levels are taken from the upper four fifths of a dry-down's fall: a dry line lies where water is still
lost, not on the flat end, where the hour of a crossing means nothing."""
LEAST_FALL_M3_M3 = 0.03
"""Three steps of the coarsest sensor; in a smaller fall there is no level to cross."""
EVERY_H = 6
MOST_H = 168.0


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Outlooks into the past, one to a row.

    `true_h` is what it took. NaN: no outlook (too little known, or it would never get there). `same_rate_h`
    goes on as in the last 24 hours (infinite where nothing fell); `last_time_h` takes as long as the last
    dry-down that passed both moistures.
    """

    asked_s: Floats
    level_m3_m3: Floats
    true_h: Floats
    foreseen_h: Floats
    same_rate_h: Floats
    last_time_h: Floats

    @property
    def size(self) -> int:
        return int(self.asked_s.size)

    def where(self, use: NDArray[np.bool_]) -> "Cases":
        return Cases(*(getattr(self, name)[use] for name in self.__dataclass_fields__))


def levels_reached(drying: Drying, width: int = 0) -> tuple[Floats, Floats]:
    """The levels to ask about in a dry-down that is over, and when it came to each.

    Parameters
    ----------
    drying : Drying
    width : int, hours over which moisture is smoothed; 0: as `around_h`

    Returns
    -------
    (array [m³/m³], array [h from the start of the first hour]), shape (k,) each

    Notes
    -----
    Every 0.01 m³/m³, half-way between the steps of the coarsest sensor, in the upper four fifths of the fall;
    none where it fell by less than 0.03. The crossing is that of the mean over `width` hours.

    References
    ----------
    The rule is this project’s own, made before the figures were.

    Examples
    --------
    >>> hours = np.arange(200.0)
    >>> even = Drying(hours * 3600, 0.40 - hours / 2000, hours, np.ones(200), np.ones((200, 24)))
    >>> levels_m3_m3, true_h = levels_reached(even)
    >>> levels_m3_m3[:7].round(3).tolist(), true_h[:7].round().tolist()
    ([0.325, 0.335, 0.345, 0.355, 0.365, 0.375, 0.385], [151.0, 131.0, 111.0, 90.0, 71.0, 51.0, 31.0])
    """
    level = smoothed(filled(drying.moisture_m3_m3), width or around_h(drying))
    if level.size < 2 or level[0] - level.min() < LEAST_FALL_M3_M3:
        return np.empty(0), np.empty(0)
    steps = LEVELS_M3_M3 + STEP_M3_M3 / 2
    lowest = level[0] - UPPER_PART * (level[0] - level.min())
    chosen = steps[(steps < level[0]) & (steps > lowest)]
    _, reached_h = crossings_h(drying, chosen, width)
    return chosen, reached_h


def rolling_cases(
    drying: Drying, own: Sequence[Remembered] = (), mates: Sequence[Remembered] = (), width: int = 0
) -> Cases:
    """Every level asked about every six hours, from a week before it was reached.

    Parameters
    ----------
    drying : Drying, one that is over
    own, mates : as in `foresight`
    width : as in `levels_reached`

    Returns
    -------
    Cases, asked from the sixth hour on

    Notes
    -----
    What is foreseen rests on hours before the asking alone.

    References
    ----------
    Evaluation from a rolling origin: Tashman 2000, Int. J. Forecasting 16:437 [from memory].

    Examples
    --------
    >>> hours = np.arange(200.0)
    >>> even = Drying(hours * 3600, 0.40 - hours / 2000, hours * 0, np.ones(200), np.ones((200, 24)))
    >>> rolling_cases(even).size
    104
    """
    levels, reached_h = levels_reached(drying, width)
    asked_h = np.arange(EVERY_H, drying.hours, EVERY_H, dtype=np.float64)
    true_h = reached_h[None, :] - asked_h[:, None]
    ask, level = np.nonzero((true_h > 0) & (true_h <= MOST_H))
    return _cases(drying, own, mates, asked_h[ask], levels[level], true_h[ask, level])


def cases_before(
    drying: Drying,
    before_h: float,
    own: Sequence[Remembered] = (),
    mates: Sequence[Remembered] = (),
    width: int = 0,
) -> Cases:
    """Every level asked about once, so many hours before it was reached.

    Parameters
    ----------
    drying, own, mates, width : as in `rolling_cases`
    before_h : float [h]

    Returns
    -------
    Cases; levels reached sooner after the wetting than that are left out

    Notes
    -----
    As `rolling_cases`.

    References
    ----------
    As `rolling_cases`.

    Examples
    --------
    >>> hours = np.arange(200.0)
    >>> even = Drying(hours * 3600, 0.40 - hours / 2000, hours * 0, np.ones(200), np.ones((200, 24)))
    >>> cases_before(even, 24.0).foreseen_h.round().tolist()  # five hours of readings are too few to tell
    [25.0, 25.0, 25.0, 25.0, 24.0, 24.0, nan]
    """
    levels, reached_h = levels_reached(drying, width)
    asked_h = reached_h - before_h
    use = asked_h >= 1
    return _cases(drying, own, mates, asked_h[use], levels[use], np.full(int(use.sum()), before_h))


def _cases(
    drying: Drying,
    own: Sequence[Remembered],
    mates: Sequence[Remembered],
    asked_h: Floats,
    level: Floats,
    true_h: Floats,
) -> Cases:
    asked_s = drying.hour_s[0] + asked_h * HOUR_S if drying.hours else asked_h
    at = np.floor(asked_h).astype(np.int64) - 1
    foreseen = np.full(at.size, np.nan)
    # What is remembered changes only where an earlier dry-down drops out of the last thirty days.
    starts = np.sort([r.start_s for r in (*own, *mates)])
    dropped = np.searchsorted(starts, asked_s - REMEMBERED_S)
    for group in np.unique(dropped):
        mine = dropped == group
        found = foresight(drying, own, mates, float(asked_s[mine][0]))
        foreseen[mine] = found.remaining_h(at[mine], level[mine])
    since_h = asked_h - (at + 1)
    return Cases(
        asked_s,
        level,
        true_h,
        np.maximum(foreseen - since_h, 0.0),
        _same_rate_h(drying, at, level, since_h + 0.5),
        _last_time_h(drying, own, at, level, since_h),
    )


def _same_rate_h(drying: Drying, at: Ints, level: Floats, since_h: Floats) -> Floats:
    moisture = carried(drying.moisture_m3_m3)
    now, then = moisture[at], moisture[np.maximum(at - DAY_H, 0)]
    fall = (then - now) / DAY_H
    with np.errstate(divide="ignore", invalid="ignore"):
        hours = np.where(fall > 0, (now - level) / fall - since_h, np.inf)
    hours = np.where(now <= level, 0.0, np.maximum(hours, 0.0))
    return np.where(at >= DAY_H, hours, np.nan)


def _last_time_h(
    drying: Drying, own: Sequence[Remembered], at: Ints, level: Floats, since_h: Floats
) -> Floats:
    moisture = carried(drying.moisture_m3_m3)
    # The mean of three hours is that of the middle one, an hour and a half before the end of the last.
    now = np.mean([moisture[np.maximum(at - back, 0)] for back in range(3)], axis=0)
    hours = np.full(at.size, np.nan)
    begun_s = float(drying.hour_s[0]) if drying.hours else 0.0
    for earlier in sorted((r for r in own if r.end_s <= begun_s), key=lambda r: -r.start_s):
        took = np.interp(level, LEVELS_M3_M3, earlier.plain_h) - np.interp(now, LEVELS_M3_M3, earlier.plain_h)
        hours = np.where(np.isnan(hours), np.maximum(took - since_h - 1.5, 0.0), hours)
    return np.where(now <= level, 0.0, hours)
