"""Two batches side by side: did more come up, and sooner, or may it be chance?"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import special

from traywarden.domain.batches import RISING, Batch
from traywarden.domain.germination_metrics import Floats
from traywarden.domain.interval_censored import LogRank, log_rank
from traywarden.domain.proportions import LEVEL, Difference, difference

ALPHA = 0.05
ALIKE = 0.10
"""Shares whose difference surely lies within this are called alike (common practice, no source)."""
ALIKE_D = 1.0
"""The same for times to half up [d] (common practice, no source)."""
SAME_AGE_D = 1.0
LEAST_UP = 3
"""Fewer seedlings than this on a side have no middle to speak of (common practice, no source)."""
DRAWS = 4000
SEED = 1984
JITTER = 0.25


class Verdict(StrEnum):
    A = "a"  # the first has more, or was sooner
    B = "b"
    ALIKE = "alike"
    UNKNOWN = "unknown"  # it may be chance


@dataclass(frozen=True, slots=True)
class Timing:
    """How many days sooner the first batch had half of its seedlings up; below 0: later.

    Over the seedlings that came up while both were watched. `low_d` and `high_d` are the interval's ends.
    """

    sooner_d: float | None
    low_d: float | None
    high_d: float | None
    log_rank: LogRank | None
    verdict: Verdict
    times_more: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Numbers:
    """Share of the seeds that came up, first batch minus second, while both were watched."""

    a_up: int
    a_sown: int
    b_up: int
    b_sown: int
    difference: Difference
    verdict: Verdict
    times_more: float | None


@dataclass(frozen=True, slots=True)
class BatchComparison:
    """`common_d`: the age up to which both were counted, to within a day. `numbers` None where it is not
    known how many seeds were sown; `reason` says so. `rising`: whether either was still coming up then."""

    common_d: float
    numbers: Numbers | None
    timing: Timing
    rising: bool
    reason: str = ""


def compare_batches(a: Batch, b: Batch) -> BatchComparison:
    """Compare how many came up and how soon.

    Parameters
    ----------
    a, b : Batch, each with at least one count

    Returns
    -------
    BatchComparison; differences are a − b for shares, and days by which a was sooner for times

    Notes
    -----
    Only what was counted up to an age that both reached is compared, so that the batch sown first has no
    longer time to come up. Numbers: mid-P of Fisher's exact test, with Newcombe's interval. Times: over the
    seedlings that came up by then, the log-rank test for times between two visits, by shuffling; the
    difference of the times to half up with an interval from 4000 redraws of the seedlings. Where between
    two visits the middle seedling came up is not known: a straight line is taken, give or take a quarter of
    the step between the visits. Seeds of one tray share its luck, so that it says how these two trays
    differ, not that their place, mix or lot did it.

    References
    ----------
    See `proportions.difference`, `interval_censored.log_rank`; seeds needed: 80 % power,
    Agresti 2002, Categorical Data Analysis, 6.5.

    Raises
    ------
    ValueError if a batch has no count.
    """
    if a.watched_d is None or b.watched_d is None:
        raise ValueError("a batch without a count cannot be compared")
    common_d = min(a.watched_d, b.watched_d)
    a_cut, b_cut = a.within(common_d + SAME_AGE_D), b.within(common_d + SAME_AGE_D)
    numbers, reason = None, ""
    if a.sown and b.sown:
        numbers = _numbers(a_cut, a.sown, b_cut, b.sown)
    else:
        reason = "how many seeds were sown is not known of " + ("both" if not (a.sown or b.sown) else "one")
    rising = any(x.counts and x.counts[-1].newly_up > RISING * x.up for x in (a_cut, b_cut))
    return BatchComparison(common_d, numbers, _timing(a_cut, b_cut), rising, reason)


def _numbers(a: Batch, a_sown: int, b: Batch, b_sown: int) -> Numbers:
    found = difference(a.up, a_sown, b.up, b_sown)
    verdict = Verdict.UNKNOWN
    if found.p_value < ALPHA:
        verdict = Verdict.A if found.estimate > 0 else Verdict.B
    elif found.low >= -ALIKE and found.high <= ALIKE:
        verdict = Verdict.ALIKE
    more = None
    if verdict is Verdict.UNKNOWN:
        together = (a.up + b.up) / (a_sown + b_sown)
        error = (together * (1 - together) * (1 / a_sown + 1 / b_sown)) ** 0.5
        more = _times_more(found.estimate / error if error > 0 else 0.0)
    return Numbers(a.up, a_sown, b.up, b_sown, found, verdict, more)


def _timing(a: Batch, b: Batch) -> Timing:
    if min(a.up, b.up) < LEAST_UP:
        few = f"fewer than {LEAST_UP} seedlings came up on one side"
        return Timing(None, None, None, None, Verdict.UNKNOWN, reason=few)
    tested = log_rank(a.between(), b.between())
    rng = np.random.default_rng(SEED)
    sooner = _half_d(b, rng) - _half_d(a, rng)
    low_d, high_d = (float(end) for end in np.quantile(sooner, [(1 - LEVEL) / 2, (1 + LEVEL) / 2]))
    seen_d = _middle_d(b) - _middle_d(a)
    verdict = Verdict.UNKNOWN
    if tested.p_value < ALPHA and seen_d * tested.score > 0:
        verdict = Verdict.A if seen_d > 0 else Verdict.B
    elif tested.p_value >= ALPHA and low_d >= -ALIKE_D and high_d <= ALIKE_D:
        verdict = Verdict.ALIKE
    more = _times_more(tested.z) if verdict is Verdict.UNKNOWN and tested.p_value >= ALPHA else None
    reason = ""
    if tested.p_value < ALPHA and verdict is Verdict.UNKNOWN:
        reason = "they did not come up alike, though half were up at much the same time"
    return Timing(seen_d, low_d, high_d, tested, verdict, more, reason)


def _middle_d(batch: Batch) -> float:
    middle_d = batch.metrics()
    assert middle_d is not None
    assert middle_d.t50_farooq_d is not None
    return middle_d.t50_farooq_d


def _half_d(batch: Batch, rng: np.random.Generator) -> Floats:
    """Times to half up of redrawn seedlings [d]."""
    spans = batch.between()
    drawn = rng.multinomial(batch.up, spans.count / batch.up, size=DRAWS)
    up = np.cumsum(drawn, axis=1)
    which = (up >= batch.up / 2).argmax(axis=1)
    row = np.arange(DRAWS)
    before = up[row, which] - drawn[row, which]
    part = (batch.up / 2 - before) / drawn[row, which]
    part = np.clip(part + JITTER * (2 * rng.random(DRAWS) - 1), 0.0, 1.0)
    return np.asarray(spans.from_d[which] + part * (spans.to_d - spans.from_d)[which])


def _times_more(z: float) -> float | None:
    """How many times as many seeds would show such a difference four times in five; None: hopeless."""
    needed = float(special.ndtri(1 - ALPHA / 2) + special.ndtri(0.8))
    times = (needed / z) ** 2 if z else np.inf
    return float(times) if 1 < times <= 20 else None
