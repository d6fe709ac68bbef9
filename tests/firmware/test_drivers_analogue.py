"""Moisture and battery volts: medians, dividers, and voltages that no working sensor gives."""

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import SensorError, analogue, battery, capacitive


class _Adc:
    def __init__(self, *samples_uv: int) -> None:
        self.samples_uv, self.reads = samples_uv, 0

    def read_uv(self) -> int:
        self.reads += 1
        return self.samples_uv[(self.reads - 1) % len(self.samples_uv)]


@given(st.lists(st.integers(0, 3_300_000), min_size=1, max_size=30))
def test_median_is_the_median(samples_uv: list[int]) -> None:
    assert analogue.median(samples_uv) == statistics.median(samples_uv)


def test_a_few_disturbed_samples_change_nothing() -> None:
    quiet, disturbed = _Adc(1_500_000), _Adc(1_500_000, 1_500_000, 1_500_000, 1_500_000, 0)
    assert capacitive.read(quiet) == capacitive.read(disturbed) == 1.5
    assert quiet.reads == capacitive.SAMPLES


def test_the_divider_is_undone() -> None:
    assert capacitive.read(_Adc(2_000_000), scale=430 / 330) == pytest.approx(2.60606, abs=1e-5)
    assert battery.read(_Adc(1_955_000), scale=2.0) == pytest.approx(3.91)


@pytest.mark.parametrize(
    ("samples_uv", "why"),
    [
        ((0,), "no voltage"),
        ((49_999,), "no voltage"),
        ((2_500_000,), "more volts"),
        ((3_300_000,), "more volts"),
        ((400_000, 2_000_000), "jumps about"),
    ],
)
def test_what_no_working_sensor_gives_is_refused(samples_uv: tuple[int, ...], why: str) -> None:
    with pytest.raises(SensorError, match=why):
        capacitive.read(_Adc(*samples_uv))


def test_the_smallest_and_largest_voltage_that_is_taken() -> None:
    assert capacitive.read(_Adc(50_000)) == 0.05
    assert capacitive.read(_Adc(2_499_999)) == pytest.approx(2.499999)
    assert capacitive.read(_Adc(2_449_999), most_v=2.45) == pytest.approx(2.449999)


def test_no_battery_on_the_divider_is_no_battery_of_0_volts() -> None:
    with pytest.raises(SensorError, match="no voltage"):
        battery.read(_Adc(249_999))
    assert battery.read(_Adc(250_000)) == 0.5
