"""A germination test laid out in replicates: do they agree well enough to be averaged?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.seed_facts import RangeRow

CERTAIN = 0.975
EXACT = "exact binomial range, 1 test in 40 beyond it"


@dataclass(frozen=True, slots=True)
class ReplicateCheck:
    """`range_pct` between best and worst replicate, and the most that is tolerated (None: no rule)."""

    range_pct: float
    tolerated_pct: float | None
    source: str
    verified: bool

    @property
    def agree(self) -> bool | None:
        return None if self.tolerated_pct is None else self.range_pct <= self.tolerated_pct + 1e-9


def check_replicates(
    replicates: Sequence[tuple[int, int]], table: Sequence[RangeRow]
) -> ReplicateCheck | None:
    """Whether the replicates of one test lie no further apart than chance lets them.

    Parameters
    ----------
    replicates : pairs of sprouted and laid out
    table : rows of the tolerances for 4 or 2 replicates of 100 seeds

    Returns
    -------
    ReplicateCheck; None with fewer than two replicates

    Notes
    -----
    Four or two of 100 seeds: the table. Others of one size: the range that chance exceeds once in 40 tests
    (`chance_range`). Of several sizes: no rule.

    References
    ----------
    7 CFR 201.55.

    Examples
    --------
    >>> check_replicates([(22, 25), (24, 25), (12, 25), (23, 25)], []).agree
    False
    """
    if len(replicates) < 2:
        return None
    shares = [k / n for k, n in replicates]
    range_pct = 100 * (max(shares) - min(shares))
    sizes = {n for _, n in replicates}
    if len(sizes) > 1:
        return ReplicateCheck(range_pct, None, "no rule for replicates of several sizes", True)
    (size,) = sizes
    average = sum(shares) / len(shares)
    if size == 100 and len(replicates) in (2, 4):
        percent = int(np.floor(100 * average + 0.5))
        for row in table:
            tolerated = row.of_4 if len(replicates) == 4 else row.of_2
            if percent in (row.average_pct, 101 - row.average_pct) and tolerated is not None:
                return ReplicateCheck(range_pct, float(tolerated), row.source, row.verified)
    return ReplicateCheck(range_pct, 100 * chance_range(average, size, len(replicates)) / size, EXACT, True)


def chance_range(average_share: float, seeds: int, replicates: int, certain: float = CERTAIN) -> int:
    """The range of sprouted seeds that chance alone exceeds no more often than 1 − `certain`.

    Parameters
    ----------
    average_share : float, 0 … 1, true germination
    seeds : int, in each replicate
    replicates : int, ≥ 2
    certain : float, 0 … 1, as a share

    Returns
    -------
    int, seeds

    Notes
    -----
    Of m independent binomial counts with distribution F, P(range ≤ r) is the sum over x of
    [F(x + r) − F(x − 1)]^m − [F(x + r) − F(x)]^m.

    References
    ----------
    Range of a discrete sample: Burr 1955, Sankhyā 15:163 (from memory); checked by drawing.

    Examples
    --------
    >>> chance_range(0.9, 100, 4)
    12
    """
    x = np.arange(seeds + 1)
    below = np.concatenate([[0.0], special.bdtr(x, seeds, average_share)])  # below[k] = P(X ≤ k − 1)
    for r in range(seeds + 1):
        top = below[np.minimum(x + r, seeds) + 1]
        within = float(((top - below[x]) ** replicates - (top - below[x + 1]) ** replicates).sum())
        if within >= certain:
            return r
    return seeds
