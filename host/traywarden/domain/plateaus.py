"""Drained plateaus: what a head comes back to after waterings, and what that says of container capacity.

A thorough watering fills the mix; what is free runs out within minutes, and container capacity is left. So
the plateaus of thorough waterings lie together at the top, and those of skimpy ones scatter below.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from traywarden.domain.bootstrap import Interval
from traywarden.domain.trend import Trend, trend
from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Wetting

Floats = NDArray[np.float64]

WEEK_S = 7 * DAY_S


@dataclass(frozen=True, slots=True)
class PlateauParams:
    """What counts as a plateau, and how many of them say something. No source where none is named."""

    from_s: float = HOUR_S
    """A plateau begins this long after the peak: free water drains within 10–15 min of saturation
    (drainage-pot method, Purdue Univ.), and fourfold that is safe (no source for the factor)."""
    until_s: float = 6 * HOUR_S
    least_span_s: float = 2 * HOUR_S
    least_points: int = 3
    same_m3_m3: float = 0.015
    """Plateaus this close to a level belong to it: a few times the noise of a head and of its temperature."""
    least_thorough: int = 3
    """Fewer plateaus at one level do not show container capacity."""
    least_share: float = 1 / 3
    """Part of all plateaus that must lie at the top level, unless as many visibly drained."""
    drained_m3_m3: float = 0.01
    """A fall from the peak to the plateau that shows free water running out."""
    least_half_m3_m3: float = 0.006
    """No interval is narrower to either side: what an hour of drying, or a few degrees, do to a plateau."""
    least_half_warm_m3_m3: float = 0.015
    """… where the temperature effect is left in: 0.002 a degree, and mix 7 °C off when it is watered."""
    drift_least: int = 6
    drift_least_s: float = 21 * DAY_S
    """So many plateaus over so long tell a drift from chance."""
    most_drift_m3_m3: float = 0.02
    """In four weeks; more, and the readings mislead: the width of a dry line."""
    fastest_drift_m3_m3_per_s: float = 0.01 / WEEK_S


DEFAULT_PARAMS = PlateauParams()


@dataclass(frozen=True, slots=True)
class Plateau:
    """Where moisture settled after one wetting; `fell_m3_m3` from the peak to it."""

    at_s: float
    m3_m3: float
    fell_m3_m3: float
    n: int


@dataclass(frozen=True, slots=True)
class Capacity:
    """Container capacity as a head shows it [m³/m³], with its interval; None with a `reason`.

    `thorough`: the plateaus it rests on. `drift` is the trend of those plateaus; None where too few.
    """

    m3_m3: Interval
    plateaus: tuple[Plateau, ...]
    thorough: tuple[Plateau, ...]
    drift: Trend | None
    reason: str

    @property
    def told(self) -> bool:
        return self.m3_m3.low is not None


def plateaus(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    wettings: Sequence[Wetting],
    params: PlateauParams = DEFAULT_PARAMS,
) -> list[Plateau]:
    """The drained plateau after each wetting that was left alone for long enough.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending; single readings or hours
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing, frozen or out of the question
    wettings : as `find_wettings` gave them
    params : when a plateau begins and ends, and how much of it must be known

    Returns
    -------
    list of Plateau, oldest first

    Notes
    -----
    Readings from `from_s` to `until_s` after the peak, or to the next wetting. The level is that of the
    Theil–Sen line at the plateau's beginning, so that what evaporates in the hours after it does not count.
    Wettings that only a gap shows have no peak and give no plateau.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    Container capacity as the water left after drainage: Int. J. Agronomy 2012, 978528, footnotes of Table 1.

    Examples
    --------
    >>> from traywarden.domain.waterings import find_wettings
    >>> time_s = np.arange(0, 43200, 600.0)
    >>> wet = np.where(time_s < 7200, 0.30, 0.50)
    >>> [p] = plateaus(time_s, wet, find_wettings(time_s, wet))
    >>> p.m3_m3
    0.5
    """
    times, moisture = np.asarray(time_s, np.float64), np.asarray(moisture_m3_m3, np.float64)
    if times.shape != moisture.shape or times.ndim != 1:
        raise ValueError("time and moisture must be one-dimensional and equally long")
    known = np.isfinite(moisture)
    times, moisture = times[known], moisture[known]
    ordered = sorted(wettings, key=lambda w: w.onset_s)
    found = []
    for number, wetting in enumerate(ordered, 1):
        next_s = ordered[number].onset_s if number < len(ordered) else np.inf
        if wetting.over_gap:
            continue
        begins_s = wetting.peak_s + params.from_s
        ends_s = min(wetting.peak_s + params.until_s, next_s)
        first, last = np.searchsorted(times, [begins_s, ends_s + 1e-6])
        inside = slice(int(first), int(last))
        if last - first < params.least_points or np.ptp(times[inside]) < params.least_span_s:
            continue
        line = trend(times[inside], moisture[inside])
        assert line is not None
        level = line.at(begins_s)
        found.append(Plateau(begins_s, level, wetting.after_m3_m3 - level, int(last - first)))
    return found


def learned_capacity(
    found: Sequence[Plateau],
    params: PlateauParams = DEFAULT_PARAMS,
    *,
    at_20_c: bool = True,
    level: float = 0.95,
) -> Capacity:
    """Container capacity from the plateaus of one head in one mix under one calibration.

    Parameters
    ----------
    found : plateaus, any order
    params : what lies together, and how many are enough
    at_20_c : whether the temperature effect has been taken out of the plateaus
    level : float, 0 … 1

    Returns
    -------
    Capacity [m³/m³]

    Notes
    -----
    The level (with a drift in time, where there are plateaus enough over weeks) that most plateaus lie close
    to, looked for among the upper half of them: skimpy waterings scatter below and do not pull it down, and
    a head that stood in water does not pull it up. It counts when at least three plateaus, and a third of
    all, lie there, or when as many visibly drained. Mean of those, with a t-interval that is never
    narrower than `least_half_m3_m3` (`least_half_warm_m3_m3` with the temperature effect left in); it tells
    how well the level is known, not how well the head is calibrated.

    References
    ----------
    Student's t for the mean; Theil–Sen for the drift (Sen 1968). The choice of the level is this project's.

    Examples
    --------
    >>> levels = [0.548, 0.40, 0.551, 0.553, 0.47, 0.549, 0.552]
    >>> made = learned_capacity([Plateau(n * 2e5, v, 0.02, 9) for n, v in enumerate(levels)])
    >>> round(made.m3_m3.estimate, 3), len(made.thorough), made.told
    (0.551, 5, True)
    """
    ordered = sorted(found, key=lambda p: p.at_s)
    if len(ordered) < params.least_thorough:
        return _untold(ordered, f"{len(ordered)} of the {params.least_thorough} drained plateaus it takes")
    times = np.array([p.at_s for p in ordered])
    levels = np.array([p.m3_m3 for p in ordered])
    members = _top_level(times, levels, params)
    thorough = [p for p, inside in zip(ordered, members, strict=True) if inside]
    drained = sum(p.fell_m3_m3 >= params.drained_m3_m3 for p in thorough)
    enough = max(params.least_thorough, params.least_share * len(ordered))
    if len(thorough) < params.least_thorough or (len(thorough) < enough and drained < params.least_thorough):
        return _untold(
            ordered,
            f"{len(ordered)} waterings came back to no one level: few of them were thorough, it seems",
        )
    values = np.array([p.m3_m3 for p in thorough])
    drift = _drift(thorough, params)
    if drift is not None:
        values = values - drift.per_s * (np.array([p.at_s for p in thorough]) - drift.middle_s)
    mean, n = float(values.mean()), values.size
    half = float(special.stdtrit(n - 1, 0.5 + level / 2) * values.std(ddof=1) / np.sqrt(n))
    half = max(half, params.least_half_m3_m3 if at_20_c else params.least_half_warm_m3_m3)
    interval = Interval(mean, mean - half, mean + half, level, n, f"t-interval of {n} plateaus")
    return Capacity(interval, tuple(ordered), tuple(thorough), drift, "")


def drifts(capacity: Capacity, params: PlateauParams = DEFAULT_PARAMS) -> bool:
    """Whether the plateaus move beyond chance and by more than readings may be off."""
    drift = capacity.drift
    if drift is None or drift.low_per_s is None or drift.high_per_s is None:
        return False
    beyond = drift.low_per_s > 0 or drift.high_per_s < 0
    return beyond and abs(drift.per_s) * 4 * WEEK_S > params.most_drift_m3_m3


def pooled_capacity(
    heads: Sequence[Capacity], params: PlateauParams = DEFAULT_PARAMS, *, level: float = 0.95
) -> Interval:
    """Container capacity of a mix from the heads that sit in it.

    Parameters
    ----------
    heads : what each head shows; those that show nothing, or drift, are left out
    params : when a head drifts
    level : float, 0 … 1

    Returns
    -------
    Interval [m³/m³]

    Notes
    -----
    Each head counts once: they differ by their calibrations and by how the trays were filled, not by how
    often they were watered. From three heads on a t-interval of the heads' levels; of two their range; of one
    its own interval, which knows nothing of how heads differ. Never narrower than `least_half_m3_m3`: what an
    hour of drying takes from a plateau it takes from all of them.

    References
    ----------
    Student's t.

    Examples
    --------
    >>> one = [learned_capacity([Plateau(n * 2e5, v, 0.02, 9) for n in range(5)]) for v in (0.53, 0.55, 0.54)]
    >>> made = pooled_capacity(one)
    >>> round(made.estimate, 2), made.n
    (0.54, 3)
    """
    told = [head for head in heads if head.told and not drifts(head, params)]
    values = np.array([head.m3_m3.estimate for head in told], np.float64)
    n = values.size
    if n == 0:
        return Interval(None, None, None, level, 0, "", "no head shows it yet")
    mean = float(values.mean())
    if n == 1:
        own = told[0].m3_m3
        return Interval(
            mean, own.low, own.high, level, 1, "one head alone", "one head: how heads differ is not known"
        )
    if n == 2:
        spread, method, reason = float(np.ptp(values)) / 2, "range of two heads", "two heads: their range"
    else:
        spread = float(special.stdtrit(n - 1, 0.5 + level / 2) * values.std(ddof=1) / np.sqrt(n))
        method, reason = f"t-interval of {n} heads", ""
    half = max(spread, params.least_half_m3_m3)
    return Interval(mean, mean - half, mean + half, level, n, method, reason)


def _top_level(times: Floats, levels: Floats, params: PlateauParams) -> NDArray[np.bool_]:
    """Which plateaus lie at the level, level or slanting, that most of the upper ones share."""
    slopes = np.zeros(1)
    if levels.size >= params.drift_least and np.ptp(times) >= params.drift_least_s:
        # Steps so fine that two plateaus at either end move by no more than half of what counts as the same.
        step = params.same_m3_m3 / np.ptp(times)
        count = int(params.fastest_drift_m3_m3_per_s / step)
        slopes = step * np.array(sorted(range(-count, count + 1), key=abs))
    best, best_score = np.zeros(levels.size, np.bool_), -np.inf
    middle_s = float(np.median(times))
    for slope in slopes:
        flat = levels - slope * (times - middle_s)
        upper = np.median(flat) - params.same_m3_m3
        near = np.abs(flat[:, None] - flat[None, :]) <= params.same_m3_m3
        near &= (flat >= upper)[:, None]
        counts = near.sum(axis=1)
        # Of levels with as many, the one whose plateaus lie closer together; a slant must gain a plateau.
        scatter = (np.abs(flat[:, None] - flat[None, :]) * near).sum(axis=1) / np.maximum(counts, 1)
        scores = counts - scatter / params.same_m3_m3 - (0.75 if slope != 0 else 0.0)
        at = int(np.argmax(scores))
        if scores[at] > best_score + 1e-9:
            best, best_score = near[at], float(scores[at])
    return best


def _drift(thorough: Sequence[Plateau], params: PlateauParams) -> Trend | None:
    times = [p.at_s for p in thorough]
    if len(thorough) < params.drift_least or times[-1] - times[0] < params.drift_least_s:
        return None
    return trend(times, [p.m3_m3 for p in thorough])


def _untold(ordered: Sequence[Plateau], reason: str) -> Capacity:
    none = Interval(None, None, None, 0.95, len(ordered), "", reason)
    return Capacity(none, tuple(ordered), (), None, reason)
