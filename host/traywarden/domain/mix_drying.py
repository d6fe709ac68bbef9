"""How a tray dries under what the air asks for: each stretch between two wettings, from its hours."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Wetting

Floats = NDArray[np.float64]

DAY_H = 24


@dataclass(frozen=True, slots=True)
class DryingParams:
    """What a stretch must have before it says how fast a mix dries (no source where none is named)."""

    drain_s: float = HOUR_S
    """Free water drains within 10–15 min of saturation (drainage-pot method, Purdue Univ.)."""
    longest_gap_h: int = 12
    least_hours: int = 12
    """Less than half a day shows the daily swing, not drying."""
    least_drop_m3_m3: float = 0.02
    least_demand_mm: float = 1.0
    """Where the air asked for less in all, a rate per demand is noise."""
    soaked_above: float = 0.95
    """From this part of container capacity up a mix counts as soaked."""
    least_seen: float = 1 / 3
    """Part of the way to the dry line that must be seen before the rest is drawn out."""


DEFAULT_PARAMS = DryingParams()


@dataclass(frozen=True, slots=True)
class DriedStretch:
    """One stretch. Rates in % of container capacity, between container capacity and dry line.

    `soaked_h`: hours from the wetting until no longer soaked, None where it never was; `soaked_over` false
    where it still was at the end of the stretch (then at least so long). `dry_h`: hours from the wetting to
    the dry line; `dry_seen` false where the rest of the way was drawn out. None where it cannot be said.
    """

    start_s: float
    end_s: float
    hours: int
    loss_pct_per_h: float | None
    loss_pct_per_mm: float | None
    mean_demand_mm: float | None
    mean_pct: float | None
    air_temp_c: float | None
    soaked_h: float | None
    soaked_over: bool
    dry_h: float | None
    dry_seen: bool


def dried_stretches(
    hour_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    wettings: Sequence[Wetting],
    *,
    container_capacity_m3_m3: float,
    dry_line_m3_m3: float,
    demand_mm: ArrayLike | None = None,
    air_temp_c: ArrayLike | None = None,
    params: DryingParams = DEFAULT_PARAMS,
) -> list[DriedStretch]:
    """The stretches of a head's record, each with how fast it dried and how long it stayed soaked.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], whole hours without a gap
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing, frozen or out of the question
    wettings : as `find_wettings` gave them for these hours
    container_capacity_m3_m3, dry_line_m3_m3 : float [m³/m³]
    demand_mm : array, shape (n,) [mm in the hour], optional; what the air asks for (`reference_demand_mm`).
        Another measure of demand will do; rates are then per unit of that. NaN where unknown.
    air_temp_c : array, shape (n,) [°C], optional
    params : what a stretch must have

    Returns
    -------
    list of DriedStretch, oldest first

    Notes
    -----
    Stretches begin with a wetting; what dried before the first one has no beginning and is left out. The rate
    is the slope of the least-squares line of moisture on the hours gone by (or on the demand summed up over
    them) while moisture lies between container capacity and dry line: summed-up demand runs fast by day and
    slow by night, as drying does, so that the daily swing hardly counts. Over hours without demand the sum
    goes on with the mean of the stretch; where more than a third are missing there is no rate by demand.

    Raises
    ------
    ValueError if arrays differ in length, or container capacity is not above the dry line.

    References
    ----------
    Evaporation in proportion to what the air asks for: FAO-56 (crop coefficient).

    Examples
    --------
    >>> from traywarden.domain.waterings import find_wettings
    >>> hour_s = np.arange(72.0) * 3600
    >>> wet = np.where(hour_s < 36000, 0.3, 0.5 - 0.002 * (hour_s - 36000) / 3600)
    >>> [one] = dried_stretches(hour_s, wet, find_wettings(hour_s, wet), container_capacity_m3_m3=0.5,
    ...     dry_line_m3_m3=0.25, demand_mm=np.ones(72))
    >>> round(one.loss_pct_per_h, 2), round(one.loss_pct_per_mm, 2), one.soaked_h
    (0.4, 0.4, 13.0)
    """
    times, moisture = np.asarray(hour_s, np.float64), np.asarray(moisture_m3_m3, np.float64)
    blank = np.full(times.shape, np.nan)
    demand = blank if demand_mm is None else np.asarray(demand_mm, np.float64)
    air_c = blank if air_temp_c is None else np.asarray(air_temp_c, np.float64)
    if not times.shape == moisture.shape == demand.shape == air_c.shape:
        raise ValueError("hours, moisture, demand and air must be equally long")
    if not container_capacity_m3_m3 > dry_line_m3_m3:
        raise ValueError("container capacity must be above the dry line")
    ordered = sorted(wettings, key=lambda w: w.onset_s)
    found = []
    for number, wetting in enumerate(ordered, 1):
        end_s = ordered[number].onset_s if number < len(ordered) else np.inf
        first = int(np.searchsorted(times, wetting.peak_s))
        last = int(np.searchsorted(times, end_s, side="right"))
        last = first + _unbroken(np.isfinite(moisture[first:last]), params.longest_gap_h)
        part = slice(first, last)
        if last - first < 2 or wetting.over_gap:
            continue
        found.append(
            _stretch(
                times[part],
                moisture[part],
                demand[part],
                air_c[part],
                (container_capacity_m3_m3, dry_line_m3_m3),
                params,
            )
        )
    return found


def _unbroken(known: NDArray[np.bool_], longest_gap_h: int) -> int:
    """Hours up to the last known one before a gap that is too long."""
    where = np.flatnonzero(known)
    for before, after in pairwise(where.tolist()):
        if after - before > longest_gap_h:
            return before + 1
    return int(where[-1]) + 1 if where.size else 0


def _stretch(
    times: Floats,
    moisture: Floats,
    demand: Floats,
    air_c: Floats,
    levels: tuple[float, float],
    params: DryingParams,
) -> DriedStretch:
    capacity, line = levels
    since_h = (times - times[0]) / HOUR_S
    drained = since_h * HOUR_S >= params.drain_s
    warm = np.isfinite(air_c)
    known = np.isfinite(moisture)
    band = known & drained & (moisture <= capacity) & (moisture >= line)
    asked, mean_demand = _summed(demand)
    per_h = per_mm = None
    if _tells(moisture[band], params):
        per_h = _slope(since_h[band], moisture[band])
        if asked is not None and float(np.ptp(asked[band])) >= params.least_demand_mm:
            per_mm = _slope(asked[band], moisture[band])
    soaked_h, over = _soaked(since_h, moisture, known, params.soaked_above * capacity)
    dry_h, seen = _dry(since_h, moisture, known, line, per_h, params)
    return DriedStretch(
        float(times[0]),
        float(times[-1]),
        times.size,
        None if per_h is None else per_h / capacity * 100,
        None if per_mm is None else per_mm / capacity * 100,
        mean_demand,
        float(moisture[band].mean()) / capacity * 100 if band.any() else None,
        float(air_c[warm].mean()) if warm.any() else None,
        soaked_h,
        over,
        dry_h,
        seen,
    )


def _summed(demand: Floats) -> tuple[Floats | None, float | None]:
    """Demand summed up to the middle of each hour, and its mean; None where too much of it is unknown."""
    known = np.isfinite(demand)
    if known.sum() < 2 / 3 * demand.size:
        return None, None
    mean = float(demand[known].mean())
    filled = np.where(known, demand, mean)
    return np.cumsum(filled) - filled / 2, mean


def _tells(wet: Floats, params: DryingParams) -> bool:
    """Whether a stretch is long enough and falls far enough to say how fast."""
    if wet.size < params.least_hours:
        return False
    edge = max(1, wet.size // 6)
    return float(np.median(wet[:edge]) - np.median(wet[-edge:])) >= params.least_drop_m3_m3


def _slope(x: Floats, wet: Floats) -> float | None:
    """Loss of moisture [m³/m³] for each unit of x; None where it did not fall."""
    centred = x - x.mean()
    squares = float(centred @ centred)
    loss = -float(centred @ wet) / squares if squares > 0 else 0.0
    return loss if loss > 0 else None


def _soaked(
    since_h: Floats, moisture: Floats, known: NDArray[np.bool_], above: float
) -> tuple[float | None, bool]:
    if not known.any() or moisture[known][0] < above:
        return None, True
    below = np.flatnonzero(known & (moisture < above))
    first = _twice(below)
    if first is not None:
        return float(since_h[first]), True
    return float(since_h[known][-1] + 1.0), False


def _twice(below: NDArray[np.int64]) -> int | None:
    """The first of two hours running, so that one stray hour does not end anything."""
    running = np.flatnonzero(np.diff(below) == 1)
    return int(below[running[0]]) if running.size else None


def _dry(
    since_h: Floats,
    moisture: Floats,
    known: NDArray[np.bool_],
    line: float,
    per_h: float | None,
    params: DryingParams,
) -> tuple[float | None, bool]:
    below = np.flatnonzero(known & (moisture < line))
    first = _twice(below)
    if first is not None:
        return float(since_h[first]), True
    if per_h is None:
        return None, False
    wet = moisture[known]
    start, now = float(wet[0]), float(wet[-1])
    if start - line <= 0 or (start - now) / (start - line) < params.least_seen:
        return None, False
    return float(since_h[known][-1] + (now - line) / per_h), False


def daily_losses(
    hour_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    stretches: Sequence[DriedStretch],
    container_capacity_m3_m3: float,
) -> list[tuple[int, float]]:
    """What was lost on each whole day (UTC) that lies within a stretch.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], whole hours without a gap
    moisture_m3_m3 : array, shape (n,) [m³/m³]
    stretches : of these hours
    container_capacity_m3_m3 : float [m³/m³]

    Returns
    -------
    list of (day since 1970, loss [% of container capacity])

    Notes
    -----
    From the first hour of the day to the first of the next. A day with either missing is left out.

    References
    ----------
    None needed: a difference.

    Examples
    --------
    >>> hour_s = np.arange(72.0) * 3600
    >>> one = DriedStretch(0.0, 71 * 3600.0, 72, None, None, None, None, None, None, True, None, False)
    >>> daily_losses(hour_s, 0.5 - 0.001 * np.arange(72), [one], 0.5)
    [(1, 4.8)]
    """
    times, moisture = np.asarray(hour_s, np.float64), np.asarray(moisture_m3_m3, np.float64)
    if not times.size:
        return []
    found = []
    for stretch in stretches:
        first = int(np.ceil((stretch.start_s + 2 * HOUR_S) / DAY_S))
        for day in range(first, int((stretch.end_s + HOUR_S) // DAY_S)):
            at = round((day * DAY_S - times[0]) / HOUR_S)
            if at < 0 or at + DAY_H >= times.size:
                continue
            lost = float(moisture[at] - moisture[at + DAY_H])
            if np.isfinite(lost):
                found.append((day, round(lost / container_capacity_m3_m3 * 100, 6)))
    return found
