"""FAO-56 vapour pressures against the values its examples print, and against another library."""

import csv
import math
import re

import numpy as np
import pytest
import refet.calcs
from hypothesis import given
from hypothesis import strategies as st

from tests.shared_data import reference_file
from traywarden.domain.psychrometrics import (
    actual_vapour_pressure_kpa,
    dew_point_c,
    saturation_vapour_pressure_kpa,
    vpd_kpa,
)


def rows(kind: str) -> list[dict[str, str]]:
    with reference_file("psychrometrics.csv").open(encoding="utf-8", newline="") as lines:
        return [row for row in csv.DictReader(lines) if row["kind"] == kind]


def inputs(row: dict[str, str]) -> dict[str, float]:
    return {name: float(value) for name, value in re.findall(r"(\w+)=(-?[\d.]+)", row["inputs"])}


def half_a_printed_digit(printed: str) -> float:
    return 0.5 * 10.0 ** -len(printed.partition(".")[2]) + 1e-12


def test_saturation_matches_table_2_3() -> None:
    """Values seen in print to their printed digits; the rest ±0.001 kPa, as the table itself was not seen."""
    for row in rows("e0"):
        seen = row["verified"] == "yes"
        tolerance = half_a_printed_digit(row["value"]) if seen else 0.001
        found = saturation_vapour_pressure_kpa(inputs(row)["T"])
        assert found == pytest.approx(float(row["value"]), abs=tolerance), row


def test_saturation_stays_within_a_tenth_of_a_percent_of_the_handbook() -> None:
    """The CRC handbook's values (a secondary copy): equation 11 is a fit and deviates by up to 0.08 %."""
    for row in rows("handbook"):
        found = saturation_vapour_pressure_kpa(inputs(row)["T"])
        assert found == pytest.approx(float(row["value"]), rel=1e-3), row


def example(number: str) -> tuple[float, dict[str, float], float]:
    (row,) = [row for row in rows("example") if number in row["name"]]
    return float(row["value"]), inputs(row), half_a_printed_digit(row["value"])


def test_fao_example_3_mean_saturation() -> None:
    value, given_, tolerance = example("Example 3")
    found = (
        saturation_vapour_pressure_kpa(given_["Tmax"]) + saturation_vapour_pressure_kpa(given_["Tmin"])
    ) / 2
    assert found == pytest.approx(value, abs=tolerance)


def test_fao_example_4_wet_bulb() -> None:
    """Checks e0 at the wet bulb; the psychrometer's own term is arithmetic from the example."""
    value, given_, tolerance = example("Example 4")
    found = saturation_vapour_pressure_kpa(given_["Twet"]) - given_["a_psy"] * given_["P"] * (
        given_["Tdry"] - given_["Twet"]
    )
    assert found == pytest.approx(value, abs=tolerance)


def test_fao_example_5_actual_vapour_pressure_of_a_day() -> None:
    value, given_, tolerance = example("Example 5: ")
    found = (
        actual_vapour_pressure_kpa(given_["Tmin"], given_["RHmax"])
        + actual_vapour_pressure_kpa(given_["Tmax"], given_["RHmin"])
    ) / 2
    assert found == pytest.approx(value, abs=tolerance)


def test_fao_example_5_from_one_humidity() -> None:
    value, given_, tolerance = example("RHmax only")
    assert actual_vapour_pressure_kpa(given_["Tmin"], given_["RHmax"]) == pytest.approx(value, abs=tolerance)
    value, given_, tolerance = example("RHmean")
    found = (
        actual_vapour_pressure_kpa(given_["Tmin"], given_["RHmean"])
        + actual_vapour_pressure_kpa(given_["Tmax"], given_["RHmean"])
    ) / 2
    assert found == pytest.approx(value, abs=tolerance)


