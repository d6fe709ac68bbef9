"""Adding up development since sowing: against integration by scipy, over gaps, and where it is blind."""

import numpy as np
import pytest
from scipy.integrate import quad

from traywarden.domain.development import RateCurve, curve_for
from traywarden.domain.progress import Progress, progress_since
from traywarden.domain.series import FloatArray
from traywarden.store.crops import load_crops

HOUR_S, DAY_S = 3600.0, 86_400.0
POLICY = {"least_coverage": 0.8, "longest_gap_s": 7200.0}
TOMATO = curve_for(load_crops()["tomato"])


def swinging(hours: int, mean_c: float = 20.0, swing_c: float = 6.0) -> tuple[FloatArray, FloatArray]:
    hour_s = HOUR_S * np.arange(hours, dtype=np.float64)
    return hour_s, mean_c - swing_c * np.cos((hour_s + HOUR_S / 2) / DAY_S * 2 * np.pi)


def since(hour_s: FloatArray, temp_c: FloatArray, sown_s: float = 0.0, curve: RateCurve = TOMATO) -> Progress:
    return progress_since(hour_s, temp_c, sown_s, float(hour_s[-1] + HOUR_S), curve, **POLICY)


def test_at_a_constant_temperature_the_printed_days_make_one() -> None:
    hour_s = HOUR_S * np.arange(14 * 24, dtype=np.float64)
    done = since(hour_s, np.full(hour_s.size, 15.0))
    assert done.now == pytest.approx(1.0, rel=1e-3)
    assert done.coverage == 1.0
    assert done.at(7 * DAY_S) == pytest.approx(0.5, rel=1e-3)


def test_a_swinging_day_gives_what_integration_by_scipy_gives() -> None:
    """Hourly means against the integral over the true curve: to half a percent."""
    hour_s, temp_c = swinging(96)

    def rate(t: float) -> float:
        return float(TOMATO.rate_per_d(np.array([20.0 - 6.0 * np.cos(t * 2 * np.pi)]))[0])

    expected = 4 * quad(rate, 0.0, 1.0, limit=400)[0]
    assert since(hour_s, temp_c).now == pytest.approx(expected, rel=0.005)


def test_warm_days_and_cool_nights_are_not_their_mean() -> None:
    """Around 12 °C tomato gains more from a warm noon than it loses at night; the mean hides it."""
    hour_s, temp_c = swinging(240, 12.0, 8.0)
    steady = since(hour_s, np.full(240, 12.0))
    assert since(hour_s, temp_c).now > 1.1 * steady.now


def test_hours_before_sowing_count_for_nothing_and_the_first_hour_for_its_part() -> None:
    hour_s = HOUR_S * np.arange(48, dtype=np.float64)
    done = since(hour_s, np.full(48, 20.0), sown_s=24.5 * HOUR_S)
    assert done.now == pytest.approx(23.5 / 24 / 8, rel=1e-3)


def test_at_the_moment_of_sowing_there_is_nothing_to_add_up_yet() -> None:
    hour_s = HOUR_S * np.arange(2, dtype=np.float64)
    done = progress_since(hour_s, np.full(2, 20.0), 1800.0, 1800.0, TOMATO, **POLICY)
    assert (done.now, done.blind) == (0.0, "it is not sown yet")


def test_cold_and_hot_hours_are_counted_with_their_degrees() -> None:
    hour_s = HOUR_S * np.arange(72, dtype=np.float64)
    temps = np.concatenate([np.full(24, 6.0), np.full(24, 20.0), np.full(24, 38.0)])
    slow = since(hour_s, temps).slow
    assert (slow.cold_h, round(slow.cold_c_h, 6), slow.cold_days) == (24.0, 96.0, 1)
    assert (slow.hot_h, round(slow.hot_c_h, 6), slow.hot_days) == (24.0, 72.0, 1)


def test_a_short_gap_is_bridged_and_costs_nothing() -> None:
    hour_s, temp_c = swinging(96)
    holed = temp_c.copy()
    holed[40:42] = np.nan
    whole, bridged = since(hour_s, temp_c), since(hour_s, holed)
    assert bridged.coverage == 1.0
    assert bridged.gap_log_sd == 0.0
    assert bridged.now == pytest.approx(whole.now, rel=0.01)


def test_a_long_gap_is_filled_from_the_same_hours_of_days_around_and_widens_the_band() -> None:
    hour_s, temp_c = swinging(240)
    temp_c = temp_c + np.repeat(np.tile([1.0, -1.0], 5), 24)
    holed = temp_c.copy()
    holed[96:120] = np.nan
    whole, filled = since(hour_s, temp_c), since(hour_s, holed)
    assert filled.filled_h == 24.0
    assert filled.coverage == pytest.approx(0.9)
    assert abs(np.log(filled.now / whole.now)) < 2 * filled.gap_log_sd
    assert 0.002 < filled.gap_log_sd < 0.1


def test_too_little_known_is_blind_with_the_reason_and_no_number() -> None:
    hour_s, temp_c = swinging(240)
    temp_c[60:] = np.nan
    done = since(hour_s, temp_c)
    assert "known for 25 % of the time since sowing; 80 % are needed" in done.blind
    assert done.progress.size == 0
    nothing = progress_since(np.empty(0), np.empty(0), 0.0, DAY_S, TOMATO, **POLICY)
    assert nothing.blind


def test_progress_beyond_the_tested_temperatures_says_its_share() -> None:
    cabbage = curve_for(load_crops()["cabbage"])  # tested from 10 °C, its minimum is 4.4 °C
    hour_s = HOUR_S * np.arange(48, dtype=np.float64)
    done = since(hour_s, np.full(48, 8.0), curve=cabbage)
    assert done.unsure_share == pytest.approx(1.0)
    assert since(hour_s, np.full(48, 20.0), curve=cabbage).unsure_share == 0.0


def test_hours_that_are_not_whole_hours_are_refused() -> None:
    with pytest.raises(ValueError, match="whole hours"):
        progress_since(np.array([0.0, 1800.0]), np.array([1.0, 1.0]), 0.0, 7200.0, TOMATO, **POLICY)
