"""The grower's own factor: how many times the table's days a crop takes here, learned from what came up."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from traywarden.domain.looks import LOG_FACTORS
from traywarden.domain.series import FloatArray

LOT_LOG_SD = 0.14
"""How lots of one crop differ in ln(time): a lively and a weak lot took 2.3 and 2.8 days to half germination
at 25 °C, 5.2 and 12.1 at 10 °C (published by Winch): ln(2.8 / 2.3) / √2, the smaller of the two."""
SOWING_LOG_SD = 0.10
"""How sowings of one lot differ beyond their temperature: depth, moisture, where the probe sits (common
practice, no source)."""
BAND = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What is held about a factor: weights on the grid of ln(factor)."""

    weights: FloatArray = field(repr=False)

    def quantiles(self, levels: Sequence[float] = BAND) -> tuple[float, ...]:
        """Factors below which the given parts of the belief lie."""
        sums = np.cumsum(self.weights)
        middle = (sums - 0.5 * self.weights) / sums[-1]
        return tuple(float(x) for x in np.exp(np.interp(levels, middle, LOG_FACTORS)))

    @property
    def mean_log(self) -> float:
        return float(self.weights @ LOG_FACTORS)

    @property
    def log_sd(self) -> float:
        return float(np.sqrt(self.weights @ (LOG_FACTORS - self.mean_log) ** 2))

    def widened(self, log_sd: float) -> "Belief":
        """The same with an independent normal error added to ln(factor)."""
        return self if log_sd <= 1e-4 else _normalised(_spread(log_sd) @ self.weights)

    def given(self, log_likelihood: FloatArray) -> "Belief":
        """The belief after something with this log-likelihood was seen."""
        return _normalised(self.weights * np.exp(log_likelihood - log_likelihood.max()))


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What one sowing tells: its log-likelihood on the grid, and the error of its own progress."""

    sowing: int
    lot: int | None
    log_likelihood: FloatArray = field(repr=False)
    log_sd: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """A crop's factor before and after, that of each lot, and what a sowing is to expect without itself."""

    prior: Belief
    crop: Belief
    lots: Mapping[int | None, Belief]
    without: Mapping[int, Belief]
    new_lot: Belief


def before(log_sd: float) -> Belief:
    """The belief before anything was seen: the table, give or take `log_sd` of ln(days)."""
    return _normalised(np.exp(-0.5 * (LOG_FACTORS / log_sd) ** 2))


def learn(
    prior_log_sd: float,
    told: Sequence[Told],
    *,
    lot_log_sd: float = LOT_LOG_SD,
    sowing_log_sd: float = SOWING_LOG_SD,
) -> Learned:
    """A crop's factor, its lots' and each sowing's expectation, from what its sowings told.

    Parameters
    ----------
    prior_log_sd : float, how far ln(days) may lie from the table before anything is seen
    told : sequence of Told, the crop's sowings; those of lot None count each as a lot of its own
    lot_log_sd, sowing_log_sd : float, how lots of a crop and sowings of a lot differ

    Returns
    -------
    Learned

    Notes
    -----
    ln(factor) of the crop is normal about 0, that of a lot normal about its crop's, that of a sowing normal
    about its lot's; what was seen bears on the sowing's. Evidence passes up this tree and back down, on a
    grid, so that likelihoods need not be normal. `without` leaves out the sowing's own evidence: what was to
    be expected of it beforehand. Nothing is stored: taking a journal entry back takes its part of this back.

    References
    ----------
    Normal–normal updating with one level between: Gelman et al., Bayesian Data Analysis, chapter 5; evidence
    on a tree: Pearl 1988, Probabilistic Reasoning in Intelligent Systems, chapter 4.

    Examples
    --------
    >>> seen = -0.5 * ((LOG_FACTORS - 0.3) / 0.05) ** 2
    >>> found = learn(0.2, [Told(1, 7, seen)])
    >>> [round(x, 2) for x in found.crop.quantiles()], round(found.lots[7].quantiles()[1], 2)
    ([1.0, 1.18, 1.4], 1.28)
    """
    prior = before(prior_log_sd)
    groups: dict[tuple[str, int], list[Told]] = {}
    for each in told:
        key = ("sowing", each.sowing) if each.lot is None else ("lot", each.lot)
        groups.setdefault(key, []).append(each)
    up = {each.sowing: _upwards(each, sowing_log_sd) for each in told}
    lot_up = {
        key: sum((up[e.sowing] for e in group), np.zeros(LOG_FACTORS.size)) for key, group in groups.items()
    }
    crop_up = {key: _log_spread(found, lot_log_sd) for key, found in lot_up.items()}
    everything = sum(crop_up.values(), np.zeros(LOG_FACTORS.size))
    crop = prior.given(everything)
    lots: dict[int | None, Belief] = {}
    without: dict[int, Belief] = {}
    for key, group in groups.items():
        from_crop = prior.given(everything - crop_up[key]).widened(lot_log_sd)
        if key[0] == "lot":
            lots[key[1]] = from_crop.given(lot_up[key])
        for each in group:
            others = from_crop.given(lot_up[key] - up[each.sowing])
            without[each.sowing] = others.widened(sowing_log_sd)
    return Learned(prior, crop, lots, without, crop.widened(lot_log_sd))


def expected(learned: Learned, sowing: int, lot: int | None, sowing_log_sd: float = SOWING_LOG_SD) -> Belief:
    """What a sowing is to expect before anything is seen of it."""
    if sowing in learned.without:
        return learned.without[sowing]
    return learned.lots.get(lot, learned.new_lot).widened(sowing_log_sd)


def _upwards(told: Told, sowing_log_sd: float) -> FloatArray:
    return _log_spread(told.log_likelihood, float(np.hypot(sowing_log_sd, told.log_sd)))


def _log_spread(log_likelihood: FloatArray, log_sd: float) -> FloatArray:
    """The log-likelihood of what stands one level higher."""
    top = log_likelihood.max()
    return np.asarray(np.log(np.maximum(_spread(log_sd) @ np.exp(log_likelihood - top), 1e-300)) + top)


@lru_cache(maxsize=32)
def _kernel(log_sd: float) -> FloatArray:
    gaps = LOG_FACTORS[:, None] - LOG_FACTORS[None, :]
    kernel = np.exp(-0.5 * (gaps / log_sd) ** 2)
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


def _spread(log_sd: float) -> FloatArray:
    """The normal kernel between two levels; a width below half a step of the grid is that."""
    step = float(LOG_FACTORS[1] - LOG_FACTORS[0])
    return _kernel(round(max(log_sd, step / 2), 4))


def _normalised(weights: FloatArray) -> Belief:
    total = float(weights.sum())
    return Belief(weights / total if total > 0 else np.full(weights.size, 1.0 / weights.size))
