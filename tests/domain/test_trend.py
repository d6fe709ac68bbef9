"""The median slope is scipy's, its interval too, and outliers and gaps do not bend it."""

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.trend import trend


@pytest.mark.parametrize("seed", range(8))
def test_slope_and_interval_are_those_of_scipy(seed: int) -> None:
    """scipy.stats.theilslopes, with and without ties; its usual intercept is another one than ours."""
    rng = np.random.default_rng(seed)
    times = np.sort(rng.uniform(0, 100, 15 + seed))
    values = 2.0 + 0.03 * times + rng.normal(0, 0.5, times.size)
    if seed % 2:
        values = np.round(values, 0)
    found, theirs = trend(times, values), stats.theilslopes(values, times, 0.95)
    assert found is not None
    assert found.per_s == pytest.approx(theirs.slope)
    assert found.at(0.0) == pytest.approx(np.median(values - theirs.slope * times))
    assert found.low_per_s == pytest.approx(theirs.low_slope)
    assert found.high_per_s == pytest.approx(theirs.high_slope)


def test_a_third_of_outliers_leaves_the_slope_alone() -> None:
    times = np.arange(30.0)
    values = 0.5 + 0.01 * times
    values[::4] += 3.0
    found = trend(times, values)
    assert found is not None
    assert found.per_s == pytest.approx(0.01, abs=0.003)


def test_missing_values_are_left_out_and_too_few_have_no_interval_or_no_line() -> None:
    found = trend([0, 1, 2, 3], [1.0, np.nan, 1.2, 1.3])
    assert found is not None
    assert (found.n, found.low_per_s) == (3, None)
    assert found.per_s == pytest.approx(0.1)
    assert trend([5, 5], [1.0, 2.0]) is None
    assert trend([], []) is None
    with pytest.raises(ValueError, match="one time"):
        trend([1.0], [1.0, 2.0])
