"""Level and speed of a dry-down from what is known at each hour, through noise, steps and daily swing."""

from dataclasses import replace

import numpy as np
import pytest

from tests.domain.dryings import RESIDUAL, WET, cut, drying
from traywarden.domain.drying import Drying
from traywarden.domain.drying_speed import drying_speed, swing_m3_m3_per_c, swing_sums


@pytest.mark.parametrize("tau_h", [30.0, 60.0, 200.0])
def test_speed_and_level_are_found_within_a_tenth_from_two_days_of_noisy_readings(tau_h: float) -> None:
    made = drying(60, tau_h, noise=0.003)
    found = drying_speed(made, 1.0)
    true = RESIDUAL + (WET - RESIDUAL) * np.exp(-made.demand_h / tau_h)
    assert 1 / found.speed_per_h[-12:].mean() == pytest.approx(tau_h, rel=0.1)
    assert np.abs(found.level_m3_m3[24:] - true[24:]).max() < 0.01


def test_readings_in_steps_of_a_hundredth_still_tell_the_speed() -> None:
    made = drying(96, 200.0)
    stepped = replace(made, moisture_m3_m3=np.round(made.moisture_m3_m3, 2))
    assert 1 / drying_speed(stepped, 1.0).speed_per_h[-24:].mean() == pytest.approx(200.0, rel=0.2)


def test_a_sensors_swing_is_learnt_and_does_not_pass_for_drying() -> None:
    """0.0015 m³/m³ per °C on a soil that swings by 12 °C: 0.018 a day, as much as falls in a day."""
    made, still = drying(240, 400.0, swing=0.0015, share=0.0), drying(240, 400.0, share=0.0)
    assert swing_m3_m3_per_c(swing_sums(made))[-1] == pytest.approx(0.0015, rel=0.1)
    with_swing, without = drying_speed(made, 0.0), drying_speed(still, 0.0)
    assert np.abs(with_swing.level_m3_m3[120:] - without.level_m3_m3[120:]).max() < 0.004
    # An hour of the day's warmest rise alone, taken at its word, would be off by the whole swing.
    assert np.abs(made.moisture_m3_m3[120:] - without.level_m3_m3[120:]).max() > 0.008


def test_what_is_said_of_an_hour_does_not_change_with_what_comes_after() -> None:
    whole = drying(200, 80.0, noise=0.002, swing=0.001)
    found = drying_speed(whole, 0.5)
    for hours in (1, 7, 25, 26, 60, 137):
        early = drying_speed(cut(whole, hours), 0.5)
        assert np.allclose(early.level_m3_m3, found.level_m3_m3[:hours], rtol=1e-9)
        assert np.allclose(early.speed_per_h, found.speed_per_h[:hours], rtol=1e-9)


def test_missing_hours_weigh_nothing() -> None:
    made = drying(72, 60.0)
    moisture = made.moisture_m3_m3.copy()
    moisture[30:36] = np.nan
    gap = drying_speed(replace(made, moisture_m3_m3=moisture), 1.0)
    assert gap.level_m3_m3[-1] == pytest.approx(drying_speed(made, 1.0).level_m3_m3[-1], abs=1e-3)


def test_moisture_that_rises_or_stands_still_never_gives_a_speed_below_the_slowest() -> None:
    hours = np.arange(50.0)
    rising = Drying(hours * 3600, 0.3 + hours / 1000, hours * 0 + 20, np.ones(50), np.ones((50, 24)))
    assert drying_speed(rising, 0.0).speed_per_h.min() > 0


def test_a_head_without_soil_temperature_has_no_swing() -> None:
    made = drying(60, 60.0)
    blind = replace(made, soil_temp_c=np.full(60, np.nan))
    assert np.all(swing_m3_m3_per_c(swing_sums(blind)) == 0)
    assert np.isfinite(drying_speed(blind, 1.0).level_m3_m3).all()


def test_a_season_of_hours_overflows_nothing() -> None:
    made = drying(5000, 4000.0)
    found = drying_speed(made, 1.0)
    assert np.isfinite(found.level_m3_m3).all()
    assert found.level_m3_m3[-1] == pytest.approx(made.moisture_m3_m3[-1], abs=2e-3)
