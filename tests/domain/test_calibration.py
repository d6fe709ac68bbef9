"""A head is calibrated from steady volts and from weighings of a pot that dries."""

import csv

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shared_data import shared_file
from traywarden.domain.calibration import (
    curve_from_weighings,
    monotone_points,
    steadiness,
    water_m3_m3,
)
from traywarden.domain.journal import Calibration
from traywarden.domain.moisture import m3_m3_from_volts

LEVELS = st.lists(st.integers(0, 60).map(lambda n: n / 100), min_size=2, max_size=9)


def max_min(means: list[float]) -> list[float]:
    """Isotonic regression by its closed form, max over s ≤ i of min over t ≥ i of the mean of s…t
    (Robertson, Wright & Dykstra 1988, theorem 1.4.4): nothing of it pools violators."""
    n = len(means)
    return [
        max(min(float(np.mean(means[s : t + 1])) for t in range(i, n)) for s in range(i + 1))
        for i in range(n)
    ]


def test_a_published_example_is_pooled_as_printed() -> None:
    """23, 27, 25, 28 with equal weights becomes 23, 26, 26, 28: Robert & Casella, Monte Carlo Statistical
    Methods (2nd ed. 2004), exercise on the pool-adjacent-violators algorithm."""
    assert monotone_points([1, 2, 3, 4], [23, 27, 25, 28]) == ((1, 23), (2.5, 26), (4, 28))


@given(LEVELS)
def test_every_block_stands_where_the_closed_form_of_isotonic_regression_puts_it(levels: list[float]) -> None:
    """The better of the rising and the falling fit, each by the max-min formula."""
    volts = np.arange(len(levels), dtype=float)
    fitted = max_min(levels), [-y for y in max_min([-y for y in levels])]
    errors = [sum((a - b) ** 2 for a, b in zip(f, levels, strict=True)) for f in fitted]
    points = monotone_points(volts, levels)
    steps = np.diff([y for _, y in points])
    assert (steps > 0).all() or (steps < 0).all()
    if abs(errors[0] - errors[1]) > 1e-9:
        best = fitted[int(np.argmin(errors))]
        assert [y for _, y in points] == pytest.approx(
            [y for n, y in enumerate(best) if n == 0 or abs(y - best[n - 1]) > 1e-9], abs=1e-9
        )


def test_weighings_at_one_voltage_count_as_often_as_they_were_made() -> None:
    points = monotone_points([1.0, 1.0, 2.0, 3.0], [0.5, 0.3, 0.45, 0.1])
    np.testing.assert_allclose(points, [(4 / 3, (0.5 + 0.3 + 0.45) / 3), (3.0, 0.1)], rtol=1e-12)


def test_water_content_of_a_pot_is_what_a_porometer_calls_container_capacity() -> None:
    """Sphagnum peat, Int. J. Agronomy 2012, 978528, Table 1: dry bulk density 0.11 g/cm³, container capacity
    87 % by volume. A litre of it weighs 110 g dry and, by the table's own footnote, 980 g drained."""
    assert water_m3_m3(980.0, 110.0, 1.0) == pytest.approx(0.87)
    assert water_m3_m3(110.0, 110.0, 2.5) == 0.0
    with pytest.raises(ValueError, match="above 0"):
        water_m3_m3(900.0, 100.0, 0.0)


def drying(seed: int = 3, noise_m3_m3: float = 0.004) -> tuple[np.ndarray, np.ndarray]:
    """Twelve weighings along a bent curve, with the noise of a kitchen scale."""
    m3_m3 = np.linspace(0.58, 0.05, 12)
    volts = 2.65 - 1.5 * (m3_m3 / 0.6) ** 0.7
    return volts, m3_m3 + np.random.default_rng(seed).normal(0, noise_m3_m3, m3_m3.size)