def test_fao_example_6_deficit_of_the_day_of_example_5() -> None:
    """Computed from Example 5's data; that FAO prints 0.91 is unverified, two digits are asked for."""
    value, _, tolerance = example("Example 6")
    _, day, _ = example("Example 5: ")
    saturated = (
        saturation_vapour_pressure_kpa(day["Tmin"]) + saturation_vapour_pressure_kpa(day["Tmax"])
    ) / 2
    actual = (
        actual_vapour_pressure_kpa(day["Tmin"], day["RHmax"])
        + actual_vapour_pressure_kpa(day["Tmax"], day["RHmin"])
    ) / 2
    assert saturated - actual == pytest.approx(value, abs=tolerance)


def test_fao_example_17_slope_of_the_curve() -> None:
    """The slope itself is not computed here; the example checks the curve through a central difference."""
    value, given_, tolerance = example("Example 17")
    step = 1e-3
    rise = saturation_vapour_pressure_kpa(given_["T"] + step) - saturation_vapour_pressure_kpa(
        given_["T"] - step
    )
    assert rise / (2 * step) == pytest.approx(value, abs=tolerance)


def test_fao_example_20_vapour_pressure_at_the_dew_point() -> None:
    value, given_, tolerance = example("Example 20")
    assert saturation_vapour_pressure_kpa(given_["Tdew"]) == pytest.approx(value, abs=tolerance)
    assert actual_vapour_pressure_kpa(given_["Tdew"], 100.0) == pytest.approx(value, abs=tolerance)


def test_deficit_and_dew_point_vectors() -> None:
    checked = 0
    for row in rows("derived"):
        given_, tolerance = inputs(row), half_a_printed_digit(row["value"])
        compute = vpd_kpa if "VPD" in row["name"] else dew_point_c
        assert compute(given_["T"], given_["RH"]) == pytest.approx(float(row["value"]), abs=tolerance), row
        checked += 1
    assert checked == 12


def test_agrees_with_refet_over_every_growing_temperature() -> None:
    """`refet` 0.5 (ASCE standardised reference evapotranspiration) uses the same FAO form: 1e-6 relative."""
    temps = np.linspace(-10.0, 50.0, 121)
    theirs = refet.calcs.sat_vapor_pressure(temps)
    np.testing.assert_allclose(saturation_vapour_pressure_kpa(temps), theirs, rtol=1e-6)
    grid, humidity = (a.ravel() for a in np.meshgrid(temps, np.linspace(5.0, 95.0, 19)))
    saturated = refet.calcs.sat_vapor_pressure(grid)
    theirs = refet.calcs.vpd(saturated, saturated * humidity / 100.0)
    np.testing.assert_allclose(vpd_kpa(grid, humidity), theirs, rtol=1e-6)
    at_dew_point = refet.calcs.sat_vapor_pressure(dew_point_c(grid, humidity))
    np.testing.assert_allclose(at_dew_point, saturated * humidity / 100.0, rtol=1e-6)


@given(st.floats(-20, 60), st.floats(1, 100))
def test_dew_point_is_never_above_the_air(temp_c: float, rh_pct: float) -> None:
    dew = dew_point_c(temp_c, rh_pct)
    assert dew <= temp_c + 1e-9
    assert saturation_vapour_pressure_kpa(dew) == pytest.approx(
        actual_vapour_pressure_kpa(temp_c, rh_pct), rel=1e-9
    )


def test_humidity_above_100_counts_as_100() -> None:
    assert vpd_kpa(15.0, 109.4) == 0.0
    assert actual_vapour_pressure_kpa(15.0, 109.4) == saturation_vapour_pressure_kpa(15.0)
    assert dew_point_c(15.0, 109.4) == pytest.approx(15.0)


def test_missing_and_perfectly_dry_air() -> None:
    assert math.isnan(vpd_kpa(math.nan, 50.0))
    assert math.isnan(dew_point_c(20.0, math.nan))
    assert math.isnan(dew_point_c(20.0, 0.0))
    assert vpd_kpa(20.0, -3.0) == saturation_vapour_pressure_kpa(20.0)


def test_a_number_gives_a_number_and_an_array_an_array() -> None:
    assert type(vpd_kpa(20.0, 50.0)) is float
    assert vpd_kpa(np.array([20.0, 25.0]), np.array([50.0, 60.0])).shape == (2,)
