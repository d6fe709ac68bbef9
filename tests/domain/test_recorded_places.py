"""A glasshouse compared with the open air. `python -m tests.figures compare` prints the figures."""

import pytest

from tests.figures import comparison

pytestmark = pytest.mark.data


def test_inside_is_10_7_degrees_above_outside_and_the_interval_holds_it() -> None:
    """The published mean over the common span; the stamps of the two files wander and are not shared."""
    mean = comparison.glasshouse().mean_difference_c
    assert mean.estimate == pytest.approx(10.7, abs=0.1)
    assert mean.low is not None
    assert mean.high is not None
    assert mean.low < 10.7 < mean.high
    assert mean.high - mean.low < 4


def test_missing_values_within_the_allowed_gap_leave_every_day_whole() -> None:
    found = comparison.glasshouse()
    assert found.days_counted == len(found.days) == 43
    assert found.gained_c_days is not None
    assert found.gained_c_days > 250
