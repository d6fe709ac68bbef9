"""The likelihood of what was seen, against scipy's own distributions and numerical integration."""

import numpy as np
import pytest
from scipy import integrate, stats

from traywarden.domain.looks import (
    FAILING,
    LOG_FACTORS,
    SPREAD_WEIGHTS,
    SPREADS,
    Look,
    Seeds,
    log_likelihood,
)

AT = np.array([-0.5, -0.2, 0.0, 0.15, 0.6])
SPREAD = 0.2


def by_scipy(intervals: list[tuple[float, float]], counts: list[int], seeds: Seeds, x: float) -> float:
    """Chance of so many seeds in each interval: scipy's multinomial, averaged by scipy's quadrature over
    scipy's beta for the share that comes up, and over the three spreads."""

    def given(share: float, spread: float) -> float:
        law = stats.lognorm(s=spread, scale=np.exp(x))
        parts = [share * (law.cdf(high) - law.cdf(low)) for low, high in intervals]
        rest = 1.0 - sum(parts)
        never = seeds.count - sum(counts)
        return float(stats.multinomial.pmf([*counts, never], seeds.count, [*parts, rest]))

    beta = stats.beta(10 * seeds.germination, 10 * (1 - seeds.germination))
    return sum(
        weight * integrate.quad(lambda g, s=times * SPREAD: beta.pdf(g) * given(g, s), 0.0, 1.0, limit=200)[0]
        for times, weight in zip(SPREADS, SPREAD_WEIGHTS, strict=True)
    )


@pytest.mark.parametrize("x", AT)
def test_counts_between_looks_are_multinomial_in_the_intervals(x: float) -> None:
    """The share is averaged over 24 steps: to 4 % of the probability."""
    seeds = Seeds(12, 0.8)
    looks = [Look(0.7, 0), Look(1.0, 4), Look(1.5, 9)]
    expected = by_scipy([(0.0, 0.7), (0.7, 1.0), (1.0, 1.5)], [0, 4, 5], seeds, x)
    found = log_likelihood(looks, seeds, np.array([x]), SPREAD)[0]
    assert found == pytest.approx(np.log(1 - FAILING) + np.log(expected), abs=0.04)


@pytest.mark.parametrize("x", AT)
def test_some_seen_means_one_or_more_since_the_empty_look(x: float) -> None:
    seeds = Seeds(8, 0.7)
    none_by = [by_scipy([(0.0, d)], [0], seeds, x) for d in (0.6, 0.9)]
    expected = none_by[0] - none_by[1]
    found = log_likelihood([Look(0.6, 0), Look(0.9, None)], seeds, np.array([x]), SPREAD)[0]
    assert found == pytest.approx(np.log(1 - FAILING) + np.log(expected), abs=0.04)


@pytest.mark.parametrize("x", AT)
def test_none_up_yet_is_information_too_but_may_be_a_failed_sowing(x: float) -> None:
    seeds = Seeds(20, 0.9)
    expected = (1 - FAILING) * by_scipy([(0.0, 1.3)], [0], seeds, x) + FAILING
    found = log_likelihood([Look(1.3, 0)], seeds, np.array([x]), SPREAD)[0]
    assert found == pytest.approx(np.log(expected), abs=0.05)


def test_an_empty_look_moves_belief_to_slower_seed_and_a_full_one_to_faster() -> None:
    seeds = Seeds(50, 0.8)
    empty = log_likelihood([Look(1.0, 0)], seeds)
    early = log_likelihood([Look(0.5, 0), Look(0.8, 35)], seeds)
    assert LOG_FACTORS[empty.argmax()] > 0.3
    assert LOG_FACTORS[early.argmax()] < -0.2


def test_counts_that_fall_are_read_as_the_highest_before() -> None:
    seeds = Seeds(30, 0.8)
    fell = log_likelihood([Look(0.9, 10), Look(1.1, 8)], seeds)
    stayed = log_likelihood([Look(0.9, 10), Look(1.1, 10)], seeds)
    np.testing.assert_allclose(fell, stayed)


def test_nothing_seen_says_nothing() -> None:
    assert not log_likelihood([], Seeds(10, 0.8)).any()


@pytest.mark.parametrize("count", [0, 5, 400, None])
def test_extreme_looks_stay_finite(count: int | None) -> None:
    for progress in (1e-6, 0.3, 6.0):
        found = log_likelihood([Look(progress, count)], Seeds(400, 0.99))
        assert np.isfinite(found).all()
