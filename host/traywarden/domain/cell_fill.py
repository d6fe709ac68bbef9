"""How many cells get at least one seedling: seeds in one cell share a cell's luck."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from traywarden.domain.germination_metrics import Floats

CLUSTERING: Floats = np.array(
    [0.0, 0.005, 0.01, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1, 0.13, 0.16, 0.2, 0.25, 0.3, 0.4, 0.5]
)
"""Correlations between the seeds of one cell that are told apart."""
MOST_UP = 3000
"""Trays with more seedlings than this take too long to weigh, and are left out."""
MEAN_CLUSTERING = 0.05
"""What is thought of them before any cells are counted: exponential, this the mean (no source)."""


@dataclass(frozen=True, slots=True)
class FilledTray:
    """A tray whose filled cells were counted: `up` seedlings in `filled` of `cells` with `per_cell` seeds."""

    cells: int
    per_cell: int
    up: int
    filled: int


def empty_chance(comes_up: Floats, per_cell: int, clustering: Floats) -> Floats:
    """Chance that a cell stays empty.

    Parameters
    ----------
    comes_up : array, 0 … 1: part of the seeds that comes up
    per_cell : int, seeds in each cell
    clustering : array that broadcasts with it, 0 … 1: correlation between seeds of one cell

    Returns
    -------
    array, 0 … 1

    Notes
    -----
    Beta-binomial: the product over i < n of [(1 − p)(1 − ρ) + iρ] / [(1 − ρ) + iρ]; (1 − p)^n at ρ = 0. A
    cell sown too deep or dried out keeps all of its seeds down, so that a second seed helps less.

    References
    ----------
    Skellam 1948, J. R. Stat. Soc. B 10:257 (beta-binomial distribution).

    Examples
    --------
    >>> empty_chance(np.array(0.8), 2, np.array([0.0, 0.2])).round(3).tolist()
    [0.04, 0.072]
    """
    p, rho = np.asarray(comes_up), np.asarray(clustering)
    empty = np.ones(np.broadcast(p, rho).shape)
    for i in range(per_cell):
        empty = empty * ((1 - p) * (1 - rho) + i * rho) / ((1 - rho) + i * rho)
    return np.asarray(empty)


def clustering_chances(trays: Sequence[FilledTray]) -> Floats:
    """Chances of each of CLUSTERING from trays whose filled cells were counted.

    Parameters
    ----------
    trays : with at least one seed in each cell; those with a single one say nothing

    Returns
    -------
    array, shape of CLUSTERING, sum 1

    Notes
    -----
    Given how many seedlings came up in a tray, the fewer cells they stand in, the more they cluster. The
    chance of just so many filled cells, given the seedlings, follows from the cells' common beta-binomial
    distribution (its p taken from the tray itself); exact, by products of generating functions.
    """
    logs = -CLUSTERING / MEAN_CLUSTERING
    for tray in trays:
        if tray.per_cell > 1 and 0 < tray.up < min(tray.cells * tray.per_cell, MOST_UP):
            logs = logs + np.array([_log_chance(tray, float(rho)) for rho in CLUSTERING])
    width = np.gradient(CLUSTERING)
    chances = np.exp(logs - logs.max()) * width
    return np.asarray(chances / chances.sum())


def _log_chance(tray: FilledTray, rho: float) -> float:
    p = tray.up / (tray.cells * tray.per_cell)
    one = cell_counts(p, tray.per_cell, rho)
    empty, some = one[0], one.copy()
    some[0] = 0.0
    with_some = _power(some, tray.filled, tray.up)
    everything = _power(one, tray.cells, tray.up)
    if (
        tray.filled > tray.up
        or tray.up >= with_some.size
        or with_some[tray.up] <= 0
        or everything[tray.up] <= 0
    ):
        return -1e6
    ways = special.gammaln(tray.cells + 1) - special.gammaln(tray.filled + 1)
    ways -= special.gammaln(tray.cells - tray.filled + 1)
    log_empty = (tray.cells - tray.filled) * np.log(empty) if tray.cells > tray.filled else 0.0
    return float(ways + log_empty + np.log(with_some[tray.up]) - np.log(everything[tray.up]))


def cell_counts(comes_up: float, per_cell: int, clustering: float) -> Floats:
    """Chances of 0 … per_cell seedlings in a cell, beta-binomial.

    >>> cell_counts(0.5, 2, 0.0).round(3).tolist(), cell_counts(0.5, 2, 0.5).round(3).tolist()
    ([0.25, 0.5, 0.25], [0.375, 0.25, 0.375])
    """
    k = np.arange(per_cell + 1)
    ways = np.exp(special.gammaln(per_cell + 1) - special.gammaln(k + 1) - special.gammaln(per_cell - k + 1))
    if clustering <= 0:
        return np.asarray(ways * comes_up**k * (1 - comes_up) ** (per_cell - k))
    a, b = (share * (1 - clustering) / clustering for share in (comes_up, 1 - comes_up))
    return np.asarray(ways * np.exp(special.betaln(k + a, per_cell - k + b) - special.betaln(a, b)))


def _power(chances: NDArray[np.float64], times: int, highest: int) -> Floats:
    """Chances of the sum of so many cells, up to `highest`; the factors are kept near 1 against underflow."""
    result, base = np.array([1.0]), np.asarray(chances)
    while times:
        if times & 1:
            result = np.convolve(result, base)[: highest + 1]
        times >>= 1
        if times:
            base = np.convolve(base, base)[: highest + 1]
    return result
