"""How seed loses its power to germinate with the years."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.germination_metrics import Floats
from traywarden.domain.seed_facts import LabelRow, SeedFacts

FRESH = 0.95
"""Germination of the fresh seed that half-lives are taken to begin with (no source)."""
HALF_PER_KEPT = 4.9
HALF_PER_KEPT_SPREAD = 0.84
"""Half-life of open storage for each year that seed is said to keep, and how far that scatters (standard
deviation of its logarithm): over four kinds that both are published of, and chives held against onion; see
docs/sowing.md."""
MEASURED_SPREAD = 0.5
"""The same scatter of a measured half-life from one store and lot to another (no source)."""
UNKNOWN_HALF_YEARS = 7.0
UNKNOWN_SPREAD = 0.8
"""For kinds that nothing is published of: the middle of the 5 to 10 years of Solberg et al. 2020."""
TAILS = 5
CERTAIN_Z = 1.959964


@dataclass(frozen=True, slots=True)
class Ageing:
    """Half-life of fresh seed in open storage, the scatter of its logarithm, and the source."""

    half_years: float
    spread: float
    source: str

    def probit_years(self) -> Floats:
        """Years in which germination falls by one probit: five equally likely values."""
        level = special.ndtri((np.arange(TAILS) + 0.5) / TAILS)
        half = self.half_years * np.exp(self.spread * level)
        return np.asarray(half / special.ndtri(FRESH))


def ageing_of(facts: SeedFacts | None) -> Ageing:
    """How a crop's seed ages, from what is published of it.

    Parameters
    ----------
    facts : SeedFacts or None

    Returns
    -------
    Ageing

    Notes
    -----
    A measured half-life where there is one; else the years that seed is said to keep times 4.9, with the
    scatter of that ratio between kinds (a factor of 2.3 either way); else 7 years, as uncertain.

    References
    ----------
    Nagel & Börner 2010, Seed Sci. Res. 20:1; Iowa State University Extension 1999 after Knott's Handbook;
    Solberg et al. 2020, Front. Plant Sci. 11:1007 (half-lives of 5 to 10 years in open storage).

    Examples
    --------
    >>> ageing_of(SeedFacts("lettuce", years_kept=6.0, half_life_years=7.0, half_life_source="x")).half_years
    7.0
    """
    if facts is not None and facts.half_life_years is not None:
        return Ageing(facts.half_life_years, MEASURED_SPREAD, facts.half_life_source)
    if facts is not None and facts.years_kept is not None:
        source = f"{facts.years_source}, years kept times {HALF_PER_KEPT:g}"
        return Ageing(facts.years_kept * HALF_PER_KEPT, HALF_PER_KEPT_SPREAD, source)
    return Ageing(UNKNOWN_HALF_YEARS, UNKNOWN_SPREAD, "Solberg et al. 2020, seed of any kind")


def earlier_share(now_share: Floats, years: float, probit_years: float) -> Floats:
    """What seed germinated some years ago that germinates so now.

    Parameters
    ----------
    now_share : array, 0 … 1
    years : float, ≥ 0
    probit_years : float, years to fall by one probit

    Returns
    -------
    array, 0 … 1

    Notes
    -----
    Seed dies as if its life spans were normally distributed: probit of germination = Ki − years/σ. Holds for
    steady storage; drawers and sheds are not, which the scatter of σ has to carry.

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13, eq. 2 (v = Ki − p/σ).

    Examples
    --------
    >>> round(float(earlier_share(0.5, 1.645, 1.0)), 3)
    0.95
    """
    return np.asarray(special.ndtr(special.ndtri(now_share) + years / probit_years))


def label_strength(germination: float, rows: tuple[LabelRow, ...]) -> float:
    """How many seeds of one's own a packet's figure is worth.

    Parameters
    ----------
    germination : float, 0 … 1
    rows : tolerances between two tests of 400 seeds

    Returns
    -------
    float, seeds

    Notes
    -----
    The law lets two tests of one lot, in different laboratories, differ by D. Taking D for what two such
    tests exceed once in 20 times, each is as exact as n = 2·g(1 − g)·(1.96/D)² seeds counted without any
    other error: about 160 to 230, not 400, as samples and laboratories differ too.

    References
    ----------
    La. Admin. Code 7:XIII.139, “recognized by the Federal Seed Act”; that D stands for 1 in 20 is ours.

    Examples
    --------
    >>> round(label_strength(0.84, (LabelRow(82, 86, 7, "x"),)))
    211
    """
    share = min(max(germination, 0.01), 0.99)
    percent = int(np.floor(100 * share + 0.5))
    row = next((r for r in rows if r.lowest_pct <= percent <= r.highest_pct), None)
    row = row or next((r for r in rows if r.lowest_pct <= 101 - percent <= r.highest_pct), None)
    if row is None:
        return 0.0
    return 2 * share * (1 - share) * (CERTAIN_Z * 100 / row.tolerance_pct) ** 2
