"""How many hours until moisture has fallen to a level, foreseen at any hour of a dry-down."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.drying import Drying, filled, hours_until, smoothed
from traywarden.domain.drying_speed import DryingSpeed, drying_speed, swing_sums
from traywarden.domain.usual_drying import LEVELS_M3_M3, UsualDrying, around_h, crossings_h, usual_drying

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

HALF = 2.0
"""So many earlier dry-downs weigh as much as the present one (no source)."""
GROWN_H = 12.0
"""… once so many usual hours of it were measured: less shows the daily swing, not drying (no source)."""
LEAST_COUNT = 0.4
"""A younger dry-down is foreseen only where at least this many earlier ones speak for the way to go."""
LEAST_NEED_H = 0.25
REMEMBERED_S = 60 * 86400.0
"""Earlier dry-downs count if they began within so long before: what dries a tray changes with the season and
with its seedlings (no source)."""
FIRST_SHARE, SHARE_FALL = 0.5, 0.05
"""Share of the demand before anything was seen, and the fall [m³/m³] it counts like (no source)."""
LEAST_REMEMBERED = 3
"""… and the last three however old they are: better an old one than none (no source)."""
MATES_COUNT = 1.0
"""While it has fewer than three of its own, all earlier dry-downs of other trays of its mix together count
like so many of them (no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Remembered:
    """What stays of a dry-down that is over."""

    start_s: float
    end_s: float
    demand_h: Floats
    plain_h: Floats
    swing_sums: Floats
    fall_m3_m3: float
    passed_h: float

    def clock_h(self, share: float) -> Floats:
        """When it passed each level on a clock that runs with the demand for this share, else with time."""
        return (1 - share) * self.plain_h + share * self.demand_h


def remember(drying: Drying) -> Remembered:
    """What a dry-down tells of later ones.

    Parameters
    ----------
    drying : Drying, of at least one hour

    Returns
    -------
    Remembered: usual hours of demand and plain hours at which it passed `LEVELS_M3_M3`; what its days showed;
    how far it fell, and in how many usual hours of demand

    Notes
    -----
    As `crossings_h` and `swing_sums`.

    References
    ----------
    As there.

    Examples
    --------
    >>> hours = np.arange(200.0)
    >>> even = Drying(hours * 3600, 0.5 - hours / 500, hours, np.full(200, 2.0), np.ones((200, 24)))
    >>> int(np.isfinite(remember(even).plain_h).sum())  # of the levels from 0.11 to 0.49
    39
    """
    demand_h, plain_h = crossings_h(drying, LEVELS_M3_M3)
    level = smoothed(filled(drying.moisture_m3_m3), around_h(drying))
    return Remembered(
        float(drying.hour_s[0]),
        float(drying.hour_s[-1]) + 3600.0,
        demand_h,
        plain_h,
        swing_sums(drying)[-1].copy(),  # the last row alone, not all of them with it
        max(float(level[0] - level[-1]), 0.0) if level.size else 0.0,
        float(drying.demand.mean() * level.size),
    )


def demand_share(remembered: Sequence[Remembered]) -> float:
    """How much of the drying goes with the demand; the rest goes on by night as by day.

    Parameters
    ----------
    remembered : sequence of Remembered, dry-downs of one head

    Returns
    -------
    float, 0 to 1

    Notes
    -----
    How far moisture falls in an hour of demand within the day, against how far it fell for each in all; half
    before 0.05 m³/m³ have been seen to fall, and drawn towards it later. A sensor that reads higher when warm
    hides some of it. In open ground, where water must first rise to the surface, next to none is left.

    References
    ----------
    The two stages of drying, by demand and by soil: FAO-56, chapter 7, figure 38 (there for days).

    Examples
    --------
    >>> demand_share([])
    0.5
    """
    fall = sum(r.fall_m3_m3 for r in remembered)
    if fall <= 0:
        return FIRST_SHARE
    _, _, dd, _, dm = np.sum([r.swing_sums for r in remembered], axis=0)
    by_day = -dm / dd * sum(r.passed_h for r in remembered) if dd > 0 else FIRST_SHARE * fall
    return float(np.clip((by_day + FIRST_SHARE * SHARE_FALL) / (fall + SHARE_FALL), 0.0, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class Foresight:
    """A dry-down with what is known of it at each hour, and what earlier ones took."""

    drying: Drying
    share: float
    speed: DryingSpeed
    usual: UsualDrying | None

    @property
    def _clock_h(self) -> Floats:
        """Usual hours that were measured up to each hour."""
        known = np.isfinite(self.drying.moisture_m3_m3)
        return np.cumsum(np.where(known, self.drying.pace(self.share), 0.0))

    def need_h(self, hour: ArrayLike, level_m3_m3: ArrayLike) -> tuple[Floats, Floats]:
        """From the middle of an hour on: usual hours down to a level, and how many earlier dry-downs say so.

        `hour` are whole numbers counted from the first hour of the dry-down, shape (k,). NaN where the level
        lies at or below what stays in the mix, or where too little is known yet.
        """
        at, target = np.asarray(hour, dtype=np.int64), np.asarray(level_m3_m3, dtype=np.float64)
        now, left = self.speed.level_m3_m3[at], self.speed.residual_m3_m3
        high, low = np.maximum(now, target), target
        with np.errstate(invalid="ignore", divide="ignore"):
            own = np.log((high - left) / (low - left)) / self.speed.speed_per_h[at]
        count, usual = np.zeros(at.size), own
        if self.usual is not None:
            usual, count = self.usual.between(high, low)
        old = self._clock_h[at] / GROWN_H
        with np.errstate(invalid="ignore"):
            weight = count / (count + HALF * np.minimum(old, 1.0))
            own, usual = (np.log(np.maximum(v, LEAST_NEED_H)) for v in (own, usual))
            need = np.where(now > target, np.exp((1 - weight) * own + weight * usual), 0.0)
        unknown = (target <= left) | ((old < 1) & (count < LEAST_COUNT) & (now > target))
        return np.where(unknown, np.nan, need), count

    def remaining_h(self, hour: ArrayLike, level_m3_m3: ArrayLike, forecast: ArrayLike = ()) -> Floats:
        """From the end of an hour on: hours until moisture is at a level; 0 where it is, NaN as `need_h`.

        `forecast` is the demand of the hours after it as a forecast has it (the same for all asked), as a
        part of a usual hour's; NaN where it is silent.
        """
        at = np.asarray(hour, dtype=np.int64)
        need, _ = self.need_h(at, level_m3_m3)
        # The rest of the hour itself comes first.
        rest = np.maximum(need - self.drying.pace(self.share)[at] / 2, 0.0)
        known = np.isfinite(rest)
        told = 1 - self.share + self.share * np.asarray(forecast, dtype=np.float64)
        hours = np.full(at.size, np.nan)
        hours[known] = hours_until(rest[known], self.drying.pace_ahead(self.share)[at[known]], told)
        return hours


def foresight(
    drying: Drying,
    own: Sequence[Remembered] = (),
    mates: Sequence[Remembered] = (),
    now_s: float | None = None,
) -> Foresight:
    """The present dry-down beside earlier ones.

    Parameters
    ----------
    drying : Drying
    own : sequence of Remembered, earlier dry-downs of the same head in the same mix
    mates : sequence of Remembered, dry-downs of other trays of the same mix
    now_s : float [s] since 1970; by default the end of the dry-down

    Returns
    -------
    Foresight

    Notes
    -----
    Those count that were over when this one began and that began within 60 days before `now_s`, or else the
    last three. The need is
    a weighted geometric mean of what the present speed gives, ln((θ − θw)/(θ* − θw))/speed, and what earlier
    dry-downs took from here to there; n earlier ones weigh n/(n + 2).

    References
    ----------
    Weighting by n/(n + m) is the shrinkage of a mean towards another: Bühlmann’s credibility (1967,
    ASTIN Bull. 4:199) [from memory].

    Examples
    --------
    >>> hours = np.arange(72.0)
    >>> moist = 0.05 + 0.45 * np.exp(-hours / 60)
    >>> even = Drying(hours * 3600, moist, np.full(72, 20.0), np.ones(72), np.ones((72, 24)))
    >>> now = foresight(even)  # 0.188 at the middle of hour 71; 0.135 is reached 28.5 h after its end
    >>> round(float(now.remaining_h([71], [0.135])[0]), 1)
    28.9
    """
    asked_s = float(drying.hour_s[-1]) + 3600.0 if now_s is None else now_s
    begun_s = float(drying.hour_s[0])
    mine = _remembered(own, begun_s, asked_s)
    theirs = _remembered(mates, begun_s, asked_s) if len(mine) < LEAST_REMEMBERED else []
    sums = np.sum([r.swing_sums for r in mine], axis=0) if mine else None
    shares = [1.0] * len(mine) + [min(MATES_COUNT / 2, MATES_COUNT / max(len(theirs), 1))] * len(theirs)
    share = demand_share(mine or theirs)
    usual = usual_drying([r.clock_h(share) for r in (*mine, *theirs)], shares)
    return Foresight(drying, share, drying_speed(drying, share, sums), usual)


def _remembered(every: Sequence[Remembered], begun_s: float, asked_s: float) -> list[Remembered]:
    over = sorted((r for r in every if r.end_s <= begun_s), key=lambda r: r.start_s)
    recent = sum(r.start_s >= asked_s - REMEMBERED_S for r in over)
    return over[-max(recent, LEAST_REMEMBERED) :]
