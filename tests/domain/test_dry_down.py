"""Dry-downs of made-up trays: what they say, and when they say that they cannot."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.domain.made_trays import DAY_S, HOUR_S, made_tray
from traywarden.domain.dry_down import DryDownParams, dry_downs, fit_dry_down
from traywarden.domain.waterings import find_wettings

HOURLY_S = np.arange(0, 6 * DAY_S, HOUR_S)
# θ0 0.60, θw 0.15, τ 2.5 d: 0.5184 at 0.5 d, 0.4516 at 1, 0.3522 at 2, 0.2855 at 3, 0.2109 at 5; 0.25 is
# reached after τ·ln(0.45/0.10) = 3.7602 d (worked by hand from the published model).
WORKED = {0.5: 0.5184, 1.0: 0.4516, 2.0: 0.3522, 3.0: 0.2855, 5.0: 0.2109}


def test_a_worked_dry_down_gives_back_its_parameters_and_passes_through_its_points() -> None:
    """Four printed decimals limit the agreement to 5e-5."""
    time_s = np.array([0.0, *(d * DAY_S for d in WORKED)])
    few = DryDownParams(least_points=6)
    fit = fit_dry_down(time_s, [0.60, *WORKED.values()], container_capacity_m3_m3=0.60, params=few)
    assert fit.tau_s is not None
    assert fit.residual_m3_m3 is not None
    assert fit.tau_s / DAY_S == pytest.approx(2.5, rel=2e-3)
    assert fit.theta0_m3_m3 == pytest.approx(0.60, abs=1e-4)
    assert fit.residual_m3_m3 == pytest.approx(0.15, abs=5e-4)
    reached_s = fit.tau_s * np.log((0.60 - fit.residual_m3_m3) / (0.25 - fit.residual_m3_m3))
    assert reached_s / DAY_S == pytest.approx(3.7602, rel=2e-3)


def test_rate_and_half_life_follow_from_the_curve_itself() -> None:
    """Checked by walking along the curve, not by the formula: slope at mid-range, time until half is gone."""
    curve = 0.15 + 0.45 * np.exp(-HOURLY_S / (2.5 * DAY_S))
    fit = fit_dry_down(HOURLY_S, curve, container_capacity_m3_m3=0.55, mid_m3_m3=0.35)
    near = int(np.argmin(np.abs(curve - 0.35)))
    slope = (curve[near - 1] - curve[near + 1]) / (2 * HOUR_S) * DAY_S / 0.55 * 100
    assert fit.rate_pct_per_day == pytest.approx(slope, rel=0.02)
    half_s = float(np.interp(-(0.15 + 0.45 / 2), -curve, HOURLY_S))
    assert fit.half_life_s == pytest.approx(half_s, rel=1e-3)


def test_without_a_container_capacity_there_is_no_rate() -> None:
    assert fit_dry_down(HOURLY_S, 0.15 + 0.4 * np.exp(-HOURLY_S / DAY_S)).rate_pct_per_day is None


def test_a_stretch_that_levels_off_above_mid_range_has_no_rate_there() -> None:
    fit = fit_dry_down(
        HOURLY_S,
        0.40 + 0.15 * np.exp(-HOURLY_S / DAY_S),
        container_capacity_m3_m3=0.55,
        mid_m3_m3=0.35,
    )
    assert fit.rate_pct_per_day is None
    assert "levels off above 0.35" in fit.reason


@pytest.mark.parametrize(
    ("time_s", "moisture", "words"),
    [
        (HOURLY_S[:4], 0.5 - HOURLY_S[:4] * 1e-6, "4 readings"),
        (HOURLY_S[:10], 0.5 - HOURLY_S[:10] * 3e-6, "9 h of the 12 h"),
        (HOURLY_S, 0.5 - HOURLY_S * 1e-8, "fell by"),
        ([], [], "0 readings"),
    ],
)
def test_what_is_too_short_says_so(time_s: list[float], moisture: list[float], words: str) -> None:
    fit = fit_dry_down(time_s, moisture)
    assert not fit.told
    assert fit.half_life_s is None
    assert fit.reason.startswith("too short to say")
    assert words in fit.reason


def test_noise_that_drowns_the_drying_is_too_short_to_say() -> None:
    time_s = np.arange(0, 14 * HOUR_S, HOUR_S)
    moisture = 0.45 - 0.035 * time_s / time_s[-1] + np.random.default_rng(2).normal(0, 0.03, time_s.size)
    fit = fit_dry_down(time_s, moisture)
    assert not fit.told
    assert fit.reason.startswith("too short to say")


def test_a_stretch_short_against_its_time_constant_holds_the_residual_and_says_at_what() -> None:
    time_s = np.arange(0, 2 * DAY_S, 1800.0)
    noise = np.random.default_rng(1).normal(0, 0.002, time_s.size)
    fit = fit_dry_down(time_s, 0.05 + 0.5 * np.exp(-time_s / (6 * DAY_S)) + noise)
    assert fit.residual_held
    assert fit.reason == "did not dry far enough to show where it levels off; taken as 0.05"
    assert fit.tau_s is not None
    assert fit.tau_s / DAY_S == pytest.approx(6.0, rel=0.05)


def test_a_residual_that_is_given_is_kept() -> None:
    fit = fit_dry_down(HOURLY_S, 0.15 + 0.4 * np.exp(-HOURLY_S / DAY_S), residual_m3_m3=0.15)
    assert (fit.residual_m3_m3, fit.residual_held) == (0.15, True)
    assert fit.tau_s == pytest.approx(DAY_S, rel=1e-6)


@given(
    tau_d=st.floats(min_value=0.3, max_value=4.0),
    residual_m3_m3=st.floats(min_value=0.02, max_value=0.2),
    seed=st.integers(min_value=0, max_value=1000),
)
@settings(max_examples=30)
def test_noisy_dry_downs_hold_the_truth_within_four_standard_errors(
    tau_d: float, residual_m3_m3: float, seed: int
) -> None:
    time_s = np.arange(0, 3 * tau_d * DAY_S + DAY_S, 900.0)
    noise = np.random.default_rng(seed).normal(0, 0.003, time_s.size)
    fit = fit_dry_down(time_s, residual_m3_m3 + 0.4 * np.exp(-time_s / (tau_d * DAY_S)) + noise)
    assert fit.tau_s is not None
    assert fit.tau_error_s is not None
    assert abs(fit.tau_s - tau_d * DAY_S) <= 4 * fit.tau_error_s + 1.0


def test_a_watered_tray_falls_into_one_stretch_for_each_watering() -> None:
    tray = made_tray(days=9, every_days=3, noise_m3_m3=0.002, swing_m3_m3=0.005)
    wettings = find_wettings(tray.time_s, tray.moisture_m3_m3, tray.soil_temp_c)
    found = dry_downs(tray.time_s, tray.moisture_m3_m3, wettings, tray.soil_temp_c)
    assert [d.ended_by for d in found] == ["wetting"] * 3 + ["end of readings"]
    for down, wetting in zip(found[1:], wettings, strict=True):
        assert down.start_s >= wetting.peak_s + HOUR_S
    for down in found[1:]:
        assert down.tau_s is not None
        assert down.tau_s / DAY_S == pytest.approx(2.0, rel=0.35)


def test_a_long_gap_and_frost_end_a_stretch() -> None:
    time_s = np.arange(0, 12 * DAY_S, HOUR_S)
    moisture = 0.1 + 0.4 * np.exp(-time_s / (4 * DAY_S))
    moisture[(time_s > 3 * DAY_S) & (time_s < 4 * DAY_S)] = np.nan
    temps = np.where((time_s > 7 * DAY_S) & (time_s < 8 * DAY_S), -3.0, 9.0)
    found = dry_downs(time_s, moisture, [], temps)
    assert [d.ended_by for d in found] == ["gap", "frost", "end of readings"]
    assert found[1].end_s == 7 * DAY_S
    assert found[2].start_s >= 9 * DAY_S - HOUR_S


def test_the_climb_and_the_drainage_after_it_are_in_no_stretch() -> None:
    tray = made_tray(days=4, every_days=2, watered_h=(12.0,), noise_m3_m3=0.0)
    wettings = find_wettings(tray.time_s, tray.moisture_m3_m3, tray.soil_temp_c)
    for down in dry_downs(tray.time_s, tray.moisture_m3_m3, wettings, tray.soil_temp_c):
        for wetting in wettings:
            assert down.end_s <= wetting.onset_s or down.start_s >= wetting.peak_s + HOUR_S


def test_no_reading_gives_no_stretch_and_unequal_arrays_are_refused() -> None:
    assert dry_downs([], [], []) == []
    assert dry_downs([0.0], [np.nan], []) == []
    with pytest.raises(ValueError, match="equally long"):
        fit_dry_down([0.0], [0.1, 0.2])
