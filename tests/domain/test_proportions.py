"""Shares and their difference against statsmodels and scipy."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from traywarden.domain.proportions import clopper_pearson, difference, jeffreys, wilson

COUNTS = [(40, 50), (1, 7), (0, 12), (12, 12), (390, 400), (3, 1000)]
TABLES = [
    (56, 70, 48, 80),
    (9, 20, 14, 20),
    (0, 10, 4, 12),
    (10, 10, 29, 30),
    (180, 200, 150, 190),
    (5, 5, 5, 5),
]


@pytest.mark.parametrize(("count", "total"), COUNTS)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_wilsons_interval_is_the_one_of_statsmodels(count: int, total: int, level: float) -> None:
    found = wilson(count, total, level)
    assert (found.low, found.high) == pytest.approx(
        proportion_confint(count, total, 1 - level, method="wilson"), abs=1e-12
    )


@pytest.mark.parametrize(("count", "total"), [c for c in COUNTS if 0 < c[0] < c[1]])
def test_jeffreys_interval_is_the_one_of_statsmodels(count: int, total: int) -> None:
    found = jeffreys(count, total)
    assert (found.low, found.high) == pytest.approx(
        proportion_confint(count, total, 0.05, method="jeffreys"), abs=1e-12
    )


@pytest.mark.parametrize(("count", "total"), COUNTS)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_the_exact_interval_is_the_one_of_scipy(count: int, total: int, level: float) -> None:
    ours = clopper_pearson(count, total, level)
    theirs = stats.binomtest(count, total).proportion_ci(level, method="exact")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_none_and_all_leave_an_end_at_the_limit() -> None:
    assert (jeffreys(0, 12).low, jeffreys(12, 12).high) == (0.0, 1.0)
    assert (wilson(0, 12).low, wilson(12, 12).high) == (0.0, 1.0)


def test_the_interval_of_a_difference_is_newcombes_published_one() -> None:
    """Newcombe 1998, table II, rows (a) 56/70 − 48/80 and (b) 9/10 − 3/10, method 10."""
    a, b = difference(56, 70, 48, 80), difference(9, 10, 3, 10)
    assert (a.low, a.high) == pytest.approx((0.0524, 0.3339), abs=5e-5)
    assert (b.low, b.high) == pytest.approx((0.1705, 0.8090), abs=5e-5)


@pytest.mark.parametrize("table", TABLES)
def test_the_difference_is_that_of_statsmodels_and_scipy(table: tuple[int, int, int, int]) -> None:
    a, n, b, m = table
    found = difference(a, n, b, m)
    assert (found.low, found.high) == pytest.approx(
        confint_proportions_2indep(a, n, b, m, method="newcomb", compare="diff"), abs=1e-9
    )
    fisher = stats.fisher_exact(np.array([[a, n - a], [b, m - b]])).pvalue
    assert found.fisher_p_value == pytest.approx(fisher, rel=1e-9)
    assert found.p_value <= found.fisher_p_value


def test_the_mid_p_leaves_out_half_of_the_tables_as_likely_as_the_one_seen() -> None:
    chances = stats.hypergeom(40, 20, 23).pmf(range(3, 21))
    seen = chances[9 - 3]
    by_hand = chances[chances < seen * (1 - 1e-7)].sum() + chances[abs(chances / seen - 1) < 1e-7].sum() / 2
    assert difference(9, 20, 14, 20).p_value == pytest.approx(by_hand, rel=1e-9)


@pytest.mark.parametrize(("count", "total"), [(5, 4), (-1, 4), (0, 0)])
def test_counts_that_cannot_be_are_refused(count: int, total: int) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        wilson(count, total)
