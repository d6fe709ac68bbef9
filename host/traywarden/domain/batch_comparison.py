"""Two batches side by side: did more come up, and sooner, or may it be chance?"""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy import special

from traywarden.domain.batches import Batch, Reached, vague_steps
from traywarden.domain.germination_metrics import Floats
from traywarden.domain.interval_censored import LogRank, log_rank
from traywarden.domain.proportions import LEVEL, Difference, difference

ALPHA = 0.05
ALIKE = 0.10
"""Shares whose difference surely lies within this are called alike (common practice, no source)."""
ALIKE_D = 1.0
"""The same for times to half up [d] (common practice, no source)."""
SAME_AGE_D = 0.5
"""Counts no further apart than this [d] are taken as made at one age (no source): those of trays sown at
any hour and counted daily are, and in a whole day a tray may gain a fifth of its seedlings."""
LEAST_UP = 3
"""Fewer seedlings than this on a side have no middle to speak of (common practice, no source)."""
DRAWS = 4000
SEED = 1984
JITTER = 0.25


class Verdict(StrEnum):
    A = "a"  # the first has more, or was sooner
    B = "b"
    ALIKE = "alike"
    UNKNOWN = "unknown"  # it may be chance, or was not counted


class Basis(StrEnum):
    """Which counts are held against each other."""

    SAME_AGE = "same age"  # both were counted at that age, or had not changed around it
    BOUNDS = "bounds"  # one was not, but whatever it was then, the answer is the same
    LAST = "last counts"  # each at its last count, at different ages


@dataclass(frozen=True, slots=True)
class Timing:
    """How many days sooner the first batch had half of its seedlings up; below 0: later.

    `low_d` and `high_d` are the interval's ends. `sooner_d` is None where somebody looked too seldom to say:
    then only between which visits half was up is known, `a_half` and `b_half`, and the ends go as far as
    those visits allow. Over the seedlings up at the ages `a_d` and `b_d`.
    """

    sooner_d: float | None
    low_d: float | None
    high_d: float | None
    log_rank: LogRank | None
    verdict: Verdict
    times_more: float | None = None
    reason: str = ""
    a_d: float | None = None
    b_d: float | None = None
    a_half: Reached | None = None
    b_half: Reached | None = None


@dataclass(frozen=True, slots=True)
class Numbers:
    """Share of the seeds that came up, first batch minus second, at the ages `a_d` and `b_d`.

    With bounds, the count that was not made stands as what speaks least for the verdict: `a_limit`, `b_limit`
    say “at least” or “at most” then. `reason` says why nothing can be told where it is not for chance.
    """

    a_up: int
    a_sown: int
    b_up: int
    b_sown: int
    difference: Difference
    verdict: Verdict
    times_more: float | None
    basis: Basis
    a_d: float
    b_d: float
    reason: str = ""
    a_limit: str = ""
    b_limit: str = ""


