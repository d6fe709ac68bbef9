"""Intervals by resampling: of a mean of neighbours that resemble each other, of a median of clusters."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

RUNS = 2000
SEED = 1998
LEAST_CLUSTERS = 3
"""Fewer trays than this say nothing about how trays differ (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its interval; `low` and `high` None where too little is known, `reason` says why."""

    estimate: float | None
    low: float | None
    high: float | None
    level: float
    n: int
    method: str
    reason: str = ""


def block_length_for(n: int) -> int:
    """Block length for n neighbouring values: the cube root of n, rounded up.

    Parameters
    ----------
    n : int, number of values in order

    Returns
    -------
    int, 1 … n

    Notes
    -----
    The best length for the variance of a mean grows as n^(1/3); its factor depends on the series, 1 is usual.

    References
    ----------
    Hall, Horowitz & Jing 1995, Biometrika 82(3):561.

    Examples
    --------
    >>> block_length_for(7), block_length_for(30)
    (2, 4)
    """
    return max(1, min(n, int(np.ceil(round(n ** (1 / 3), 9)))))


def mean_interval(
    values: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    block_length: int | None = None,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
    expanded: bool = True,
) -> Interval:
    """Mean of a series in time, with a moving-block bootstrap interval.

    Parameters
    ----------
    values : array, shape (n,), in time order at even steps; NaN where a step is missing
    weights : array, shape (n,), not negative; how much each value counts, by default all alike
    block_length : int, values per block; None: `block_length_for(n)`
    level : float, 0 … 1
    runs : int, resamples
    seed : int; the same seed gives the same interval
    expanded : widen for few values

    Returns
    -------
    Interval in the unit of the values

    Notes
    -----
    Blocks of neighbours are drawn with replacement and wrap round the end, so that every value is drawn
    equally often and the resampled means centre on the mean. Missing steps keep their place in a block and
    are left out of each mean. Percentile interval; `expanded` takes it at the quantiles that a t-interval of
    as many values as there are blocks would reach, since plain percentiles are too narrow for a week of
    days. Even so, a 95 % interval held the truth in 77 % of simulated weeks (7 values, neighbours correlated
    0.5), 86 % of fortnights and 88 % at 60 values. Fewer than three values give no interval.

    Raises
    ------
    ValueError if values are not one-dimensional or the block length is not 1 … n.

    References
    ----------
    Künsch 1989, Ann. Stat. 17:1217 (moving blocks); Politis & Romano 1992 (wrapped);
    Hesterberg 2015, Am. Stat. 69(4):371 (expanded percentile interval).

    Examples
    --------
    >>> week = mean_interval([3.0, 3.4, 2.8, 3.1, 3.3, 2.9, 3.2])
    >>> round(week.estimate, 2), week.low < 3.1 < week.high, week.method
    (3.1, True, 'moving-block bootstrap, blocks of 2, 2000 runs')
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        raise ValueError("values must be one-dimensional")
    weight = np.ones(series.size) if weights is None else np.asarray(weights, dtype=np.float64)
    if weight.shape != series.shape:
        raise ValueError("one weight is needed for each value")
    weight = np.where(np.isfinite(series), weight, 0.0)
    series = np.where(weight > 0, series, 0.0)
    known = int((weight > 0).sum())
    length = block_length_for(series.size) if block_length is None else block_length
    method = f"moving-block bootstrap, blocks of {length}, {runs} runs"
    estimate = float(series @ weight / weight.sum()) if known else None
    if known < 3:
        return Interval(estimate, None, None, level, known, method, f"only {known} values: too few to say")
    if not 1 <= length <= series.size:
        raise ValueError(f"block length {length} does not fit {series.size} values")
    means = _block_means(series, weight, length, runs, np.random.default_rng(seed))
    low, high = _percentiles(means, level, -(-known // length) if expanded else None)
    return Interval(estimate, low, high, level, known, method)


def median_interval(
    values: ArrayLike,
    clusters: Sequence[Hashable],
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> Interval:
    """Median of values that come in clusters (several stretches of one tray), with a bootstrap interval.

    Parameters
    ----------
    values : array, shape (n,); NaN values are left out
    clusters : sequence of n labels; values of one label are drawn together
    level, runs, seed : as in `mean_interval`

    Returns
    -------
    Interval in the unit of the values

    Notes
    -----
    Whole clusters are drawn with replacement, as many as there are; the median is that of all their values.
    Percentile interval. Fewer than three clusters give no interval.

    Raises
    ------
    ValueError if there is not one label for each value.

    References
    ----------
    Davison & Hinkley 1997, Bootstrap Methods and their Application (hierarchical data).

    Examples
    --------
    >>> trays = median_interval([2.0, 2.1, 3.0, 2.5, 2.4], ["a", "a", "b", "c", "c"])
    >>> trays.estimate, trays.method
    (2.4, 'bootstrap over 3 clusters, 2000 runs')
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1 or series.size != len(clusters):
        raise ValueError("one cluster label is needed for each value")
    groups: dict[Hashable, list[float]] = {}
    for value, label in zip(series.tolist(), clusters, strict=True):
        if np.isfinite(value):
            groups.setdefault(label, []).append(value)
    known = sum(len(g) for g in groups.values())
    method = f"bootstrap over {len(groups)} clusters, {runs} runs"
    estimate = float(np.nanmedian(series)) if known else None
    if len(groups) < LEAST_CLUSTERS:
        reason = f"{len(groups)} of the {LEAST_CLUSTERS} trays an interval needs"
        return Interval(estimate, None, None, level, known, method, reason)
    rng = np.random.default_rng(seed)
    draws = rng.integers(0, len(groups), size=(runs, len(groups)))
    low, high = _percentiles(_medians_of(list(groups.values()), draws), level, None)
    return Interval(estimate, low, high, level, known, method)


def _medians_of(groups: Sequence[Sequence[float]], draws: NDArray[np.int64]) -> Floats:
    """The median of all values of the groups drawn, for each draw; a group drawn twice counts twice."""
    runs, size = draws.shape
    values = np.concatenate([np.asarray(group) for group in groups])
    order = np.argsort(values, kind="stable")
    values, owner = values[order], np.repeat(np.arange(size), [len(group) for group in groups])[order]
    upto = np.cumsum(owner[:, None] == np.arange(size), axis=0)  # values of each group up to each value
    times = np.zeros((runs, size), np.int64)
    np.add.at(times, (np.arange(runs)[:, None], draws), 1)
    total = times @ upto[-1]
    halves = [values[_first_with(upto, times, rank)] for rank in ((total + 1) // 2, total // 2 + 1)]
    return np.asarray((halves[0] + halves[1]) / 2)


def _first_with(
    upto: NDArray[np.int64], times: NDArray[np.int64], rank: NDArray[np.int64]
) -> NDArray[np.int64]:
    """For each draw the first value up to which it has so many; by halving, all draws at once."""
    low, high = np.zeros(rank.size, np.int64), np.full(rank.size, upto.shape[0] - 1)
    while (low < high).any():
        middle = (low + high) // 2
        enough = (upto[middle] * times).sum(axis=1) >= rank
        low, high = np.where(enough, low, middle + 1), np.where(enough, middle, high)
    return low


def _block_means(series: Floats, weight: Floats, length: int, runs: int, rng: np.random.Generator) -> Floats:
    n = series.size
    blocks = -(-n // length)
    starts = rng.integers(0, n, size=(runs, blocks))
    # A block's sum is the difference of two running sums over the values laid out twice; the last one is cut.
    lengths = np.full(blocks, length)
    lengths[-1] = n - (blocks - 1) * length
    columns = (series * weight, weight, (weight > 0).astype(np.float64))
    running = [np.concatenate(([0.0], np.cumsum(np.tile(each, 2)))) for each in columns]
    sums, totals, known = ((each[starts + lengths] - each[starts]).sum(axis=1) for each in running)
    return np.asarray(sums[known > 0] / totals[known > 0])


def _percentiles(draws: Floats, level: float, n: int | None) -> tuple[float, float]:
    tail = (1 - level) / 2
    if n is not None and n > 1:
        # scipy.special, as loading scipy.stats takes every command a second
        tail = float(special.ndtr(-np.sqrt(n / (n - 1)) * special.stdtrit(n - 1, 1 - tail)))
    low, high = np.quantile(draws, [tail, 1 - tail])
    return float(low), float(high)
