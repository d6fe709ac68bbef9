"""Hours from a day's lowest and highest: against the published double sine, and against recorded hours."""

import csv

import numpy as np
import pytest

from tests.figures import day_curves, hours
from tests.shared_data import reference_file
from traywarden.domain.day_curve import day_curve, sunrise_h
from traywarden.domain.daylight import sun_elevation_deg

STEPS = 2400


@pytest.mark.data
def test_the_curve_sums_to_the_published_double_sine_degree_days() -> None:
    """UC IPM, Esparto 2020, lower 50 °F: lowest at 0 h and highest at 12 h make its twelve-hour half waves.

    To the printed 0.01, and 0.002 for the steps; the lowest of a day there is that of its midnight."""
    with reference_file("degree_days_ucipm_reference.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    low = np.array([float(row["tmin"]) for row in rows])
    high = np.array([float(row["tmax"]) for row in rows])
    assert [float(row["tmin_next"]) for row in rows[:-1]] == low[1:].tolist()
    curve = day_curve(low, high, 0.0, 12.0, steps_a_day=STEPS).reshape(-1, STEPS)
    above_50 = np.maximum(curve - 50, 0).mean(axis=1)
    above_70 = np.maximum(curve - 70, 0).mean(axis=1)
    printed = np.array([float(row["dblsine_horiz"]) for row in rows])
    np.testing.assert_allclose((above_50 - above_70)[:-1], printed[:-1], atol=0.007)
    # The year's total, as printed: 4012.03.
    assert (above_50 - above_70).sum() == pytest.approx(4012.03, abs=0.6)


def test_every_day_reaches_its_lowest_and_its_highest_and_goes_no_further() -> None:
    random = np.random.default_rng(3)
    low = random.normal(8, 4, 60)
    high = low + random.uniform(2, 15, 60)
    curve = day_curve(low, high, 6.3, 14.0, steps_a_day=240)
    days = curve.reshape(60, 240)
    # From sunrise to the highest both ends are the day's own.
    np.testing.assert_allclose(days[:, 63:140].min(axis=1), low, atol=0.02)
    np.testing.assert_allclose(days[:, 63:140].max(axis=1), high, atol=0.02)
    assert np.abs(np.diff(curve)).max() < 0.6


def test_a_day_that_is_not_known_leaves_its_hours_out_and_no_others() -> None:
    low, high = np.full(9, 5.0), np.full(9, 15.0)
    low[4] = high[4] = np.nan
    curve = day_curve(low, high).reshape(9, 24)
    assert np.isnan(curve[4]).all()
    assert np.isfinite(curve[:3]).all()
    assert np.isfinite(curve[6:]).all()


@pytest.mark.parametrize("latitude_deg", [-45.0, -20.0, 0.0, 40.0, 60.0])
@pytest.mark.parametrize("day", [1, 80, 172, 246, 330])
def test_at_sunrise_the_sun_stands_on_the_horizon(day: int, latitude_deg: float) -> None:
    """Against NOAA's solar calculator, whose formulas are others: within a degree, four minutes of time.

    The equation of time, up to 16 minutes, is not in a solar hour: the lowest of the hour around counts.
    """
    rise_h = float(sunrise_h([day], latitude_deg)[0])
    midnight_s = 1_735_689_600 + (day - 1) * 86_400.0  # 2025, at longitude 0
    around_s = midnight_s + (rise_h + np.linspace(-0.3, 0.3, 37)) * 3600
    heights = sun_elevation_deg(around_s, latitude_deg, 0.0)
    assert np.abs(heights).min() < 0.3
    late_s = midnight_s + (12.0 + (12.0 - rise_h) + np.linspace(-0.3, 0.3, 37)) * 3600
    assert np.abs(sun_elevation_deg(late_s, latitude_deg, 0.0)).min() < 0.3


def test_where_the_sun_does_not_set_the_day_is_coldest_at_midnight() -> None:
    assert sunrise_h([172], 75.0).tolist() == [0.0]
    assert sunrise_h([355], 75.0).tolist() == [12.0]


@pytest.mark.data
@pytest.mark.parametrize(("field", "ratio"), [(hours.bondville, 0.52), (hours.ford_dry_lake, 0.32)])
def test_recorded_hours_are_met_far_better_than_by_the_days_middle(field: hours.Maker, ratio: float) -> None:
    found = day_curves.missed(field())
    assert found.error_c < 1.4
    assert found.error_c < ratio * found.flat_error_c