@dataclass(frozen=True, slots=True)
class BatchComparison:
    """`common_d`: the age up to which both were counted, the lesser of both last counts. `numbers` None where
    it is not known how many seeds were sown; `reason` says so. `rising`: whether either was still coming up
    at the counts compared."""

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
    Numbers: of two batches that came up to their end, the last counts. Else at the age up to which both were
    counted, so that the batch sown first has no longer time to come up. Where one was not counted at that
    age, to within half a day, it held no fewer than at its count before and no more than at its count after;
    if both ends give the same verdict, that stands. Else the last counts are compared, where the batch
    counted earlier had come up to its end by then; where not, it cannot be told. Mid-P of Fisher's exact
    test, with Newcombe's interval.

    Times: over the seedlings that came up by the last age at which both were counted, or over all of them
    where both came up to their end; the log-rank test for times between two visits, by shuffling; the
    difference of the times to half up with an interval from 4000 redraws of the seedlings. Where between two
    visits the middle seedling came up is not known: a straight line is taken, give or take a quarter of the
    step between the visits; in a step that may hide anything (`vague_steps`), both its ends are.

    Seeds of one tray share its luck, so that it says how these two trays differ, not that their place, mix
    or lot did it.

    References
    ----------
    See `proportions.difference`, `interval_censored.log_rank`; seeds needed: 80 % power,
    Agresti 2002, Categorical Data Analysis, 6.5; bounds for what was not observed: Manski 2003, Partial
    Identification of Probability Distributions, chapter 1 (from memory).

    Raises
    ------
    ValueError if a batch has no count.
    """
    if a.watched_d is None or b.watched_d is None:
        raise ValueError("a batch without a count cannot be compared")
    common_d = min(a.watched_d, b.watched_d)
    numbers, reason = None, ""
    if a.sown and b.sown:
        numbers = _numbers(a, b, common_d)
    else:
        reason = "how many seeds were sown is not known of " + ("both" if not (a.sown or b.sown) else "one")
    a_d, b_d = (a.watched_d, b.watched_d) if numbers is None else (numbers.a_d, numbers.b_d)
    rising = a.within(a_d).still_rising or b.within(b_d).still_rising
    return BatchComparison(common_d, numbers, _timing(a, b, common_d), rising, reason)


def _numbers(a: Batch, b: Batch, common_d: float) -> Numbers:
    """At one age, exactly or by bounds; else at the last counts, as far as those can be held together."""
    last_d = a.watched_d or 0.0, b.watched_d or 0.0
    apart = abs(last_d[0] - last_d[1]) > SAME_AGE_D
    final = _held(a, a.up, b, b.up, Basis.LAST if apart else Basis.SAME_AGE, *last_d)
    if (a.complete and b.complete) or not apart:
        return (
            final if a.complete or b.complete or a.up + b.up else _cannot(final, "none had come up by then")
        )
    a_at, b_at = a.up_at(common_d, SAME_AGE_D), b.up_at(common_d, SAME_AGE_D)
    a_d, b_d = (common_d if x.at_d is None else x.at_d for x in (a_at, b_at))
    some = a_at.fewest + b_at.fewest > 0
    if a_at.exact and b_at.exact:
        if some:
            return _held(a, a_at.fewest, b, b_at.fewest, Basis.SAME_AGE, a_d, b_d)
    elif a_at.most is not None and b_at.most is not None:
        # What speaks most for b, and most for a: whatever was up lies between.
        for_b = _held(a, a_at.fewest, b, b_at.most, Basis.BOUNDS, a_d, b_d)
        for_a = _held(a, a_at.most, b, b_at.fewest, Basis.BOUNDS, a_d, b_d)
        sure = (Verdict.A, Verdict.B, Verdict.ALIKE) if some else (Verdict.A, Verdict.B)
        if for_a.verdict is for_b.verdict and for_a.verdict in sure:
            least, limits = (
                (for_a, ("at most", "at least"))
                if for_a.verdict is Verdict.B
                else (for_b, ("at least", "at most"))
            )
            return replace(
                least,
                a_limit="" if a_at.exact else limits[0],
                b_limit="" if b_at.exact else limits[1],
            )
    earlier = a if last_d[0] < last_d[1] else b
    return final if earlier.complete else _cannot(final, "the one counted earlier was still coming up")


def _cannot(found: Numbers, reason: str) -> Numbers:
    return replace(found, verdict=Verdict.UNKNOWN, times_more=None, reason=reason)


def _held(a: Batch, a_up: int, b: Batch, b_up: int, basis: Basis, a_d: float, b_d: float) -> Numbers:
    a_sown, b_sown = a.sown or 0, b.sown or 0
    found = difference(a_up, a_sown, b_up, b_sown)
    verdict = Verdict.UNKNOWN
    if found.p_value < ALPHA:
        verdict = Verdict.A if found.estimate > 0 else Verdict.B
    elif found.low >= -ALIKE and found.high <= ALIKE:
        verdict = Verdict.ALIKE
    more = None
    if verdict is Verdict.UNKNOWN:
        together = (a_up + b_up) / (a_sown + b_sown)
        error = (together * (1 - together) * (1 / a_sown + 1 / b_sown)) ** 0.5
        more = _times_more(found.estimate / error if error > 0 else 0.0)
    return Numbers(a_up, a_sown, b_up, b_sown, found, verdict, more, basis, a_d, b_d)


def _watched_alike(a: Batch, b: Batch, common_d: float) -> tuple[Batch, Batch] | None:
    """Both whole where both came up to their end; else both up to the last age at which it is known of both
    how many were up, None where there is none."""
    if a.complete and b.complete:
        return a, b
    for age_d in sorted({*a.steps()[0].tolist(), *b.steps()[0].tolist()}, reverse=True):
        a_at, b_at = a.up_at(age_d, SAME_AGE_D), b.up_at(age_d, SAME_AGE_D)
        if age_d <= common_d + SAME_AGE_D and a_at.exact and b_at.exact:
            a_d, b_d = (age_d if x.at_d is None else x.at_d for x in (a_at, b_at))
            return a.within(a_d), b.within(b_d)
    return None


def _timing(a: Batch, b: Batch, common_d: float) -> Timing:
    alike = _watched_alike(a, b, common_d)
    few = f"fewer than {LEAST_UP} seedlings came up on one side"
    if alike is None or min(alike[0].up, alike[1].up) < LEAST_UP:
        apart = "they were not counted on the same days while they came up"
        whole = alike is not None and (alike[0].up, alike[1].up) == (a.up, b.up)
        return _untold(few if whole or min(a.up, b.up) < LEAST_UP else apart)
    a, b = alike
    a_half, b_half = a.reached(0.5), b.reached(0.5)
    assert a_half is not None
    assert b_half is not None
    tested = log_rank(a.between(), b.between())
    rng = np.random.default_rng(SEED)
    b_from, b_to = _half_d(b, rng)
    a_from, a_to = _half_d(a, rng)
    low_d = float(np.quantile(b_from - a_to, (1 - LEVEL) / 2))
    high_d = float(np.quantile(b_to - a_from, (1 + LEVEL) / 2))
    clear = a_half.at_d is not None and b_half.at_d is not None
    middle_d = _middle_d(b_half) - _middle_d(a_half)
    verdict = Verdict.UNKNOWN
    if tested.p_value < ALPHA and middle_d * tested.score > 0:
        verdict = Verdict.A if middle_d > 0 else Verdict.B
    elif tested.p_value >= ALPHA and low_d >= -ALIKE_D and high_d <= ALIKE_D:
        verdict = Verdict.ALIKE
    more = None
    reason = ""
    if verdict is Verdict.UNKNOWN:
        if tested.p_value < ALPHA:
            reason = "they did not come up alike, though half were up at much the same time"
        elif clear:
            more = _times_more(tested.z)
    return Timing(
        middle_d if clear else None,
        low_d,
        high_d,
        tested,
        verdict,
        more,
        reason,
        a.watched_d,
        b.watched_d,
        a_half,
        b_half,
    )


def _untold(reason: str) -> Timing:
    return Timing(None, None, None, None, Verdict.UNKNOWN, reason=reason)


def _middle_d(half: Reached) -> float:
    return (half.from_d + half.to_d) / 2 if half.at_d is None else half.at_d


def _half_d(batch: Batch, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Times to half up of redrawn seedlings, at the earliest and at the latest [d]."""
    spans = batch.between()
    drawn = rng.multinomial(batch.up, spans.count / batch.up, size=DRAWS)
    up = np.cumsum(drawn, axis=1)
    which = (up >= batch.up / 2).argmax(axis=1)
    row = np.arange(DRAWS)
    before = up[row, which] - drawn[row, which]
    part = (batch.up / 2 - before) / drawn[row, which]
    part = np.clip(part + JITTER * (2 * rng.random(DRAWS) - 1), 0.0, 1.0)
    vague, step_d = vague_steps(spans)[which], (spans.to_d - spans.from_d)[which]
    earliest_d = spans.from_d[which] + np.where(vague, 0.0, part) * step_d
    latest_d = spans.from_d[which] + np.where(vague, 1.0, part) * step_d
    return np.asarray(earliest_d), np.asarray(latest_d)


def _times_more(z: float) -> float | None:
    """How many times as many seeds would show such a difference four times in five; None: hopeless."""
    needed = float(special.ndtri(1 - ALPHA / 2) + special.ndtri(0.8))
    times = (needed / z) ** 2 if z else np.inf
    return float(times) if 1 < times <= 20 else None
