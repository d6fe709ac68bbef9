"""Volts at an ADC pin: the median of several calibrated samples, so one disturbed sample is nothing.

An `adc` has `read_uv()`: microvolts, corrected by what was measured of this chip at the factory.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any


def median(values: "Sequence[int]") -> float:
    """The middle value; of an even count the mean of the two in the middle."""
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2


def volts(samples_uv: "Sequence[int]", scale: float = 1.0) -> float:
    """Volts before the divider, from samples at the pin [µV]."""
    return median(samples_uv) * scale / 1_000_000


def samples_uv(adc: "Any", count: int) -> list[int]:
    """So many samples [µV]."""
    return [adc.read_uv() for _ in range(count)]
