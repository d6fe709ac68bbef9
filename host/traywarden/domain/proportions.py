"""Shares counted out of a number: intervals, the difference of two, and whether it may be chance."""

from dataclasses import dataclass

import numpy as np
from scipy import special

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """`count` out of `total`, as a part of 1, with its interval."""

    count: int
    total: int
    estimate: float
    low: float
    high: float
    level: float = LEVEL


@dataclass(frozen=True, slots=True)
class Difference:
    """Share a minus share b with its interval, and how often chance alone makes one as large."""

    estimate: float
    low: float
    high: float
    level: float
    p_value: float
    fisher_p_value: float


def wilson(count: int, total: int, level: float = LEVEL) -> Share:
    """A share with the score interval of Wilson.

    Parameters
    ----------
    count, total : int, 0 ≤ count ≤ total, total ≥ 1
    level : float, 0 … 1

    Returns
    -------
    Share; estimate and ends as parts of 1

    Notes
    -----
    Never leaves 0 … 1, and says something even where none or all came up. Supposes that each seed comes up
    or not for itself; seeds of one tray share its luck, which this interval does not know.

    Raises
    ------
    ValueError if the counts do not fit.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209; recommended by Brown, Cai & DasGupta 2001, Stat. Sci. 16(2):101.

    Examples
    --------
    >>> up = wilson(40, 50)
    >>> round(up.estimate, 3), round(up.low, 4), round(up.high, 4)
    (0.8, 0.6696, 0.8876)
    """
    _check(count, total)
    z = float(special.ndtri(0.5 + level / 2))
    share = count / total
    middle = (share + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * (share * (1 - share) / total + z * z / (4 * total * total)) ** 0.5
    low = 0.0 if count == 0 else middle - half
    high = 1.0 if count == total else middle + half
    return Share(count, total, share, low, high, level)


def jeffreys(count: int, total: int, level: float = LEVEL) -> Share:
    """A share with the interval of Jeffreys: equal tails of Beta(count + ½, total − count + ½).

    Parameters
    ----------
    count, total : int, 0 ≤ count ≤ total, total ≥ 1
    level : float, 0 … 1

    Returns
    -------
    Share; the estimate is count / total, not the mean of the Beta distribution

    Notes
    -----
    The lower end is 0 where none came up, the upper end 1 where all did.

    Raises
    ------
    ValueError if the counts do not fit.

    References
    ----------
    Brown, Cai & DasGupta 2001, Stat. Sci. 16(2):101, section 4.1.

    Examples
    --------
    >>> up = jeffreys(40, 50)
    >>> round(up.low, 4), round(up.high, 4)
    (0.6742, 0.8923)
    """
    return _of_beta(
        count, total, (count + 0.5, total - count + 0.5), (count + 0.5, total - count + 0.5), level
    )


def clopper_pearson(count: int, total: int, level: float = LEVEL) -> Share:
    """A share with the exact interval: it holds the truth at least as often as it says.

    Parameters
    ----------
    count, total : int, 0 ≤ count ≤ total, total ≥ 1
    level : float, 0 … 1

    Returns
    -------
    Share; estimate and ends as parts of 1

    Notes
    -----
    Wider than the others where there is little, so for few cases that are much alike.

    Raises
    ------
    ValueError if the counts do not fit.

    References
    ----------
    Clopper & Pearson 1934, Biometrika 26:404.

    Examples
    --------
    >>> found = clopper_pearson(5, 6)
    >>> round(found.estimate, 2), round(found.low, 2), round(found.high, 3)
    (0.83, 0.36, 0.996)
    """
    return _of_beta(count, total, (count, total - count + 1), (count + 1, total - count), level)


def difference(a_count: int, a_total: int, b_count: int, b_total: int, level: float = LEVEL) -> Difference:
    """How much more of a came up than of b, and whether that may be chance.

    Parameters
    ----------
    a_count, a_total, b_count, b_total : int, each count up to its total, totals ≥ 1
    level : float, 0 … 1

    Returns
    -------
    Difference of the shares a − b, as a part of 1, with Newcombe's interval; p_value is the mid-P of Fisher's
    exact test, two-sided

    Notes
    -----
    Fisher's own P keeps its promise at any number of seeds by being too cautious with few; the mid-P counts
    half of the tables as likely as the one seen, and is nearly right on average. Two-sided: tables no more
    likely than the one seen.

    Raises
    ------
    ValueError if the counts do not fit.

    References
    ----------
    Newcombe 1998, Stat. Med. 17:873, method 10 (interval); Agresti 2002, Categorical Data Analysis, 3.5
    (exact test, mid-P).

    Examples
    --------
    >>> found = difference(56, 70, 48, 80)
    >>> round(found.estimate, 3), round(found.low, 4), round(found.high, 4)
    (0.2, 0.0524, 0.3339)
    """
    a, b = wilson(a_count, a_total, level), wilson(b_count, b_total, level)
    seen = a.estimate - b.estimate
    down = ((a.estimate - a.low) ** 2 + (b.high - b.estimate) ** 2) ** 0.5
    up = ((a.high - a.estimate) ** 2 + (b.estimate - b.low) ** 2) ** 0.5
    exact, half = _fisher(a_count, a_total, b_count, b_total)
    return Difference(seen, seen - down, seen + up, level, exact - half, exact)


def _of_beta(
    count: int, total: int, low: tuple[float, float], high: tuple[float, float], level: float
) -> Share:
    """A share between the equal tails of two Beta distributions; nothing lies beyond none or all."""
    _check(count, total)
    tail = (1 - level) / 2
    least = 0.0 if count == 0 else float(special.betaincinv(*low, tail))
    most = 1.0 if count == total else float(special.betaincinv(*high, 1 - tail))
    return Share(count, total, count / total, least, most, level)


def _fisher(a_count: int, a_total: int, b_count: int, b_total: int) -> tuple[float, float]:
    """Fisher's two-sided P, and half the chance of tables exactly as likely as the one seen."""
    up, everything = a_count + b_count, a_total + b_total
    first, last = max(0, up - b_total), min(up, a_total)
    k = np.arange(first, last + 1)
    logs = _choose(a_total, k) + _choose(b_total, up - k) - _choose(everything, np.asarray(up))
    chances = np.exp(logs)
    chances /= chances.sum()
    seen = chances[a_count - first]
    as_likely = np.isclose(chances, seen, rtol=1e-7, atol=0.0)
    p_value = min(1.0, float(chances[(chances < seen) | as_likely].sum()))
    return p_value, float(chances[as_likely].sum()) / 2


def _choose(n: int, k: np.ndarray) -> np.ndarray:
    return np.asarray(special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1))


def _check(count: int, total: int) -> None:
    if not 0 <= count <= total or total < 1:
        raise ValueError(f"{count} out of {total} cannot be")
