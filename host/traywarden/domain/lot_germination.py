"""What a lot of seed germinates, as far as packet, tests and years tell: a distribution, not a number."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from scipy import special

from traywarden.domain.germination_metrics import Floats
from traywarden.domain.seed_ageing import Ageing, earlier_share

GRID: Floats = (np.arange(250) + 0.5) / 250
"""Germinations told apart."""
TRUSTED = 0.8
"""Chance that a packet's figure or the law's minimum speaks for the seed in hand (no source)."""
LOOSE_SEEDS = 5.0
"""What a packet's figure is worth otherwise, in seeds (no source)."""


@dataclass(frozen=True, slots=True)
class OnPacket:
    """What the packet says, worth so many seeds; `years` ago."""

    germination: float
    strength: float
    years: float = 0.0


@dataclass(frozen=True, slots=True)
class AtLeast:
    """The law's minimum, exact to `error_share` (standard deviation); `years` ago."""

    germination: float
    error_share: float
    years: float = 0.0


@dataclass(frozen=True, slots=True)
class OwnTest:
    """So many of the grower's own seeds sprouted; `years` ago. `weight` below 1: they count for fewer."""

    sprouted: int
    seeds: int
    years: float = 0.0
    weight: float = 1.0


Evidence: TypeAlias = OnPacket | AtLeast | OwnTest


@dataclass(frozen=True, slots=True)
class LotGermination:
    """Chances of each germination of GRID now (columns), for each of the likely speeds of ageing (rows).

    The whole table adds up to 1; `probit_years` are the speeds.
    """

    chances: Floats
    probit_years: Floats

    def mean_share(self) -> float:
        return float(self.chances.sum(axis=0) @ GRID)

    def interval(self, level: float) -> tuple[float, float]:
        """Equal-tailed interval of the germination now."""
        return interval_of(GRID, self.chances.sum(axis=0), level)


def lot_germination(evidence: Sequence[Evidence], ageing: Ageing) -> LotGermination:
    """Put everything known of a lot together.

    Parameters
    ----------
    evidence : what is known, each with the years that passed since
    ageing : how the crop's seed ages

    Returns
    -------
    LotGermination for now

    Notes
    -----
    The germination g now is unknown, and so is the speed of ageing. A packet's figure is a Beta distribution
    of the germination of its day, worth as many seeds as its strength, or, with a chance of 1 in 5, hardly
    anything; the law's minimum says that anything from there to all is as likely, with the same doubt;
    without either, anything is. A test multiplies it by its binomial likelihood. Germinations of other days
    are set against g through the viability equation, so that a test of today also corrects the speed of
    ageing. Without years in between and without doubt it is the beta-binomial update: Beta(a + sprouted,
    b + not sprouted).

    References
    ----------
    Gelman et al. 2013, Bayesian Data Analysis, 2.1–2.4 (beta-binomial); ageing: `seed_ageing`.

    Examples
    --------
    >>> seed = lot_germination([OwnTest(17, 20)], Ageing(7.0, 0.8, ""))
    >>> round(seed.mean_share(), 3)
    0.818
    """
    speeds = ageing.probit_years()
    chances = np.empty((speeds.size, GRID.size))
    for row, speed in enumerate(speeds):
        then = np.zeros(GRID.size)
        given = [e for e in evidence if isinstance(e, OnPacket | AtLeast)]
        for told in given:
            then += _log_prior(told, float(speed))
        for test in (e for e in evidence if isinstance(e, OwnTest)):
            then += test.weight * log_binomial(
                test.sprouted, test.seeds, earlier_share(GRID, test.years, float(speed))
            )
        chances[row] = then
    chances = np.exp(chances - chances.max())
    return LotGermination(chances / chances.sum(), speeds)


def _log_prior(told: OnPacket | AtLeast, speed: float) -> Floats:
    """Logarithm of the density of the germination now, from what was said of that of an earlier day."""
    z = special.ndtri(GRID) + told.years / speed
    then = np.clip(special.ndtr(z), 1e-9, 1 - 1e-9)
    if isinstance(told, OnPacket):
        firm, loose = (_beta(then, told.germination, n) for n in (told.strength, LOOSE_SEEDS))
    else:
        firm, loose = special.ndtr((then - told.germination) / told.error_share), np.ones(GRID.size)
        firm = firm / (1 - told.germination)
    slope = np.exp((special.ndtri(GRID) ** 2 - z**2) / 2)  # d then / d now
    return np.asarray(np.log(np.maximum((TRUSTED * firm + (1 - TRUSTED) * loose) * slope, 1e-300)))


def _beta(share: Floats, mean: float, seeds: float) -> Floats:
    a, b = max(mean * seeds, 0.1), max((1 - mean) * seeds, 0.1)
    return np.asarray(np.exp((a - 1) * np.log(share) + (b - 1) * np.log1p(-share) - special.betaln(a, b)))


def log_binomial(count: int, total: int, share: Floats) -> Floats:
    """Logarithm of the chance of so many out of so many, up to a constant, where each comes up with `share`.

    >>> log_binomial(0, 3, np.array([0.5])).round(3).tolist()
    [-2.079]
    """
    return np.asarray(special.xlogy(count, share) + special.xlog1py(total - count, -share))


def interval_of(values: Floats, chances: Floats, level: float) -> tuple[float, float]:
    """Equal-tailed interval of values, rising, with their chances; straight between neighbours.

    >>> [round(end, 3) for end in interval_of(np.arange(5.0), np.full(5, 0.2), 0.6)]
    [0.5, 3.5]
    """
    middle = np.cumsum(chances) - chances / 2
    tail = (1 - level) / 2
    low, high = np.interp([tail, 1 - tail], middle / chances.sum(), values)
    return float(low), float(high)
