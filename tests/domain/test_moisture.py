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
)


def test_the_line_goes_through_both_points_and_beyond_them() -> None:
    """Checked against numpy's own interpolation, and extended by equal steps on both sides."""
    mine = Calibration(0, dry_v=2.4, dry_m3_m3=0.08, wet_v=1.4, wet_m3_m3=0.58)
    volts = np.array([2.4, 1.9, 1.65, 1.4])
    inside = np.interp(-volts, [-2.4, -1.4], [0.08, 0.58])
    np.testing.assert_allclose(m3_m3_from_volts(volts, mine), inside, rtol=1e-12)
    np.testing.assert_allclose(m3_m3_from_volts(np.array([2.6, 1.2]), mine), [-0.02, 0.68], rtol=1e-12)


def test_missing_volts_stay_missing() -> None:
    assert np.isnan(m3_m3_from_volts(np.array([np.nan]), DEFAULT_CALIBRATION)).all()


def test_two_equal_voltages_are_no_calibration() -> None:
    flat = Calibration(0, 1.5, 0.0, 1.5, 0.5)
    with pytest.raises(ValueError, match="two different voltages"):
        m3_m3_from_volts(1.5, flat)
    _, own = calibrated(np.array([0]), np.array([1.5]), [flat])
    assert not own.any()


def test_each_reading_uses_the_calibration_in_force_and_the_first_also_explains_the_past() -> None:
    first = Calibration(1_000, 3.0, 0.0, 1.0, 0.5)
    second = Calibration(2_000, 3.0, 0.0, 1.0, 1.0)
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
