"""A head in the air, in water or in another tray is told from drying, draining and watering.

No publication gives limits; the recorded figures are in tests/figures/quality.py.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.misplaced import in_water, pulled_out, swaps
from traywarden.domain.series import FloatArray

STEP_S = 600.0
DRY_LINE, CAPACITY = 0.25, 0.55


def times(count: int) -> FloatArray:
    return np.arange(count, dtype=np.float64) * STEP_S


def drying(count: int, start: float = 0.5, tau_h: float = 60.0) -> FloatArray:
    return np.asarray(0.1 + (start - 0.1) * np.exp(-times(count) / 3600 / tau_h))


def test_a_head_in_the_air_is_found_with_its_beginning_and_end() -> None:
    wet = drying(300)
    wet[100:148] = 0.01
    (out,) = pulled_out(times(300), wet, DRY_LINE)
    assert (out.start_s, out.end_s, out.lasting) == (100 * STEP_S, 147 * STEP_S, False)
    assert out.before_m3_m3 == pytest.approx(wet[99], abs=0.01)


def test_a_head_still_in_the_air_is_lasting() -> None:
    wet = drying(300)
    wet[260:] = 0.02
    (out,) = pulled_out(times(300), wet, DRY_LINE)
    assert out.lasting


def test_one_odd_reading_is_no_head_in_the_air() -> None:
    wet = drying(300)
    wet[100] = 0.01
    assert pulled_out(times(300), wet, DRY_LINE) == []


def test_water_draining_from_a_soaked_mix_is_no_head_in_the_air() -> None:
    wet = drying(300)
    wet[50:60] = 0.72
    assert pulled_out(times(300), wet, DRY_LINE) == []


@given(st.floats(4.0, 400.0), st.floats(0.3, 0.6))
def test_no_drying_however_fast_is_taken_for_a_head_in_the_air(tau_h: float, start: float) -> None:
    assert pulled_out(times(600), drying(600, start, tau_h), DRY_LINE) == []


def test_a_fall_over_a_long_gap_proves_nothing() -> None:
    at_s = np.concatenate([times(50), times(50) + 20 * 86_400])
    wet = np.concatenate([np.full(50, 0.5), np.full(50, 0.02)])
    assert pulled_out(at_s, wet, DRY_LINE) == []


def test_what_stays_above_capacity_is_in_water_and_what_drains_is_not() -> None:
    wet = drying(400)
    wet[100:110] = 0.75  # a thorough watering, drained after an hour and a half
    assert in_water(times(400), wet, CAPACITY) == []
    wet[200:260] = 0.75  # ten hours
    (under,) = in_water(times(400), wet, CAPACITY)
    assert (under.start_s, under.end_s, under.lasting) == (200 * STEP_S, 259 * STEP_S, False)


def test_a_gap_is_not_time_in_water() -> None:
    at_s = np.array([0.0, 600.0, 90_000.0, 90_600.0])
    assert in_water(at_s, np.array([0.75, 0.75, 0.75, 0.75]), CAPACITY) == []


def test_two_heads_that_change_places_are_found_once_each_time() -> None:
    a, b = drying(600), drying(600, 0.25)
    a2, b2 = a.copy(), b.copy()
    a2[200:400], b2[200:400] = b[200:400], a[200:400]
    found = swaps({"p/1": (times(600), a2), "p/2": (times(600), b2), "p/3": (times(600), drying(600, 0.6))})
    assert [(s.a, s.b) for s in found] == [("p/1", "p/2"), ("p/1", "p/2")]
    assert [s.at_s / STEP_S for s in found] == [200, 400]


def test_one_tray_watered_up_to_the_other_is_no_swap() -> None:
    a, b = drying(600), drying(600, 0.25)
    b[300:] = a[300:]
    assert swaps({"p/1": (times(600), a), "p/2": (times(600), b)}) == []


def test_heads_that_read_alike_accuse_nobody() -> None:
    a = drying(600)
    assert swaps({"p/1": (times(600), a), "p/2": (times(600), a + 0.03)}) == []


def test_nothing_measured_is_no_trouble() -> None:
    none = np.full(50, np.nan)
    assert pulled_out(times(50), none, DRY_LINE) == []
    assert in_water(times(50), none, CAPACITY) == []
    assert swaps({"p/1": (times(50), none), "p/2": (times(50), none)}) == []
