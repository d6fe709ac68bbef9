"""BME280: air temperature and relative humidity over I2C; its pressure is not measured.

Compensation after Bosch's datasheet BST-BME280-DS002, in double precision where the chip has it.
"""

from drivers import SensorError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

NAME = "BME280"
ADDRESSES = (0x76, 0x77)
CHIP_ID = 0x60
MEASURING_MS = 8
"""Longest for one sample each of temperature and humidity, by the datasheet's appendix B."""
_ID, _STATUS, _TRIM, _TRIM_H, _CTRL_HUM, _CTRL_MEAS, _DATA = 0xD0, 0xF3, 0x88, 0xE1, 0xF2, 0xF4, 0xFA
_SKIPPED_TEMP, _SKIPPED_RH = 0x80000, 0x8000


class Trim:
    """What the factory measured of this sensor."""

    def __init__(self, first: bytes, second: bytes) -> None:
        """From the 26 bytes at 0x88 and the 7 bytes at 0xE1."""
        self.t1 = first[1] << 8 | first[0]
        self.t2 = _signed(first[3] << 8 | first[2], 16)
        self.t3 = _signed(first[5] << 8 | first[4], 16)
        self.h1 = first[25]
        self.h2 = _signed(second[1] << 8 | second[0], 16)
        self.h3 = second[2]
        self.h4 = _signed(second[3] << 4 | second[4] & 0x0F, 12)
        self.h5 = _signed(second[5] << 4 | second[4] >> 4, 12)
        self.h6 = _signed(second[6], 8)


def fine(raw: int, t1: int, t2: int, t3: int) -> float:
    """The fine temperature that both values are compensated with; 5120 to a degree."""
    coarse = raw / 16384 - t1 / 1024
    return coarse * t2 + (coarse / 8) ** 2 * t3


def temperature_c(fine_temp: float) -> float:
    """Temperature [°C]."""
    return fine_temp / 5120


def humidity_pct(raw: int, fine_temp: float, trim: Trim) -> float:
    """Relative humidity [%], held to 0…100."""
    above = fine_temp - 76800
    gain = 1 + trim.h6 / 67108864 * above * (1 + trim.h3 / 67108864 * above)
    rh_pct = (raw - (trim.h4 * 64 + trim.h5 / 16384 * above)) * (trim.h2 / 65536 * gain)
    rh_pct *= 1 - trim.h1 * rh_pct / 524288
    return min(100.0, max(0.0, rh_pct))


def from_registers(data: bytes, trim: Trim) -> tuple[float, float]:
    """Temperature [°C] and relative humidity [%] from the five bytes at 0xFA. Raises SensorError."""
    temp_raw = data[0] << 12 | data[1] << 4 | data[2] >> 4
    rh_raw = data[3] << 8 | data[4]
    if temp_raw == _SKIPPED_TEMP or rh_raw == _SKIPPED_RH:
        raise SensorError(NAME, "it did not measure; look at its supply")
    fine_temp = fine(temp_raw, trim.t1, trim.t2, trim.t3)
    temp_c = temperature_c(fine_temp)
    if not -40 <= temp_c <= 85:
        raise SensorError(NAME, f"it answers {temp_c:.1f} °C, which it cannot measure")
    return temp_c, humidity_pct(rh_raw, fine_temp, trim)


def read(i2c: "Any", wait_ms: "Callable[[int], Any]", address: int = 0x76) -> tuple[float, float]:
    """Temperature [°C] and relative humidity [%]. Raises SensorError."""
    try:
        if i2c.readfrom_mem(address, _ID, 1)[0] != CHIP_ID:
            raise SensorError(NAME, "another chip answers at its address")
        trim = Trim(i2c.readfrom_mem(address, _TRIM, 26), i2c.readfrom_mem(address, _TRIM_H, 7))
        i2c.writeto_mem(address, _CTRL_HUM, b"\x01")  # takes effect with the write that follows
        i2c.writeto_mem(address, _CTRL_MEAS, b"\x21")
        wait_ms(MEASURING_MS)
        for _ in range(5):
            if not i2c.readfrom_mem(address, _STATUS, 1)[0] & 0x08:
                return from_registers(i2c.readfrom_mem(address, _DATA, 5), trim)
            wait_ms(2)
    except OSError as error:
        raise SensorError(NAME, "no answer; is it connected?") from error
    raise SensorError(NAME, "it does not finish measuring")


def _signed(value: int, bits: int) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value
