"""Whether a mix stays wet too long when cool or dries too soon in heat, and what growers do about it."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from traywarden.domain.bootstrap import LEAST_CLUSTERS, RUNS, SEED, Interval
from traywarden.domain.media import coarser_words, finer_words
from traywarden.domain.mix_drying import DriedStretch

Floats = NDArray[np.float64]

LEAST_WATERINGS = 3
"""Fewer tell nothing of a mix (common practice, no source)."""


class Weather(StrEnum):
    COOL = "cool"
    HOT = "hot"


class Finding(StrEnum):
    YES = "yes"
    NO = "no"
    AT_THE_LIMIT = "at the limit"
    UNKNOWN = "cannot tell"


@dataclass(frozen=True, slots=True)
class MixDrying:
    """One stretch, and where it happened."""

    mix: str
    tray: Hashable
    place: str
    drying: DriedStretch


@dataclass(frozen=True, slots=True)
class AdviceLimits:
    """What counts as cool, hot, too long and too soon: common practice, no source."""

    cool_below_c: float = 12.0
    hot_above_c: float = 22.0
    wet_too_long_h: float = 48.0
    dry_within_h: float = 24.0


DEFAULT_LIMITS = AdviceLimits()


@dataclass(frozen=True, slots=True)
class MixAdvice:
    """One question about a mix: whether it holds, the hours behind it, and what to do.

    `hours` are those soaked after a watering (cool) or until the dry line (hot), median with interval;
    `waterings` how many tell it, `open_ended` how many of them ended before it did; `air_temp_c` their mean.
    """

    mix: str
    weather: Weather
    finding: Finding
    hours: Interval
    waterings: int
    open_ended: int
    air_temp_c: float | None
    limit_h: float
    advice: str
    because: str


def median_duration(
    duration_h: ArrayLike,
    ended: ArrayLike,
    clusters: Sequence[Hashable],
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> Interval:
    """Median of durations of which some were still going on when last seen.

    Parameters
    ----------
    duration_h : array, shape (n,) [h]
    ended : bool array, shape (n,); false where it lasted at least so long
    clusters : n labels; durations of one label are drawn together
    level, runs, seed : of the bootstrap

    Returns
    -------
    Interval [h]; an end that lies beyond what was seen is infinity

    Notes
    -----
    The first time at which the Kaplan–Meier curve is at or below one half. Percentile bootstrap over
    clusters, widened for few of them; fewer than three give no interval.

    Raises
    ------
    ValueError if there is not one end and one label for each duration.

    References
    ----------
    Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457; Hesterberg 2015, Am. Stat. 69(4):371.

    Examples
    --------
    >>> found = median_duration([10, 20, 30, 40], [True, True, True, False], ["a", "b", "c", "d"])
    >>> found.estimate, found.n
    (20.0, 4)
    """
    times, over = np.asarray(duration_h, np.float64), np.asarray(ended, np.bool_)
    if times.shape != over.shape or times.size != len(clusters):
        raise ValueError("one end and one cluster label are needed for each duration")
    labels = list(dict.fromkeys(clusters))
    method = f"Kaplan–Meier; bootstrap over {len(labels)} trays, {runs} runs"
    if not times.size:
        return Interval(None, None, None, level, 0, method, "no watering tells it")
    middle = _km_median(times, over, np.ones((1, times.size)))[0]
    n = len(labels)
    if n < LEAST_CLUSTERS:
        reason = f"{n} of the {LEAST_CLUSTERS} trays an interval needs"
        return Interval(float(middle), None, None, level, times.size, method, reason)
    where = np.array([labels.index(label) for label in clusters])
    draws = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=runs)
    medians = np.sort(_km_median(times, over, draws[:, where].astype(np.float64)))
    tail = float(special.ndtr(-np.sqrt(n / (n - 1)) * special.stdtrit(n - 1, 0.5 + level / 2)))
    # Ranks rather than quantiles: between a number and infinity there is nothing.
    low, high = medians[int(tail * (runs - 1))], medians[int(np.ceil((1 - tail) * (runs - 1)))]
    return Interval(float(middle), float(low), float(high), level, times.size, method)


def advise(
    stretches: Sequence[MixDrying], mix: str, limits: AdviceLimits = AdviceLimits()
) -> list[MixAdvice]:
    """What the stretches of one mix say of it in cool and in hot weather.

    Parameters
    ----------
    stretches : of any mixes; others than `mix` are passed over
    mix : str
    limits : what counts as cool, hot, too long, too soon

    Returns
    -------
    list of MixAdvice, cool first

    Notes
    -----
    Cool: stretches whose mean air is below `cool_below_c`; hours soaked after the watering, against
    `wet_too_long_h`. Hot: mean air at or above `hot_above_c`; hours from the watering to the dry line,
    against `dry_within_h`. Yes or no where the whole interval lies on one side of the limit; at the limit
    where it holds it; without an interval the median decides.

    References
    ----------
    What growers do (perlite or a coarser grade against wet, compost or coir against dry): common practice, no
    source. What coarse and fine media hold: see `media`.

    Examples
    --------
    >>> cold = DriedStretch(0, 3e5, 80, 0.2, None, None, 90.0, 8.0, 70.0, True, None, False)
    >>> [wet, hot] = advise([MixDrying("peat", t, "bench", cold) for t in "abc"], "peat")
    >>> str(wet.finding), wet.hours.estimate, str(hot.finding)
    ('yes', 70.0, 'cannot tell')
    """
    mine = [s for s in stretches if s.mix == mix and s.drying.air_temp_c is not None]
    cool = [
        s
        for s in mine
        if (s.drying.air_temp_c or 0.0) < limits.cool_below_c and s.drying.soaked_h is not None
    ]
    hot = [
        s for s in mine if (s.drying.air_temp_c or 0.0) >= limits.hot_above_c and s.drying.dry_h is not None
    ]
    return [_cool(mix, cool, limits), _hot(mix, hot, limits)]


def _cool(mix: str, stretches: Sequence[MixDrying], limits: AdviceLimits) -> MixAdvice:
    hours = median_duration(
        [s.drying.soaked_h or 0.0 for s in stretches],
        [s.drying.soaked_over for s in stretches],
        [s.tray for s in stretches],
    )
    finding = _finding(hours, limits.wet_too_long_h, above=True)
    advice = ""
    if finding is Finding.YES:
        advice = "more perlite, or a coarser grade of what is in it, for cool weeks"
    elif finding is Finding.AT_THE_LIMIT:
        advice = "water less often in cool weeks before changing the mix"
    return _told(mix, Weather.COOL, finding, hours, stretches, limits.wet_too_long_h, advice, coarser_words())


def _hot(mix: str, stretches: Sequence[MixDrying], limits: AdviceLimits) -> MixAdvice:
    hours = median_duration(
        [s.drying.dry_h or 0.0 for s in stretches], [True] * len(stretches), [s.tray for s in stretches]
    )
    finding = _finding(hours, limits.dry_within_h, above=False)
    advice = ""
    if finding is Finding.YES:
        advice = "more compost or coir for hot weeks, or shade over the trays"
    elif finding is Finding.AT_THE_LIMIT:
        advice = "shade the trays in heat before changing the mix"
    return _told(mix, Weather.HOT, finding, hours, stretches, limits.dry_within_h, advice, finer_words())


def _finding(hours: Interval, limit_h: float, *, above: bool) -> Finding:
    if hours.estimate is None or hours.n < LEAST_WATERINGS:
        return Finding.UNKNOWN
    low, high = hours.low, hours.high
    if low is None or high is None:
        low = high = hours.estimate
    if low > limit_h:
        return Finding.YES if above else Finding.NO
    if high < limit_h:
        return Finding.NO if above else Finding.YES
    return Finding.AT_THE_LIMIT


def _told(
    mix: str,
    weather: Weather,
    finding: Finding,
    hours: Interval,
    stretches: Sequence[MixDrying],
    limit_h: float,
    advice: str,
    because: str,
) -> MixAdvice:
    warmth = [s.drying.air_temp_c for s in stretches if s.drying.air_temp_c is not None]
    going_on = [not s.drying.soaked_over if weather is Weather.COOL else False for s in stretches]
    return MixAdvice(
        mix,
        weather,
        finding,
        hours,
        len(stretches),
        sum(going_on),
        float(np.mean(warmth)) if warmth else None,
        limit_h,
        advice,
        because if advice else "",
    )


def _km_median(times: Floats, ended: NDArray[np.bool_], weights: Floats) -> Floats:
    """The median for each row of weights; infinity where the curve never comes down to one half."""
    order = np.lexsort((~ended, times))  # at one time those that ended come first
    when, over, weight = times[order], ended[order], weights[:, order]
    at_risk = np.cumsum(weight[:, ::-1], axis=1)[:, ::-1]
    left = np.where(over & (weight > 0), 1 - weight / np.maximum(at_risk, 1e-12), 1.0)
    curve = np.cumprod(left, axis=1)
    half = curve <= 0.5 + 1e-9
    first = np.argmax(half, axis=1)
    return np.where(half.any(axis=1), when[first], np.inf)
