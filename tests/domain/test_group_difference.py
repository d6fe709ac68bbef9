"""Trays against trays, checked against scipy's Welch test."""

import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from traywarden.domain.group_difference import group_difference, holm


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ([0.9, 0.85, 0.95], [0.6, 0.7, 0.65]),
        ([9.5, 10.1], [7.0, 8.8, 9.9, 10.4, 7.7]),
        ([1.0, 2.0], [1.5, 1.6]),
    ],
)
def test_it_is_welchs_test(a: list[float], b: list[float]) -> None:
    found, other = group_difference(a, b), stats.ttest_ind(a, b, equal_var=False)
    assert found is not None
    interval = other.confidence_interval(0.95)
    assert found.p_value == pytest.approx(other.pvalue)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))


def test_one_tray_on_a_side_has_a_difference_but_no_interval() -> None:
    found = group_difference([0.9], [0.6, 0.7])
    assert found is not None
    assert found.estimate == pytest.approx(0.25)
    assert (found.low, found.p_value) == (None, None)
    assert "one tray" in found.reason
    assert group_difference([], [0.6]) is None


def test_trays_all_alike_have_no_scatter_to_measure_by() -> None:
    found = group_difference([0.9, 0.9], [0.6, 0.6])
    assert found is not None
    assert (found.low, found.reason) == (None, "no scatter between trays")


@pytest.mark.parametrize("p_values", [[0.01, 0.04, 0.03], [0.2], [], [0.5, 0.5, 0.001, 0.9]])
def test_several_comparisons_are_made_stricter_as_holm_does(p_values: list[float]) -> None:
    theirs = multipletests(p_values, method="holm")[1].tolist() if p_values else []
    assert holm(p_values) == pytest.approx(theirs)
