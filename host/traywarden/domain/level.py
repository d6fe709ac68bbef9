"""Does a tray stand level? After watering from below, the high end stays drier, again and again."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import special

from traywarden.domain.bootstrap import Interval
from traywarden.domain.levelling import put_level_from
from traywarden.domain.series import FloatArray
from traywarden.domain.signs import Signs, sign_p_value, signs

SURE_P_VALUE = 0.05
LEAST_PCT = 2.0
"""Smaller differences [% of container capacity] do not matter to a seedling (no source)."""
LEVEL_WITHIN_PCT = 5.0
"""Ends that surely differ by less are level for all purposes (no source)."""
CALIBRATION_PCT = 15.0
"""How far two heads calibrated in the same mix may be apart at container capacity [% of it], where no
watering from above tells (no source: twice 0.03 m³/m³ for each of two heads, at a capacity of 0.55)."""
ENOUGH_ABOVE = 4
"""So many waterings from above show by themselves how evenly the hand waters (no source)."""
UNEVEN_HAND_PCT = 7.0
"""How unevenly one watering from above may wet two ends [% of container capacity] (no source)."""
MOST_MORE = 60


class Verdict(StrEnum):
    OUT_OF_LEVEL = "out of level"
    LEVEL = "level"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two that are compared: a head of the tray, or a tray on the base. `end` where it is."""

    name: str
    end: str = ""

    @property
    def where(self) -> str:
        return self.end or self.name


@dataclass(frozen=True, slots=True)
class BothPlateaus:
    """What both sides settled at after one watering [% of the container capacity of their mix]."""

    at_s: float
    from_below: bool
    a_pct: float
    b_pct: float


@dataclass(frozen=True, slots=True)
class Level:
    """How the sides differ after watering from below, beyond what they always differ by.

    `drier` is the side that stays drier, None while nothing can be told. `a_less_b_pct` is a − b [% of
    container capacity] with the uncertainty of the reference in it; `signs` counts waterings by which side
    was drier, against the same reference. `more_waterings`: about how many more from below it takes, if all
    go as before; 0 where it would not help.
    """

    a: Side
    b: Side
    verdict: Verdict
    drier: Side | None
    a_less_b_pct: Interval
    signs: Signs
    waterings: int
    from_above: int
    reference: str
    more_waterings: int
    reason: str
    before: int = 0


def level_of(
    a: Side,
    b: Side,
    plateaus: Sequence[BothPlateaus],
    *,
    same_scale: bool,
    level: float = 0.95,
) -> Level:
    """Judge two sides by what they settled at after waterings.

    Parameters
    ----------
    a, b : the sides
    plateaus : of every watering both sides were measured after
    same_scale : whether both were calibrated in the same mix, so that their container capacity is the same
        number; without it, only waterings from above can say what the heads always differ by
    level : of the interval

    Returns
    -------
    Level

    Notes
    -----
    d = a − b after each watering from below, less the reference: what a − b is when both are wet alike. That
    is the mean a − b after waterings from above, which wet both ends; without one, it is 0 for heads
    calibrated in the same mix. Sensors, depth, pots and plants differ by the same in both, so they cancel; a
    hand that always waters one end more does not, nor does a low end that keeps more water after any
    watering. The sign test asks whether the same side is drier again and again. Its interval of the median of
    d is widened, in quadrature, by how well the reference is known: by a t-interval of the mean of four
    waterings from above or more; of fewer, by one from the scatter of all a − b and at least 7 % over the
    root of their number; by 15 % where it rests on two calibrations. Out of level: sign test below 5 %, that
    interval without 0, and 2 % or more. Level: the interval within ±5 %. Where it was out of level and then
    put level (`put_level_from`), waterings from below before that count no more; those from above do.

    References
    ----------
    Sign test and its interval: Conover 1999, Practical Nonparametric Statistics, 3.2 and 3.4. Signed ranks:
    Wilcoxon 1945. The rule is this project's own.

    Examples
    --------
    >>> below = [BothPlateaus(float(n), True, 88.0 - n % 3, 100.0) for n in range(8)]
    >>> above = [BothPlateaus(9.0 + n, False, 98.0 + n, 100.0) for n in range(3)]
    >>> found = level_of(Side("p/1", "north"), Side("p/2", "south"), below + above, same_scale=True)
    >>> found.verdict.value, found.drier.end, found.signs.below
    ('out of level', 'north', 8)
    """
    known = [p for p in plateaus if np.isfinite(p.a_pct) and np.isfinite(p.b_pct)]
    below = np.array([p.a_pct - p.b_pct for p in known if p.from_below])
    above = np.array([p.a_pct - p.b_pct for p in known if not p.from_below])
    always_pct, unsure_pct, reference = _reference(below, above, same_scale, level)
    if always_pct is None:
        counted = signs(below - (float(np.median(below)) if below.size else 0.0), level)
        blind = Interval(None, None, None, level, below.size, counted.median.method, reference)
        return Level(
            a, b, Verdict.CANNOT_TELL, None, blind, counted, below.size, above.size, "none", 0, reference
        )

    def judged(beyond_pct: FloatArray) -> tuple[Signs, Interval, Verdict]:
        counted = signs(beyond_pct, level)
        wide = _widened(counted.median, unsure_pct)
        return counted, wide, _verdict(counted, wide)

    before = put_level_from(below - always_pct, lambda d: judged(d)[-1] is Verdict.OUT_OF_LEVEL)
    counted, wide, verdict = judged(below[before:] - always_pct)
    drier = None
    if verdict is Verdict.OUT_OF_LEVEL and wide.estimate is not None:
        drier = a if wide.estimate < 0 else b
    more, reason = _what_is_missing(verdict, counted, wide, above.size)
    return Level(
        a, b, verdict, drier, wide, counted, below.size - before, above.size, reference, more, reason, before
    )


