"""Series that do not share stamps, brought together."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.alignment import align, interpolated


def test_values_between_close_readings_lie_on_the_line_and_none_are_made_over_a_gap() -> None:
    read = interpolated(
        [0.0, 600.0, 20_000.0, 20_600.0], [0.0, 6.0, 10.0, 16.0], [300.0, 5000.0, 20_300.0], 7200.0
    )
    assert read.tolist() == pytest.approx([3.0, np.nan, 13.0], nan_ok=True)


def test_nothing_is_known_before_the_first_reading_and_after_the_last() -> None:
    read = interpolated([600.0, 1200.0], [1.0, 2.0], [0.0, 600.0, 1200.0, 1201.0], 7200.0)
    assert read.tolist() == pytest.approx([np.nan, 1.0, 2.0, np.nan], nan_ok=True)


def test_missing_values_open_a_gap_only_if_it_grows_too_long() -> None:
    time_s, values = [0.0, 3600.0, 7200.0, 10_800.0], [0.0, np.nan, 2.0, 3.0]
    assert interpolated(time_s, values, [3600.0], 7200.0).tolist() == [1.0]
    assert np.isnan(interpolated(time_s, values, [3600.0], 7199.0)).all()


def test_no_readings_give_nothing() -> None:
    assert np.isnan(interpolated([], [], [0.0, 1.0], 7200.0)).all()


def test_two_clocks_that_wander_apart_are_compared_at_the_same_instants() -> None:
    """Both follow one line, so at common instants they must agree exactly."""
    rng = np.random.default_rng(4)
    a_s, b_s = (np.cumsum(rng.uniform(240, 360, 500)) for _ in range(2))
    pair = align(a_s, a_s / 1000, b_s, b_s / 1000, start_s=0.0, end_s=150_000.0, longest_gap_s=7200.0)
    assert pair.common.sum() > 450
    assert pair.a_c[pair.common] == pytest.approx(pair.b_c[pair.common], abs=1e-9)


@given(hours=st.integers(min_value=-15, max_value=14), quarters=st.integers(min_value=0, max_value=3))
def test_no_common_instant_falls_on_a_local_midnight(hours: int, quarters: int) -> None:
    """Whatever quarter of an hour a zone is off UTC, a step belongs to one day."""
    pair = align(
        [0.0, 1.0], [0.0, 0.0], [0.0, 1.0], [0.0, 0.0], start_s=0.0, end_s=172_800.0, longest_gap_s=1.0
    )
    local_s = pair.time_s + hours * 3600 + quarters * 900
    into_day_s = local_s % 86_400
    assert (into_day_s >= 150).all()
    assert (into_day_s <= 86_250).all()


def test_an_empty_span_is_refused() -> None:
    with pytest.raises(ValueError, match="end after it starts"):
        align([0.0], [0.0], [0.0], [0.0], start_s=5.0, end_s=5.0, longest_gap_s=1.0)
