"""Coverage of spans by readings, worked by hand and against a count of seconds."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.coverage import coverage, coverages


def test_readings_every_ten_minutes_cover_an_hour_wholly() -> None:
    assert coverage(np.arange(0, 3601, 600), 0, 3600, longest_gap_s=900) == 1.0


def test_a_gap_longer_than_allowed_covers_nothing() -> None:
    """0–600 and 3000–3600 of an hour: a third."""
    assert coverage([0, 600, 3000, 3600], 0, 3600, longest_gap_s=900) == pytest.approx(1200 / 3600)


def test_readings_just_outside_count_for_the_edges() -> None:
    assert coverage([-300, 300, 900], 0, 600, longest_gap_s=600) == 1.0


def test_one_reading_or_none_covers_nothing() -> None:
    assert coverage([], 0, 3600, longest_gap_s=900) == 0.0
    assert coverage([1800], 0, 3600, longest_gap_s=900) == 0.0


def test_an_empty_span_has_no_coverage() -> None:
    assert coverage([0, 600], 300, 300, longest_gap_s=900) == 0.0


def test_unsorted_times_are_refused() -> None:
    with pytest.raises(ValueError, match="ascending"):
        coverage([600, 0], 0, 3600, longest_gap_s=900)
    with pytest.raises(ValueError, match="NaN"):
        coverage([0, np.nan, 600], 0, 3600, longest_gap_s=900)


@given(
    st.lists(st.integers(0, 400), min_size=2, max_size=20, unique=True).map(sorted),
    st.integers(0, 400),
    st.integers(1, 200),
    st.integers(1, 100),
)
def test_equals_a_count_second_by_second(times: list[int], start: int, length: int, gap: int) -> None:
    counted = sum(
        any(a <= s and s + 1 <= b and b - a <= gap for a, b in pairwise(times))
        for s in range(start, start + length)
    )
    assert coverage(times, start, start + length, gap) == pytest.approx(counted / length)


def test_many_spans_at_once_equal_one_by_one() -> None:
    times = np.cumsum(np.random.default_rng(1).integers(60, 9000, 500))
    starts = np.arange(0, times[-1], 86_400)
    one_by_one = [coverage(times, s, s + 86_400, 7200) for s in starts]
    assert coverages(times, starts, starts + 86_400, 7200).tolist() == one_by_one