def waterings_it_takes(above: int, below: int, most: int = MOST_MORE) -> int:
    """How many more waterings until the sign test can tell, if signs go on falling as they have.

    Parameters
    ----------
    above, below : int, signs so far
    most : int, where to stop looking

    Returns
    -------
    int; 0 where it can tell already, or would not within `most`

    Notes
    -----
    The first number of further waterings for which the larger share, kept as it is and rounded down, makes
    the exact sign test fall below 5 %. A share near a half never does: then there is nothing to see.

    References
    ----------
    As `sign_p_value`.

    Examples
    --------
    >>> waterings_it_takes(3, 0), waterings_it_takes(6, 0), waterings_it_takes(4, 1)
    (3, 0, 10)
    """
    seen, larger = above + below, max(above, below)
    share = larger / seen if seen else 1.0
    for more in range(most + 1):
        number = seen + more
        count = larger + int(more * share + 1e-9)
        if sign_p_value(count, number - count) < SURE_P_VALUE:
            return more
    return 0


def _reference(
    below: FloatArray, above: FloatArray, same_scale: bool, level: float
) -> tuple[float | None, float, str]:
    """What a − b is anyway, how far that may be off, and what it rests on."""
    if above.size:
        enough = above.size >= ENOUGH_ABOVE
        parts = [part for part in ((above,) if enough else (below, above)) if part.size]
        off = np.concatenate([part - part.mean() for part in parts])
        free = max(off.size - len(parts), 1)
        error = float(np.sqrt(off @ off / free))
        half = float(special.stdtrit(free, (1 + level) / 2)) * error
        half = half if enough else max(half, UNEVEN_HAND_PCT)
        words = "one watering" if above.size == 1 else f"{above.size} waterings"
        return float(above.mean()), half / float(np.sqrt(above.size)), f"{words} from above"
    if same_scale:
        return 0.0, CALIBRATION_PCT, "their calibrations in the same mix"
    missing = (
        "nothing tells the two heads apart from the two ends: water from above once or twice, "
        "or calibrate both heads in the mix"
    )
    return None, 0.0, missing


def _widened(median: Interval, unsure_pct: float) -> Interval:
    if median.low is None or median.high is None or median.estimate is None:
        return median
    down = float(np.hypot(median.estimate - median.low, unsure_pct))
    up = float(np.hypot(median.high - median.estimate, unsure_pct))
    return Interval(
        median.estimate,
        median.estimate - down,
        median.estimate + up,
        median.level,
        median.n,
        f"{median.method}, widened by the reference",
    )


def _verdict(counted: Signs, wide: Interval) -> Verdict:
    if wide.low is None or wide.high is None or wide.estimate is None:
        return Verdict.CANNOT_TELL
    apart = wide.low > 0 or wide.high < 0
    if apart and counted.sign_p_value < SURE_P_VALUE and abs(wide.estimate) >= LEAST_PCT:
        return Verdict.OUT_OF_LEVEL
    if wide.low > -LEVEL_WITHIN_PCT and wide.high < LEVEL_WITHIN_PCT:
        return Verdict.LEVEL
    return Verdict.CANNOT_TELL


def _what_is_missing(verdict: Verdict, counted: Signs, wide: Interval, from_above: int) -> tuple[int, str]:
    if verdict is not Verdict.CANNOT_TELL:
        return 0, ""
    if not counted.above + counted.below + counted.zero:
        return waterings_it_takes(0, 0), "no watering from below was seen on both sides"
    if counted.sign_p_value < SURE_P_VALUE:
        if wide.estimate is not None and abs(wide.estimate) < LEAST_PCT:
            return 0, "the same side is drier each time, but by too little to matter"
        how = "a watering or two from above" if from_above < 2 else "more waterings from above"
        return 0, f"the same side is drier each time, but it may be the heads; {how} would settle it"
    more = waterings_it_takes(counted.above, counted.below)
    if more:
        return more, f"about {more} more waterings from below, if they go on as they have"
    return 0, "now one side is drier, now the other: there is no sign of it"
