"""The battery's voltage, behind its divider."""

from drivers import SensorError, analogue

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

SAMPLES = 9
LEAST_V = 0.5
"""Below it there is no battery on the divider: the board would not run on it."""


def voltage(samples_uv: "Sequence[int]", scale: float = 2.0) -> float:
    """Volts of the battery, from samples at the pin [µV]. Raises SensorError."""
    battery_v = analogue.volts(samples_uv, scale)
    if battery_v < LEAST_V:
        raise SensorError("battery", "no voltage at the divider; is one fitted?")
    return battery_v


def read(adc: "Any", scale: float = 2.0, samples: int = SAMPLES) -> float:
    """Volts of the battery; `scale` is the battery's volts for one volt at the pin. Raises SensorError."""
    return voltage(analogue.samples_uv(adc, samples), scale)
