"""Bootstrap intervals against scipy and against simulations whose truth is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from traywarden.domain.bootstrap import Interval, block_length_for, mean_interval, median_interval

RNG_SEED = 20


def ends(interval: Interval) -> tuple[float, float]:
    assert interval.low is not None
    assert interval.high is not None
    return interval.low, interval.high


def test_blocks_of_one_give_scipy_s_percentile_interval_of_the_mean() -> None:
    """Both draw at random: ends agree to the scatter of a quantile in 9,999 draws (0.02 standard errors)."""
    values = np.random.default_rng(RNG_SEED).normal(10, 2, 40)
    ours = ends(mean_interval(values, block_length=1, expanded=False, runs=9999))
    theirs = stats.bootstrap((values,), np.mean, n_resamples=9999, method="percentile", rng=1)
    error = 2 / np.sqrt(40)
    assert ours == pytest.approx(theirs.confidence_interval, abs=0.1 * error)


def test_clusters_of_one_give_scipy_s_percentile_interval_of_the_median() -> None:
    """A median of draws is one of the values, so the ends agree to one neighbour among them."""
    values = np.sort(np.random.default_rng(RNG_SEED).normal(10, 2, 41))
    ours = ends(median_interval(values, list(range(41)), runs=9999))
    theirs = stats.bootstrap((values,), np.median, n_resamples=9999, method="percentile", rng=1)
    for mine, other in zip(ours, theirs.confidence_interval, strict=True):
        assert abs(int(np.searchsorted(values, mine)) - int(np.searchsorted(values, other))) <= 1


def held_in_simulation(n: int, likeness: float, simulations: int = 300) -> float:
    """How often the interval held the true mean of a first-order autoregression."""
    rng = np.random.default_rng(RNG_SEED)
    held = 0
    for k in range(simulations):
        shocks = rng.normal(size=n + 50)
        series = np.zeros(n + 50)
        for i in range(1, n + 50):
            series[i] = likeness * series[i - 1] + shocks[i]
        low, high = ends(mean_interval(series[50:], runs=400, seed=k))
        held += low <= 0 <= high
    return held / simulations


@pytest.mark.parametrize(
    ("n", "likeness", "least", "most"),
    [(60, 0.0, 0.92, 1.0), (60, 0.5, 0.83, 0.97), (14, 0.5, 0.78, 0.93), (7, 0.5, 0.68, 0.85)],
)
def test_the_interval_holds_the_truth_as_often_as_its_docstring_says(
    n: int, likeness: float, least: float, most: float
) -> None:
    """88, 86 and 77 % are stated; three standard errors of 300 simulations are about 7 %."""
    assert least <= held_in_simulation(n, likeness) <= most


def test_blocks_hold_the_truth_more_often_than_single_days_where_days_resemble_each_other() -> None:
    series = np.repeat(np.random.default_rng(RNG_SEED).normal(size=12), 5)
    low, high = ends(mean_interval(series, block_length=5))
    low_single, high_single = ends(mean_interval(series, block_length=1))
    assert high - low > 1.5 * (high_single - low_single)


def test_clusters_widen_the_interval_of_a_median() -> None:
    """Five stretches of each of six trays say little more than six values."""
    trays = np.random.default_rng(RNG_SEED).normal(10, 2, 6)
    values, labels = np.repeat(trays, 5), np.repeat(np.arange(6), 5).tolist()
    low, high = ends(median_interval(values, labels))
    low_alone, high_alone = ends(median_interval(values, list(range(30))))
    assert high - low > high_alone - low_alone


def test_the_same_seed_gives_the_same_interval_and_another_one_another() -> None:
    values = np.random.default_rng(RNG_SEED).normal(size=30)
    assert mean_interval(values) == mean_interval(values)
    assert mean_interval(values).low != mean_interval(values, seed=7).low


def test_weights_make_the_estimate_a_weighted_mean() -> None:
    interval = mean_interval([1.0, 2.0, 4.0, 100.0], weights=[3, 2, 1, 0])
    assert interval.estimate == pytest.approx(np.average([1, 2, 4], weights=[3, 2, 1]))
    assert interval.n == 3


def test_missing_values_keep_their_place_and_do_not_count() -> None:
    interval = mean_interval([1.0, np.nan, 3.0, 5.0, np.nan])
    assert (interval.estimate, interval.n) == (3.0, 3)


@pytest.mark.parametrize(("values", "estimate"), [([], None), ([np.nan], None), ([2.0, 4.0], 3.0)])
def test_fewer_than_three_values_give_no_interval_and_say_so(
    values: list[float], estimate: float | None
) -> None:
    interval = mean_interval(values)
    assert (interval.estimate, interval.low, interval.high) == (estimate, None, None)
    assert "too few to say" in interval.reason


def test_two_clusters_give_no_interval_and_say_so() -> None:
    interval = median_interval([1.0, 2.0, 3.0], ["a", "a", "b"])
    assert (interval.estimate, interval.low) == (2.0, None)
    assert interval.reason == "2 of the 3 trays an interval needs"


@given(st.lists(st.floats(min_value=-50, max_value=50), min_size=3, max_size=40))
@settings(max_examples=50)
def test_an_interval_lies_within_the_values_and_the_right_way_round(values: list[float]) -> None:
    low, high = ends(mean_interval(values, runs=200))
    assert min(values) - 1e-9 <= low <= high <= max(values) + 1e-9


def test_block_lengths_are_cube_roots() -> None:
    assert [block_length_for(n) for n in (1, 7, 8, 27, 28, 365)] == [1, 2, 2, 3, 4, 8]


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="block length 9"):
        mean_interval([1.0, 2.0, 3.0], block_length=9)
    with pytest.raises(ValueError, match="one weight"):
        mean_interval([1.0, 2.0, 3.0], weights=[1.0])
    with pytest.raises(ValueError, match="one cluster"):
        median_interval([1.0, 2.0], ["a"])
    with pytest.raises(ValueError, match="one-dimensional"):
        mean_interval(np.zeros((2, 2)))
