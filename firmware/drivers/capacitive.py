"""Capacitive moisture sensors: raw volts, high when dry; the host turns them into moisture.

Whoever reads them powers them first and waits SETTLE_MS, and takes the power away afterwards.
"""

from drivers import SensorError, analogue

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

SETTLE_MS = 300
"""From power on until the sensor's own filter has settled."""
SAMPLES = 15
LEAST_V = 0.05
"""Below it the sensor gives nothing: without power or not connected."""
MOST_SPREAD_V = 0.3
"""The middle half of the samples of a working sensor lies well within this."""


def voltage(samples_uv: "Sequence[int]", scale: float = 1.0, most_v: float = 2.5) -> float:
    """Volts at the sensor's output, from samples at the pin [µV]. Raises SensorError.

    `scale`: sensor's volts for one volt at the pin. `most_v`: what the pin can measure; from there up every
    voltage looks alike.
    """
    at_pin_v = analogue.volts(samples_uv)
    if at_pin_v < LEAST_V:
        raise SensorError("moisture", "no voltage; is the sensor connected and powered?")
    if at_pin_v >= most_v:
        raise SensorError("moisture", "more volts than the pin can measure; look at the divider")
    ordered = sorted(samples_uv)
    quarter = len(ordered) // 4
    if (ordered[-1 - quarter] - ordered[quarter]) * scale > MOST_SPREAD_V * 1_000_000:
        raise SensorError("moisture", "the voltage jumps about; is the sensor connected?")
    return at_pin_v * scale


def read(adc: "Any", scale: float = 1.0, most_v: float = 2.5, samples: int = SAMPLES) -> float:
    """Volts at the output of a sensor that is powered and settled. Raises SensorError."""
    return voltage(analogue.samples_uv(adc, samples), scale, most_v)
