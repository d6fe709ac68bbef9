"""Times between visits: against lifelines, a published test result, and plain shuffling."""

import numpy as np
import pytest
from lifelines.fitters.npmle import npmle as theirs

from tests.domain.cosmesis import COSMESIS
from traywarden.domain.interval_censored import Between, between, log_rank, npmle


def cosmesis(group: int) -> Between:
    rows = [(left, right) for left, right, of in COSMESIS if of == group]
    return between([r[0] for r in rows], [r[1] for r in rows], [1] * len(rows))


def test_the_distribution_is_the_one_of_lifelines() -> None:
    """Its spans hold both their ends and ours only the right one: its left ends are moved on a little."""
    for group in (0, 1):
        seen = cosmesis(group)
        masses, spans = theirs(seen.from_d + 0.01, seen.to_d, tol=1e-10)
        other = {round(right, 2): mass for mass, (_, right) in zip(masses, spans, strict=True) if mass > 1e-6}
        found = npmle(seen)
        ours = {right: mass for mass, right in zip(found.mass, found.to_d, strict=True) if mass > 1e-6}
        assert ours == pytest.approx(other, abs=1e-5)


def test_the_distribution_is_the_published_one() -> None:
    """Fay & Shaw 2010, radiation only, as printed to four decimals (from memory; confirmed as below)."""
    found = npmle(cosmesis(0))
    kept = found.mass > 1e-6
    assert list(zip(found.from_d[kept], found.to_d[kept], found.mass[kept].round(4), strict=True)) == [
        (4, 5, 0.0463),
        (6, 7, 0.0334),
        (7, 8, 0.0887),
        (11, 12, 0.0708),
        (24, 25, 0.0926),
        (33, 34, 0.0818),
        (38, 40, 0.1209),
        (46, 48, 0.4656),
    ]


def test_no_other_distribution_is_likelier() -> None:
    """The condition of the maximum: no slope exceeds the number of seeds (Gentleman & Geyer 1994)."""
    seen = cosmesis(1)
    found = npmle(seen)
    within = (seen.from_d[:, None] <= found.from_d) & (found.to_d <= seen.to_d[:, None])
    slope = (within / (within @ found.mass)[:, None] * seen.count[:, None]).sum(axis=0)
    assert slope.max() == pytest.approx(seen.count.sum(), rel=1e-6)


def test_for_one_tray_it_is_just_the_parts_counted() -> None:
    found = npmle(between([0, 3, 5, 9], [3, 5, 9, np.inf], [0, 12, 6, 2]))
    assert found.mass.tolist() == pytest.approx([0.6, 0.3, 0.1])


def test_the_log_rank_test_is_the_published_one() -> None:
    """Breast cosmesis data of Finkelstein & Wolfe 1985 in Fay & Shaw 2010, J. Stat. Softw. 36(2), section 4:
    score −9.141846 for radiation only, Z = −2.6684, P = 0.007622. (The three numbers are from memory; that
    all of them come out to the last digit is what confirms them.)"""
    found = log_rank(cosmesis(0), cosmesis(1))
    assert round(found.score, 6) == -9.141846
    assert round(found.z, 4) == -2.6684
    assert round(found.asymptotic_p_value, 6) == 0.007622
    assert found.p_value == pytest.approx(found.asymptotic_p_value, abs=0.002)


def test_the_shuffled_p_is_that_of_shuffling_seed_by_seed() -> None:
    first = between([2, 4, 6], [4, 6, 8], [3, 4, 2])
    second = between([2, 4, 6, 8], [4, 6, 8, 10], [1, 2, 4, 3])
    found = log_rank(first, second)
    whole = log_rank(first, second, runs=1)  # for its z only
    assert whole.z == found.z
    scores = _score_of_each(first, second)
    rng = np.random.default_rng(7)
    n_first = int(first.count.sum())
    off = abs(scores[:n_first].sum() - n_first * scores.mean())
    shuffled = np.array([rng.permutation(scores)[:n_first].sum() for _ in range(20_000)])
    p_value = (np.abs(shuffled - n_first * scores.mean()) >= off - 1e-9).mean()
    assert found.p_value == pytest.approx(p_value, abs=0.01)


def _score_of_each(first: Between, second: Between) -> np.ndarray:
    """Each seed's score is what the statistic would be if it alone were the first group."""
    spans = [
        (left, right)
        for part in (first, second)
        for left, right, n in zip(part.from_d, part.to_d, part.count, strict=True)
        for _ in range(n)
    ]
    scores = []
    for k, (left, right) in enumerate(spans):
        rest = spans[:k] + spans[k + 1 :]
        alone = between([left], [right], [1])
        others = between([s[0] for s in rest], [s[1] for s in rest], [1] * len(rest))
        scores.append(log_rank(alone, others, runs=1).score)
    return np.array(scores)


def test_which_comes_first_makes_no_difference_to_p() -> None:
    first, second = between([2, 4], [4, 6], [9, 3]), between([2, 4], [4, 6], [4, 8])
    there, back = log_rank(first, second), log_rank(second, first)
    assert there.z == pytest.approx(-back.z)
    assert there.asymptotic_p_value == pytest.approx(back.asymptotic_p_value)
    assert there.score > 0  # the earlier group


def test_groups_that_came_in_one_span_cannot_be_told_apart() -> None:
    found = log_rank(between([0], [5], [9]), between([0], [5], [4]))
    assert (found.z, found.p_value) == (0.0, 1.0)


def test_spans_without_a_length_and_counts_below_none_are_refused() -> None:
    with pytest.raises(ValueError, match="length"):
        between([3], [3], [1])
    with pytest.raises(ValueError, match="below 0"):
        between([3], [4], [-1])
    with pytest.raises(ValueError, match="at least one seed"):
        npmle(between([3], [4], [0]))
