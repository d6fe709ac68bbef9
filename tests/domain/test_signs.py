"""The exact tests and intervals against scipy.stats."""

from typing import Any

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.signs import (
    median_of_signs,
    sign_p_value,
    signed_rank_p_value,
    signs,
)


@pytest.mark.parametrize("n", range(1, 40))
def test_every_count_of_signs_has_scipy_s_binomial_p(n: int) -> None:
    for above in range(n + 1):
        theirs = stats.binomtest(above, n).pvalue
        assert sign_p_value(above, n - above) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("n", range(1, 31))
def test_signed_ranks_have_scipy_s_exact_p(n: int) -> None:
    values = np.random.default_rng(n).normal(0.4, 1.0, n)
    theirs = stats.wilcoxon(values, method="exact").pvalue
    assert signed_rank_p_value(values) == pytest.approx(theirs, rel=1e-9)


def test_ties_are_judged_as_by_scipy_s_permutations() -> None:
    """Every way to give the sizes their signs, counted out by scipy; ranks by scipy as well."""
    values = np.array([1.0, 1.0, 2.0, -1.0, 3.0, 3.0, -2.0, 4.0, 5.0])

    def rank_sum(x: np.ndarray) -> float:
        ranks = stats.rankdata(np.abs(x))
        return float(ranks[x > 0].sum())

    every: Any = np.inf
    theirs = stats.permutation_test(
        (values,), rank_sum, permutation_type="samples", n_resamples=every, vectorized=False
    )
    assert signed_rank_p_value(values) == pytest.approx(theirs.pvalue, rel=1e-9)


@pytest.mark.parametrize("n", range(6, 30))
def test_the_interval_of_the_median_is_scipy_s(n: int) -> None:
    values = np.random.default_rng(n).normal(size=n)
    ours = median_of_signs(values)
    theirs: Any = stats.quantile_test(values).confidence_interval(0.95)
    assert (ours.low, ours.high) == (theirs.low, theirs.high)
    assert ours.estimate == pytest.approx(np.median(values))


@pytest.mark.parametrize("n", range(6))
def test_five_values_have_no_interval_of_95_percent(n: int) -> None:
    found = median_of_signs(np.arange(float(n)))
    assert found.low is None
    assert found.reason == f"{n} of the 6 it takes"


def test_zeros_and_gaps_count_on_neither_side() -> None:
    found = signs([0.0, 1.0, np.nan, -2.0, 3.0])
    assert (found.above, found.below, found.zero) == (2, 1, 1)
    assert signed_rank_p_value([0.0, np.nan]) == 1.0
