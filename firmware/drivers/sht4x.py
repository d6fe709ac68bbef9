"""SHT4x (SHT40, SHT41, SHT45): air temperature and relative humidity over I2C."""

from drivers import sensirion

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

NAME = "SHT4x"
MEASURE = b"\xfd"
"""One measurement, high precision, no heating."""
MEASURING_MS = 10
temperature_c = sensirion.temperature_c


def humidity_pct(raw: int) -> float:
    """Relative humidity [%]: −6 + 125·S/65535; beyond 0…100 near the ends."""
    return -6 + 125 * raw / 65535


def from_answer(answer: bytes) -> tuple[float, float]:
    """Temperature [°C] and relative humidity [%], held to 0…100, from the six bytes. Raises SensorError."""
    temp_raw, rh_raw = sensirion.words(answer, NAME)
    return sensirion.checked(temperature_c(temp_raw), humidity_pct(rh_raw), NAME)


def read(i2c: "Any", wait_ms: "Callable[[int], Any]", address: int = 0x44) -> tuple[float, float]:
    """Temperature [°C] and relative humidity [%]. Raises SensorError."""
    return from_answer(sensirion.ask(i2c, address, MEASURE, wait_ms, MEASURING_MS, NAME))
