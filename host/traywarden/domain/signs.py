"""The same way again and again: the sign test, the signed-rank test and the interval of a median, exact."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from traywarden.domain.bootstrap import Interval
from traywarden.domain.series import FloatArray

MOST_PAIRS = 200
"""More differences than this are not ranked exactly, but the newest so many: habit, not history, is asked."""


@dataclass(frozen=True, slots=True)
class Signs:
    """How often differences were above and below zero, and how likely that is by chance (two-sided)."""

    above: int
    below: int
    zero: int
    sign_p_value: float
    rank_p_value: float
    median: Interval


def sign_p_value(above: int, below: int) -> float:
    """Chance that signs fall at least as unevenly, when each is as likely up as down.

    Parameters
    ----------
    above, below : int, how many differences were above and below zero

    Returns
    -------
    float, 0 … 1, two-sided

    Notes
    -----
    Exact binomial with ½. Differences of zero are left out of both counts.

    References
    ----------
    Conover 1999, Practical Nonparametric Statistics, 3.4; as scipy.stats.binomtest.

    Examples
    --------
    >>> sign_p_value(7, 1)
    0.0703125
    """
    number = above + below
    if not number:
        return 1.0
    return float(min(1.0, 2 * special.bdtr(min(above, below), number, 0.5)))


def signed_rank_p_value(differences: ArrayLike) -> float:
    """Wilcoxon's signed-rank test: chance of rank sums at least as uneven.

    Parameters
    ----------
    differences : array, shape (n,), in any unit; zeros and NaN values are left out

    Returns
    -------
    float, 0 … 1, two-sided

    Notes
    -----
    Exact: of all ways to give the ranks of the sizes their signs, ties taking their mean rank. Supposes that
    differences scatter evenly about their middle; the sign test does not.

    References
    ----------
    Wilcoxon 1945, Biometrics Bull. 1:80; as scipy.stats.wilcoxon(method="exact").

    Examples
    --------
    >>> signed_rank_p_value([1.0, 2.0, 3.0, 4.0, 5.0, -0.5])
    0.0625
    """
    values = np.asarray(differences, np.float64)
    values = values[np.isfinite(values) & (values != 0.0)][-MOST_PAIRS:]
    if not values.size:
        return 1.0
    doubled = np.rint(2 * _mean_ranks(np.abs(values))).astype(np.int64)  # mean ranks end in .0 or .5
    ways = np.zeros(int(doubled.sum()) + 1)
    ways[0] = 1.0
    for rank in doubled.tolist():
        ways[rank:] = (ways[rank:] + ways[: ways.size - rank]) / 2
        ways[:rank] /= 2
    smaller = min(int(doubled[values > 0].sum()), int(doubled[values < 0].sum()))
    return float(min(1.0, 2 * ways[: smaller + 1].sum()))


def median_of_signs(values: ArrayLike, level: float = 0.95) -> Interval:
    """Median with the exact interval that the sign test gives it.

    Parameters
    ----------
    values : array, shape (n,), NaN values are left out
    level : float, 0 … 1

    Returns
    -------
    Interval in the unit of the values; its true level is at least `level`

    Notes
    -----
    Between the k-th smallest and k-th largest value, k as large as the binomial allows. Five values cannot
    give 95 %, six can.

    References
    ----------
    Conover 1999, Practical Nonparametric Statistics, 3.2.

    Examples
    --------
    >>> found = median_of_signs([0.01, 0.03, 0.02, 0.05, 0.04, 0.02])
    >>> round(found.estimate, 3), found.low, found.high
    (0.025, 0.01, 0.05)
    """
    series = np.asarray(values, np.float64)
    series = np.sort(series[np.isfinite(series)])
    n, method = series.size, "order statistics of the exact sign test"
    estimate = float(np.median(series)) if n else None
    below = int(special.bdtrik((1 - level) / 2, n, 0.5)) if n else 0  # k with P(X ≤ k) ≥ tail, real-valued
    k = next((k for k in range(below + 1, -1, -1) if special.bdtr(k, n, 0.5) <= (1 - level) / 2), None)
    if n == 0 or k is None:
        return Interval(estimate, None, None, level, n, method, f"{n} of the 6 it takes")
    return Interval(estimate, float(series[k]), float(series[n - 1 - k]), level, n, method)


def signs(differences: ArrayLike, level: float = 0.95) -> Signs:
    """Both tests and the median of one set of differences.

    Parameters
    ----------
    differences : array, shape (n,), in time order; NaN values are left out
    level : float, 0 … 1

    Returns
    -------
    Signs

    References
    ----------
    As for each test.

    Examples
    --------
    >>> found = signs([0.02, 0.03, 0.01, 0.02, 0.05, 0.04])
    >>> found.above, found.below, found.sign_p_value
    (6, 0, 0.03125)
    """
    values = np.asarray(differences, np.float64)
    values = values[np.isfinite(values)]
    above, below = int((values > 0).sum()), int((values < 0).sum())
    return Signs(
        above,
        below,
        values.size - above - below,
        sign_p_value(above, below),
        signed_rank_p_value(values),
        median_of_signs(values, level),
    )


def _mean_ranks(sizes: FloatArray) -> FloatArray:
    """Ranks from 1; ties get the mean of theirs."""
    _, where, count = np.unique(sizes, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2)[where], np.float64)
