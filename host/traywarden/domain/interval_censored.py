"""Times known only to lie between two visits: their distribution, and whether two groups differ in it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

RUNS = 20_000
SEED = 1976
MOST_STEPS = 50_000


@dataclass(frozen=True, slots=True)
class Between:
    """Groups of seeds, each first seen in (from_d, to_d]; to_d infinite: not seen up to from_d."""

    from_d: Floats
    to_d: Floats
    count: NDArray[np.int64]

    def __post_init__(self) -> None:
        if not (self.from_d.shape == self.to_d.shape == self.count.shape and self.from_d.ndim == 1):
            raise ValueError("from, to and count must be of one length")
        if not (self.from_d < self.to_d).all() or (self.count < 0).any():
            raise ValueError("each span must have a length, and no count may be below 0")


@dataclass(frozen=True, slots=True)
class Npmle:
    """The likeliest distribution: `mass` in each span (from_d, to_d], wherever inside."""

    from_d: Floats
    to_d: Floats
    mass: Floats


@dataclass(frozen=True, slots=True)
class LogRank:
    """`score` above 0: the first group came earlier than it would by chance. P two-sided."""

    score: float
    z: float
    p_value: float
    asymptotic_p_value: float


def between(from_d: ArrayLike, to_d: ArrayLike, count: ArrayLike) -> Between:
    """Between of plain lists.

    Parameters
    ----------
    from_d, to_d : array, shape (n,) [d]; to_d may be infinite
    count : array, shape (n,), whole numbers ≥ 0

    Returns
    -------
    Between; spans with a count of none left out

    Raises
    ------
    ValueError if lengths differ, a span has no length or a count is below 0.
    """
    number = np.asarray(count, dtype=np.int64)
    kept = number != 0
    return Between(
        np.asarray(from_d, dtype=np.float64)[kept], np.asarray(to_d, dtype=np.float64)[kept], number[kept]
    )


def npmle(seen: Between) -> Npmle:
    """The distribution of the times that makes the spans seen likeliest (Turnbull).

    Parameters
    ----------
    seen : Between, with at least one seed

    Returns
    -------
    Npmle over the innermost spans: from a left end to the next end, if that is a right one

    Notes
    -----
    Self-consistency (EM) until no mass moves by more than 1e-12. Where in a span its mass lies is not
    known. For one tray, whose visits follow one another, it is just the parts counted.

    Raises
    ------
    ValueError if there is no seed.

    References
    ----------
    Turnbull 1976, J. R. Stat. Soc. B 38:290; innermost intervals: Peto 1973, Appl. Stat. 22:86.

    Examples
    --------
    >>> found = npmle(between([0, 2, 1], [2, 4, 3], [1, 1, 2]))
    >>> found.from_d.tolist(), found.to_d.tolist(), found.mass.round(3).tolist()
    ([1.0, 2.0], [2.0, 3.0], [0.5, 0.5])
    """
    if not seen.count.sum():
        raise ValueError("a distribution needs at least one seed")
    lows, highs = _innermost(seen)
    within = (seen.from_d[:, None] <= lows) & (highs <= seen.to_d[:, None])
    weight = seen.count / seen.count.sum()
    mass = np.full(lows.size, 1.0 / lows.size)
    for _ in range(MOST_STEPS):
        share = within * mass
        moved = weight @ (share / share.sum(axis=1, keepdims=True))
        settled = np.abs(moved - mass).max() < 1e-12
        mass = moved
        if settled:
            break
    return Npmle(lows, highs, mass)


def log_rank(first: Between, second: Between, *, runs: int = RUNS, seed: int = SEED) -> LogRank:
    """Whether two groups came at different times, by the log-rank test for times between visits.

    Parameters
    ----------
    first, second : Between, each with at least one seed
    runs : int, shuffles of the seeds between the groups
    seed : int; the same seed gives the same P

    Returns
    -------
    LogRank; p_value by shuffling, asymptotic_p_value from the normal distribution

    Notes
    -----
    Each seed has a score: what the log-rank test gives its span under the distribution of all seeds
    together (Sun's scores). The statistic is the sum of the first group's. By shuffling, P is
    (1 + shuffles at least as far from the mean) / (1 + runs). The test supposes that both groups were
    visited alike; with different visits it is nearly right (see docs/batches.md for how nearly). Seeds are
    taken one by one: what befell a whole tray counts as if it had befallen each of its seeds by itself.

    References
    ----------
    Sun 1996, Stat. Med. 15:1387 (scores); Fay & Shaw 2010, J. Stat. Softw. 36(2), eqs 7–9, permutation form.

    Examples
    --------
    >>> early, late = between([2, 3], [3, 4], [10, 10]), between([4, 5], [5, 6], [10, 10])
    >>> found = log_rank(early, late)
    >>> found.score > 0, found.p_value < 0.001
    (True, True)
    """
    together = Between(
        np.concatenate([first.from_d, second.from_d]),
        np.concatenate([first.to_d, second.to_d]),
        np.concatenate([first.count, second.count]),
    )
    score = _suns_scores(together, npmle(together))
    n, n_first = int(together.count.sum()), int(first.count.sum())
    mean = float(together.count @ score) / n
    of_first = float(first.count @ score[: first.count.size])
    off = of_first - n_first * mean
    spread = float(together.count @ (score - mean) ** 2)
    if n < 2 or spread <= 1e-12:
        return LogRank(of_first, 0.0, 1.0, 1.0)
    variance = n_first * (n - n_first) / (n * (n - 1)) * spread
    z = off / variance**0.5
    levels, which = np.unique(score.round(12), return_inverse=True)
    number = np.bincount(which, weights=together.count).astype(np.int64)
    drawn = np.random.default_rng(seed).multivariate_hypergeometric(number, n_first, size=runs)
    shuffled = drawn @ levels - n_first * mean
    as_far = int((np.abs(shuffled) >= abs(off) - 1e-9).sum())
    return LogRank(of_first, z, (1 + as_far) / (1 + runs), float(2 * special.ndtr(-abs(z))))


def _innermost(seen: Between) -> tuple[Floats, Floats]:
    """Spans from a left end to the next end where that is a right end; left ends are open, right ones not."""
    ends = np.concatenate([seen.to_d, seen.from_d])
    is_left = np.concatenate([np.zeros(seen.to_d.size, bool), np.ones(seen.from_d.size, bool)])
    order = np.lexsort((is_left, ends))  # at one time right ends come first: (1, 2] and (2, 3] do not touch
    ends, is_left = ends[order], is_left[order]
    at = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    return ends[at], ends[at + 1]


def _suns_scores(seen: Between, spread: Npmle) -> Floats:
    """[S(L)·H(L) − S(R)·H(R)] / [S(R) − S(L)] with H the sum of hazards: large for early times."""
    before = np.append(1.0 - np.concatenate([[0.0], np.cumsum(spread.mass)[:-1]]), 0.0)  # S before each span
    before[before < 1e-12] = 0.0
    hazard = np.divide(spread.mass, before[:-1], out=np.zeros_like(spread.mass), where=before[:-1] > 0)
    so_far = np.concatenate([[0.0], np.cumsum(hazard)])
    first = np.searchsorted(spread.from_d, seen.from_d, side="left")  # spans before L: all that begin earlier
    last = np.searchsorted(spread.to_d, seen.to_d, side="right")  # spans up to R: all that end by then
    weighed = -before * so_far
    return np.asarray((weighed[first] - weighed[last]) / (before[first] - before[last]))
