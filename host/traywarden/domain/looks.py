"""What was seen of a sowing at each look, and how likely that is for seed so many times slower."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.series import FloatArray

LOG_FACTORS: FloatArray = np.linspace(-2.0, 2.0, 321)
"""The grid of ln(factor) on which everything learned lives: factors from 0.14 to 7.4."""
SEED_LOG_SD = 0.2
"""Spread among seeds of ln(time): between 0.13 (tomato at 20 °C, 96 seeds) and 0.3 (docs/emergence.md)."""
SPREADS = (0.7, 1.0, 1.4)
SPREAD_WEIGHTS = (0.25, 0.5, 0.25)
"""Lots differ in their spread: it is taken as 0.7, 1 or 1.4 times the usual (common practice, no source)."""
FAILING = 0.05
"""Chance that nothing comes up for reasons that have nothing to do with temperature (no source)."""
GERMINATION_SEEDS = 10.0
"""How many seeds' worth a label's germination counts (no source)."""
_GERMINATIONS = 24


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the tray, when its progress stood at `progress`.

    `count` is how many seedlings were up in all, None for “some”, without a number.
    """

    progress: float
    count: int | None


@dataclass(frozen=True, slots=True)
class Seeds:
    """What was sown: number of seeds, and the share of them expected to come up."""

    count: int
    germination: float


def log_likelihood(
    looks: Sequence[Look],
    seeds: Seeds,
    log_factors: FloatArray = LOG_FACTORS,
    seed_log_sd: float = SEED_LOG_SD,
) -> FloatArray:
    """Log-likelihood of what was seen, for each ln(factor).

    Parameters
    ----------
    looks : sequence of Look, in order of time
    seeds : Seeds
    log_factors : array, shape (n,)
        A factor of 1.2 means: takes 1.2 times the table's progress.
    seed_log_sd : float
        Usual spread among seeds of ln(progress at which a seed is up).

    Returns
    -------
    array, shape (n,)

    Notes
    -----
    A seed that comes up at all is up by progress D with probability Φ((ln D − ln factor) / spread). Seeds are
    seen between two looks, so counts are multinomial in the intervals (interval-censored); a count of none
    says that all come later; “some” says at least one by then. The share that comes up is unknown: it is
    averaged over a beta distribution about the expected one, worth ten seeds; the spread over three values. A
    count smaller than one before it is read as that one. With a chance of 5 % nothing comes up for other
    reasons, so that a failed sowing does not teach that seed is slow.

    References
    ----------
    Interval censoring: Turnbull 1976, J. R. Stat. Soc. B 38:290; log-normal times of germination:
    statforbiology.com, Seed germination, “Describing the germination time-course”.

    Examples
    --------
    >>> seen = log_likelihood([Look(0.5, 0), Look(1.4, 1)], Seeds(1, 0.9), np.array([-1.0, 0.0, 1.0]))
    >>> int(seen.argmax())
    1
    """
    rows, weights, shares = _rows(looks, seeds)
    if not rows:
        return np.zeros(log_factors.size)
    parts = []
    for times, weight in zip(SPREADS, SPREAD_WEIGHTS, strict=True):
        for sign, row in rows:
            parts.append(
                (sign * weight, _of_counts(row, seeds.count, shares, log_factors, times * seed_log_sd))
            )
    total: FloatArray = _log_sum(parts, weights)
    if all(look.count == 0 for look in looks):
        return np.asarray(np.logaddexp(np.log1p(-FAILING) + total, np.log(FAILING)))
    return np.asarray(np.log1p(-FAILING) + total)


def _rows(
    looks: Sequence[Look], seeds: Seeds
) -> tuple[list[tuple[float, list[tuple[float, int]]]], FloatArray, FloatArray]:
    """The looks as (progress, count) with “some” resolved: at least one = anything − none."""
    counted: list[tuple[float, int]] = []
    some: float | None = None
    for look in looks:
        if look.count is not None:
            highest = max((n for _, n in counted), default=0)
            counted.append((look.progress, min(max(look.count, highest), seeds.count)))
        elif some is None and not any(n for _, n in counted):
            some = look.progress
    rows = [(1.0, counted)] if counted or some is not None else []
    if some is not None:
        # A look at which none was up, in place of “some”, is what has to be taken away.
        rows.append((-1.0, sorted([*counted, (some, 0)])))
    expected = min(max(seeds.germination, 0.02), 0.98)
    shares = (np.arange(_GERMINATIONS) + 0.5) / _GERMINATIONS
    a, b = GERMINATION_SEEDS * expected, GERMINATION_SEEDS * (1.0 - expected)
    edges = special.betainc(a, b, np.arange(_GERMINATIONS + 1) / _GERMINATIONS)
    return rows, np.diff(edges), shares


def _of_counts(
    row: Sequence[tuple[float, int]], count: int, shares: FloatArray, log_factors: FloatArray, log_sd: float
) -> FloatArray:
    """Log-probability of the counts, shape (shares, factors)."""
    total = np.zeros((shares.size, log_factors.size))
    before, seen = np.zeros(log_factors.size), 0
    ways = special.gammaln(count + 1.0)
    for progress, up in row:
        by = special.ndtr((np.log(max(progress, 1e-9)) - log_factors) / log_sd)
        if up > seen:
            part = np.maximum(by - before, 1e-300)
            total += (up - seen) * (np.log(shares)[:, None] + np.log(part))
            ways -= special.gammaln(up - seen + 1.0)
        before, seen = by, up
    if count > seen:
        total += (count - seen) * np.log1p(-shares[:, None] * before)
        ways -= special.gammaln(count - seen + 1.0)
    return np.asarray(total + ways)


def _log_sum(parts: Sequence[tuple[float, FloatArray]], share_weights: FloatArray) -> FloatArray:
    """ln Σ weight · exp(part), over parts and shares, safe against underflow."""
    top = max(float(part.max()) for _, part in parts)
    highest = np.max([part.max(axis=0) for _, part in parts], axis=0)
    scale = np.maximum(highest, top - 700.0)
    total = sum(
        weight * (share_weights[:, None] * np.exp(part - scale)).sum(axis=0) for weight, part in parts
    )
    return np.asarray(np.log(np.maximum(total, 1e-300)) + scale)
