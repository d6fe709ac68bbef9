"""Volts become water, and water becomes a place between the dry line and container capacity."""

import numpy as np
import pytest

from traywarden.domain.journal import Calibration
from traywarden.domain.moisture import (
    DEFAULT_CALIBRATION,
    calibrated,
    fraction,
    m3_m3_from_volts,
    percent_of_container_capacity,
    volts_from_m3_m3,
)


def test_the_line_goes_through_both_points_and_beyond_them() -> None:
    """Checked against numpy's own interpolation, and extended by equal steps on both sides."""
    mine = Calibration(0, ((1.4, 0.58), (2.4, 0.08)))
    volts = np.array([2.4, 1.9, 1.65, 1.4])
    inside = np.interp(-volts, [-2.4, -1.4], [0.08, 0.58])
    np.testing.assert_allclose(m3_m3_from_volts(volts, mine), inside, rtol=1e-12)
    np.testing.assert_allclose(m3_m3_from_volts(np.array([2.6, 1.2]), mine), [-0.02, 0.68], rtol=1e-12)


CURVE = Calibration(0, ((1.3, 0.60), (1.6, 0.42), (2.0, 0.20), (2.7, 0.04)))


def test_a_curve_of_several_points_is_straight_between_them_and_goes_on_with_its_whole_slope() -> None:
    volts = np.array([1.3, 1.45, 1.6, 1.9, 2.7])
    inside = np.interp(-volts, [-2.7, -2.0, -1.6, -1.3], [0.04, 0.20, 0.42, 0.60])
    np.testing.assert_allclose(m3_m3_from_volts(volts, CURVE), inside, rtol=1e-12)
    slope = (0.04 - 0.60) / (2.7 - 1.3)
    beyond = m3_m3_from_volts(np.array([1.2, 3.0]), CURVE)
    np.testing.assert_allclose(beyond, [0.60 - 0.1 * slope, 0.04 + 0.3 * slope], rtol=1e-12)


@pytest.mark.parametrize("m3_m3", [-0.05, 0.04, 0.1, 0.25, 0.42, 0.6, 0.7])
def test_read_backwards_a_curve_gives_the_volts_that_mean_the_water(m3_m3: float) -> None:
    volts = volts_from_m3_m3(m3_m3, CURVE)
    assert float(m3_m3_from_volts(volts, CURVE)) == pytest.approx(m3_m3, abs=1e-12)


def test_on_a_flat_piece_the_middle_of_its_volts_is_meant() -> None:
    flat = Calibration(0, ((1.0, 0.5), (1.4, 0.3), (1.8, 0.3), (2.2, 0.1)))
    assert volts_from_m3_m3(0.3, flat) == pytest.approx(1.6)
    with pytest.raises(ValueError, match="two different water contents"):
        volts_from_m3_m3(0.3, Calibration(0, ((1.4, 0.3), (1.8, 0.3))))


def test_missing_volts_stay_missing() -> None:
    assert np.isnan(m3_m3_from_volts(np.array([np.nan]), DEFAULT_CALIBRATION)).all()


def test_two_equal_voltages_are_no_calibration() -> None:
    flat = Calibration(0, ((1.5, 0.0), (1.5, 0.5)))
    with pytest.raises(ValueError, match="two different voltages"):
        m3_m3_from_volts(1.5, flat)
    _, own = calibrated(np.array([0]), np.array([1.5]), [flat])
    assert not own.any()


def test_each_reading_uses_the_calibration_in_force_and_the_first_also_explains_the_past() -> None:
    first = Calibration(1_000, ((1.0, 0.5), (3.0, 0.0)))
    second = Calibration(2_000, ((1.0, 1.0), (3.0, 0.0)))
    values, own = calibrated(np.array([0, 1_999, 2_000]), np.full(3, 2.0), [first, second])
    np.testing.assert_allclose(values, [0.25, 0.25, 0.5], rtol=1e-12)
    assert own.all()


def test_without_a_calibration_the_default_holds_and_is_not_called_the_growers_own() -> None:
    values, own = calibrated(np.array([0, 1]), np.array([2.6, 1.3]), [])
    np.testing.assert_allclose(values, [0.0, 0.55], rtol=1e-12, atol=1e-12)
    assert not own.any()


def test_fraction_is_0_on_the_dry_line_and_1_at_container_capacity() -> None:
    at = fraction(np.array([0.25, 0.40, 0.55, 0.20, 0.61, np.nan]), 0.25, 0.55)
    np.testing.assert_allclose(at, [0, 0.5, 1, -1 / 6, 1.2, np.nan], atol=1e-12)
    assert at[0] == 0.0  # exactly: a tray on its line is not under it


def test_published_peat_at_33_kpa_is_about_a_third_of_its_container_capacity() -> None:
    """Peat holds 87 % at container capacity (Int. J. Agronomy 2012, 978528) and 25–32 % at 10–33 kPa
    (Acta agriculturae Slovenica 1851): 29–37 % of capacity; tolerance one unit of the printed figures."""
    assert percent_of_container_capacity(0.25, 0.87) == pytest.approx(28.7, abs=1)
    assert percent_of_container_capacity(0.32, 0.87) == pytest.approx(36.8, abs=1)
    assert percent_of_container_capacity(0.87, 0.87) == 100.0


def test_limits_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="above the dry line"):
        fraction(0.3, 0.5, 0.5)
    with pytest.raises(ValueError, match="above 0"):
        percent_of_container_capacity(0.3, 0.0)