@pytest.mark.parametrize("seed", range(5))
def test_good_weighings_make_a_curve_and_none_is_pointed_at(seed: int) -> None:
    volts, m3_m3 = drying(seed)
    fit = curve_from_weighings(volts, m3_m3)
    assert not any(fit.outlier)
    assert fit.rmse_m3_m3 < 0.006
    truth = 0.6 * ((2.65 - 2.0) / 1.5) ** (1 / 0.7)
    assert float(m3_m3_from_volts(2.0, Calibration(0, fit.points))) == pytest.approx(truth, abs=0.02)


@pytest.mark.parametrize("wrong", [2, 5, 9])
def test_a_slip_on_the_scale_is_pointed_at_and_does_not_bend_the_curve(wrong: int) -> None:
    volts, m3_m3 = drying()
    m3_m3[wrong] += 0.15
    fit = curve_from_weighings(volts, m3_m3)
    assert [n for n, out in enumerate(fit.outlier) if out] == [wrong]
    assert fit.residual_m3_m3[wrong] == pytest.approx(0.15, abs=0.03)
    assert fit.rmse_m3_m3 < 0.006


def test_volts_that_do_not_follow_the_weight_make_no_curve() -> None:
    assert "at different volts" in curve_from_weighings([1.5, 1.5], [0.1, 0.5]).reason
    assert "read alike" in curve_from_weighings([1.5, 1.6], [0.3, 0.3]).reason
    assert "at different volts" in curve_from_weighings([], []).reason


def test_residuals_are_what_the_curve_in_use_will_be_off_by() -> None:
    volts, m3_m3 = drying()
    fit = curve_from_weighings(volts, m3_m3)
    used = m3_m3_from_volts(volts, Calibration(0, fit.points))
    np.testing.assert_allclose(m3_m3 - used, fit.residual_m3_m3, atol=1e-12)


@pytest.mark.parametrize(
    ("volts", "reason"),
    [
        ([1.40, 1.41, 1.40, 1.40, 1.41], ""),
        ([1.40, 1.40, 3.30, 1.40, 1.40], ""),  # one stray reading
        ([2.0, 1.9, 1.8, 1.7, 1.6], "still falling: by 0.400 V in 4 min"),
        ([1.40, 1.48, 1.35, 1.47, 1.41], "scattered by 0.089 V; press the mix to the head"),
        ([1.40, float("nan")], "1 of at least 3 readings so far"),
        ([], "no volts have arrived yet"),
    ],
)
def test_volts_are_steady_when_they_neither_drift_nor_scatter(volts: list[float], reason: str) -> None:
    told = steadiness(np.arange(len(volts)) * 60.0, volts)
    assert told.reason == reason
    assert told.steady == (reason == "")


@pytest.mark.data
def test_calibrating_in_ones_own_soil_beats_the_factory() -> None:
    """100 recorded pairs of a factory-calibrated sensor and a weighed sample. Each sample is foretold by a
    curve made from the 99 others. The bias goes, and with it a fifth of the error (0.144 to 0.115 m³/m³);
    the rest is scatter of this sensor, of which no calibration can relieve it (the samples themselves spread
    by 0.110 about their mean)."""
    with shared_file("moisture_sensor_vs_sample.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    sensor = np.array([float(row["sensor_vwc"]) for row in rows])
    sample = np.array([float(row["sample_vwc"]) for row in rows])
    own = np.empty(sample.size)
    for n in range(sample.size):
        others = np.arange(sample.size) != n
        curve = Calibration(0, monotone_points(sensor[others], sample[others]))
        own[n] = float(m3_m3_from_volts(sensor[n], curve))
    factory_rmse = float(np.sqrt(np.mean((sensor - sample) ** 2)))
    own_rmse = float(np.sqrt(np.mean((own - sample) ** 2)))
    assert own_rmse < 0.85 * factory_rmse, (own_rmse, factory_rmse)
    assert abs(float(np.mean(own - sample))) < 0.1 * abs(float(np.mean(sensor - sample)))
