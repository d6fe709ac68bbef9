"""Heads that are not where they should be: pulled out of the mix, in water, swapped between two trays."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from traywarden.domain.series import FloatArray, IntArray
from traywarden.domain.units import HOUR_S


@dataclass(frozen=True, slots=True)
class MisplacedParams:
    """What counts as a sudden change. No published source was found for any of these: common practice."""

    sudden_s: float = HOUR_S
    """The change happens within this time, or from one reading to the next where they lie farther apart."""
    longest_gap_s: float = 6 * HOUR_S
    """Over a longer gap nobody can say that a change was sudden."""
    least_fall_m3_m3: float = 0.10
    """A head in the air loses more than this at once; a mix in full sun and wind loses it in hours."""
    least_fall_part: float = 0.4
    """… and at least this part of what it read before."""
    stays_s: float = 2 * HOUR_S
    """It stays so for this long, so that one odd reading is no trouble."""
    back_part: float = 0.5
    """The head is back in the mix when it has regained this part of what it lost."""
    above_capacity_m3_m3: float = 0.05
    """In water a head reads at least this far above container capacity …"""
    above_capacity_part: float = 0.15
    """… and this part of it: freshly watered mix stands above capacity too, but drains."""
    undrained_s: float = 6 * HOUR_S
    """Free water drains within 10–15 min of saturation (drainage-pot method, Purdue Univ.), a slow mix within
    an hour or two: after this long it stands in water."""
    least_apart_m3_m3: float = 0.08
    """Two heads closer than this cannot be told apart by their moisture."""
    alike_part: float = 0.25
    """After a swap each is this close to where the other was, as a part of how far apart they were."""
    around_s: float = 3 * HOUR_S
    """Medians before and after a swap are taken over this long."""


DEFAULT_MISPLACED = MisplacedParams()


@dataclass(frozen=True, slots=True)
class Misplaced:
    """A stretch [s since 1970] in which a head was elsewhere; readings [m³/m³] before and after it began.

    `end_s` is that of the last reading in the stretch; `lasting` where no later reading shows it ended.
    """

    start_s: float
    end_s: float
    lasting: bool
    before_m3_m3: float
    after_m3_m3: float

    def back_m3_m3(self, params: MisplacedParams = DEFAULT_MISPLACED) -> float:
        """From here up [m³/m³] a head that was pulled out counts as back in its mix."""
        return self.after_m3_m3 + params.back_part * (self.before_m3_m3 - self.after_m3_m3)


@dataclass(frozen=True, slots=True)
class Swap:
    """Two heads that changed places: labels, the instant [s], and what both read before [m³/m³]."""

    a: str
    b: str
    at_s: float
    a_before_m3_m3: float
    b_before_m3_m3: float


def pulled_out(
    time_s: FloatArray,
    moisture_m3_m3: FloatArray,
    dry_line_m3_m3: float,
    params: MisplacedParams = DEFAULT_MISPLACED,
) -> list[Misplaced]:
    """Stretches in which a head was out of its mix: its moisture fell at once, too far to be drying.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    moisture_m3_m3 : array, shape (n,) [m³/m³]
        Left-out readings as NaN; they are passed over.
    dry_line_m3_m3 : float [m³/m³]
        Of the mix; a fall that ends above it may be a wet mix draining.
    params : MisplacedParams

    Returns
    -------
    list of Misplaced, oldest first

    Notes
    -----
    A head that sat in mix drier than `least_fall_m3_m3` cannot be told from one in the air. Put back, it
    rises at once, which looks like a watering; `end_s` says when.

    References
    ----------
    No publication gives limits for this; see MisplacedParams.

    Examples
    --------
    >>> wet = np.array([0.40, 0.40, 0.39, 0.01, 0.01, 0.02, 0.01, 0.01, 0.38])
    >>> [(m.start_s, m.end_s) for m in pulled_out(np.arange(9) * 1800.0, wet, 0.25)]
    [(5400.0, 12600.0)]
    """
    times, wet = _known(time_s, moisture_m3_m3)
    found: list[Misplaced] = []
    free_s = -np.inf
    for here in _falls(times, wet, params).tolist():
        before, fallen = _before(times, wet, here, params), float(wet[here])
        fall = before - fallen
        if times[here] <= free_s or fall < max(params.least_fall_m3_m3, params.least_fall_part * before):
            continue
        if fallen >= dry_line_m3_m3 or not _stays_below(times, wet, here, params, before - 0.7 * fall):
            continue
        back = np.flatnonzero(wet[here:] >= fallen + params.back_part * fall)
        end = here + int(back[0]) if back.size else times.size
        free_s = float(times[end - 1])
        found.append(Misplaced(float(times[here]), free_s, end == times.size, before, fallen))
    return found


def in_water(
    time_s: FloatArray,
    moisture_m3_m3: FloatArray,
    container_capacity_m3_m3: float,
    params: MisplacedParams = DEFAULT_MISPLACED,
) -> list[Misplaced]:
    """Stretches in which a head read wetter than drained mix can be, for longer than draining takes.

    Parameters
    ----------
    time_s, moisture_m3_m3 : as in `pulled_out`
    container_capacity_m3_m3 : float [m³/m³]
    params : MisplacedParams

    Returns
    -------
    list of Misplaced, oldest first

    Notes
    -----
    The readings cannot tell whether the head fell into water or the whole tray stands in it. Where
    container capacity was set too low, every watering looks like this.

    References
    ----------
    Draining within 10–15 min: drainage-pot method, Purdue Univ., https://purdue.edu/hla/sites/cea/?p=2120.
    """
    times, wet = _known(time_s, moisture_m3_m3)
    rise = max(params.above_capacity_m3_m3, params.above_capacity_part * container_capacity_m3_m3)
    over = wet > container_capacity_m3_m3 + rise
    edges = np.flatnonzero(np.diff(np.concatenate([[False], over, [False]]).astype(np.int8)))
    found = []
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        gaps = np.diff(times[first:after])
        if times[after - 1] - times[first] < params.undrained_s or (gaps > params.longest_gap_s).any():
            continue
        before = float(wet[first - 1]) if first else float("nan")
        ends_s = float(times[after - 1])
        found.append(Misplaced(float(times[first]), ends_s, after == times.size, before, float(wet[first])))
    return found


def swaps(
    heads: Mapping[str, tuple[FloatArray, FloatArray]], params: MisplacedParams = DEFAULT_MISPLACED
) -> list[Swap]:
    """Pairs of heads that changed places: each goes on where the other was, at the same time.

    Parameters
    ----------
    heads : mapping of label → (time_s [s], ascending, moisture [m³/m³])
        Left-out readings as NaN.
    params : MisplacedParams

    Returns
    -------
    list of Swap, oldest first

    Notes
    -----
    One of the two must fall: water can bring one tray up to another's level, but nothing takes it away at
    once. Two heads that read alike can be swapped unseen, and do no harm until they part.

    References
    ----------
    No publication gives limits for this; see MisplacedParams.
    """
    known = {label: _known(*pair) for label, pair in heads.items()}
    falls = {label: set(t[_falls(t, w, params)].tolist()) for label, (t, w) in known.items()}
    found: dict[tuple[str, str], list[Swap]] = {}
    for a, b in combinations(sorted(known), 2):
        for at_s in sorted(falls[a] | falls[b]):
            earlier = found.get((a, b), [])
            if earlier and at_s - earlier[-1].at_s < params.around_s:
                continue
            if swap := _swap(a, known[a], b, known[b], at_s, params):
                found.setdefault((a, b), []).append(swap)
    return sorted((s for each in found.values() for s in each), key=lambda s: s.at_s)


def _swap(
    a: str,
    of_a: tuple[FloatArray, FloatArray],
    b: str,
    of_b: tuple[FloatArray, FloatArray],
    at_s: float,
    params: MisplacedParams,
) -> Swap | None:
    a_before, a_after = _around(*of_a, at_s, params)
    b_before, b_after = _around(*of_b, at_s, params)
    apart = abs(a_before - b_before)
    if not apart >= params.least_apart_m3_m3:  # also where nothing was measured
        return None
    like = params.alike_part * apart
    if not (abs(a_after - b_before) <= like and abs(b_after - a_before) <= like):
        return None
    return Swap(a, b, at_s, a_before, b_before)


def _around(times: FloatArray, wet: FloatArray, at_s: float, params: MisplacedParams) -> tuple[float, float]:
    """Medians of the hours before and after; NaN where fewer than two readings tell.

    Hands are at it for some minutes, so readings within `sudden_s` of the instant count on neither side.
    """
    off_s = np.abs(times - at_s)
    counted = (off_s >= params.sudden_s) & (off_s <= params.sudden_s + params.around_s)
    sides = [wet[counted & (times < at_s)], wet[counted & (times > at_s)]]
    before, after = (float(np.median(side)) if side.size >= 2 else float("nan") for side in sides)
    return before, after


def _known(time_s: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    kept = ~np.isnan(values)
    return time_s[kept], values[kept]


def _falls(times: FloatArray, wet: FloatArray, params: MisplacedParams) -> IntArray:
    """Readings that lie at least half of the least fall below the one before, not over a long gap."""
    if times.size < 2:
        return np.empty(0, np.int64)
    least = min(params.least_fall_m3_m3, params.least_apart_m3_m3) / 2
    return np.flatnonzero((np.diff(times) <= params.longest_gap_s) & (np.diff(wet) <= -least)) + 1


def _before(times: FloatArray, wet: FloatArray, here: int, params: MisplacedParams) -> float:
    """The highest reading of the last `sudden_s`, or else the one before."""
    first = min(int(np.searchsorted(times, times[here] - params.sudden_s)), here - 1)
    return float(wet[first:here].max())


def _stays_below(
    times: FloatArray, wet: FloatArray, here: int, params: MisplacedParams, level_m3_m3: float
) -> bool:
    """Whether two thirds of the readings of the next hours, and two at least, are below the level."""
    part = wet[here : int(np.searchsorted(times, times[here] + params.stays_s, side="right"))]
    return part.size >= 2 and bool((part <= level_m3_m3).mean() >= 2 / 3)
