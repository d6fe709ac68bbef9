"""How far earlier outlooks of the garden were off, and the interval that follows from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]

LEVEL = 0.8
OFFSET_H = 6.0
"""Below a few hours an outlook is off by hours, above by a part of itself; this joins the two (no source)."""
FACTOR = 2.0
"""Before anything was learnt: right within a factor of two, four times in five (no source)."""
DEFAULT_COUNT = 0.5
"""… which counts like so many dry-downs of the tray's own (no source)."""
HALVES_S = 30 * 86400.0
"""A dry-down that ended this long ago counts half: what an outlook misses changes with the season too."""
OTHERS_COUNT = 0.25
"""A dry-down of another tray counts like a quarter of one of its own (no source)."""
LIKENESS = 0.7
"""Outlooks whose logarithms lie this far apart count e^½ times less: a day tells of a day, not of a week."""

_BIN = 0.35
_LENGTHS: Floats = np.log(OFFSET_H) + _BIN * (np.arange(12) + 0.5)
_UPPER: Floats = np.linspace(-2.975, 2.975, 120)
"""Upper ends of the bins of ln(true/foreseen); the last bin has none."""
_DEFAULT_CDF: Floats = ndtr(_UPPER * ndtri(0.5 + LEVEL / 2) / np.log(FACTOR))


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How often outlooks of each length were off by how much; `dry_downs`: what that rests on.

    Spreads add up, and can be weighted.
    """

    counts: Floats
    dry_downs: float

    def __add__(self, other: "Spread") -> "Spread":
        return Spread(self.counts + other.counts, self.dry_downs + other.dry_downs)

    def times(self, weight: float) -> "Spread":
        return Spread(self.counts * weight, self.dry_downs * weight)

    def interval_h(self, foreseen_h: ArrayLike, level: float = LEVEL) -> tuple[Floats, Floats]:
        """The hours between which it will lie with a chance of `level`, as often as it did before.

        Parameters
        ----------
        foreseen_h : array, shape (k,) [h]
        level : float, 0 to 1

        Returns
        -------
        (array [h], array [h]), shape (k,) each

        Notes
        -----
        (foreseen + 6 h)·q − 6 h, never below zero, with q the quantiles (1 ∓ level)/2 of true/foreseen, each
        with 6 h added, over earlier outlooks; those of about the same length count most. A default of a
        factor of two counts like half a dry-down, which widens the interval while there are few.

        References
        ----------
        Split conformal prediction with the ratio as score: Lei et al. 2018, JASA 113:1094; weights by
        likeness: Guan 2023, Biometrika 110:33; by age: Barber et al. 2023, Ann. Stat. 51:816 [all three from
        memory].

        Examples
        --------
        >>> low_h, high_h = NOTHING_LEARNT.interval_h([18.0])
        >>> low_h.round(1).tolist(), high_h.round(1).tolist()
        ([6.0], [42.0])
        """
        foreseen = np.asarray(foreseen_h, dtype=np.float64)
        apart = (np.log(foreseen + OFFSET_H)[:, None] - _LENGTHS[None, :]) / LIKENESS
        alike = np.exp(-0.5 * apart**2)
        below = np.cumsum(self.counts, axis=1)
        cdf = alike @ below[:, :-1] + DEFAULT_COUNT * _DEFAULT_CDF
        cdf /= (alike @ below[:, -1] + DEFAULT_COUNT)[:, None]
        low, high = (
            np.maximum((foreseen + OFFSET_H) * np.exp(_quantile(cdf, share)) - OFFSET_H, 0.0)
            for share in ((1 - level) / 2, (1 + level) / 2)
        )
        return low, high


NOTHING_LEARNT = Spread(np.zeros((_LENGTHS.size, _UPPER.size + 1)), 0.0)


def spread_of(foreseen_h: ArrayLike, true_h: ArrayLike) -> Spread:
    """What one dry-down tells of how far outlooks are off.

    Parameters
    ----------
    foreseen_h, true_h : array, shape (k,) [h]; all of one dry-down

    Returns
    -------
    Spread; together they count one, as what one dry-down shows is far from independent

    Notes
    -----
    Nothing learnt of nothing. Outlooks beyond every bin count in the last.

    References
    ----------
    As `Spread.interval_h`.

    Examples
    --------
    >>> learnt = spread_of(np.full(50, 24.0), np.linspace(22.0, 26.0, 50)).times(20)
    >>> low_h, high_h = learnt.interval_h([24.0])
    >>> round(float(low_h[0])), round(float(high_h[0]))
    (22, 26)
    """
    foreseen, true = np.asarray(foreseen_h, dtype=np.float64), np.asarray(true_h, dtype=np.float64)
    if foreseen.size == 0:
        return NOTHING_LEARNT
    length = np.log((foreseen + OFFSET_H) / OFFSET_H) // _BIN
    row = np.clip(length, 0, _LENGTHS.size - 1).astype(np.int64)
    column = np.searchsorted(_UPPER, np.log((true + OFFSET_H) / (foreseen + OFFSET_H)), side="left")
    counts = np.zeros((_LENGTHS.size, _UPPER.size + 1))
    np.add.at(counts, (row, column), 1.0 / foreseen.size)
    return Spread(counts, 1.0)


class Learning:
    """Spreads of dry-downs as they end, fading with age: whose they are, and what of them holds for whom."""

    def __init__(self) -> None:
        self._all = NOTHING_LEARNT, 0.0
        self._own: dict[int, tuple[Spread, float]] = {}

    def add(self, end_s: float, whose: int, learnt: Spread) -> None:
        """A dry-down of `whose` has ended; in the order in which they end."""
        self._all = _faded(self._all, end_s) + learnt, end_s
        self._own[whose] = _faded(self._own.get(whose, (NOTHING_LEARNT, end_s)), end_s) + learnt, end_s

    def at(self, now_s: float, whose: int) -> Spread:
        """What holds for `whose` now: its own in full, others for a quarter."""
        own = _faded(self._own.get(whose, (NOTHING_LEARNT, now_s)), now_s)
        return own.times(1 - OTHERS_COUNT) + _faded(self._all, now_s).times(OTHERS_COUNT)


def _faded(known: tuple[Spread, float], now_s: float) -> Spread:
    """What is left of a spread by now."""
    spread, at_s = known
    return spread.times(0.5 ** ((now_s - at_s) / HALVES_S))


def _quantile(cdf: Floats, share: float) -> Floats:
    """Where each row of a rising table reaches a share, in a straight line between its columns."""
    after = np.clip((cdf < share).sum(axis=1), 1, cdf.shape[1] - 1)
    row = np.arange(cdf.shape[0])
    before, there = cdf[row, after - 1], cdf[row, after]
    part = np.clip((share - before) / np.maximum(there - before, 1e-12), 0.0, 1.0)
    return np.asarray(_UPPER[after - 1] + part * (_UPPER[after] - _UPPER[after - 1]))
