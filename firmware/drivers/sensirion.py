"""What SHT3x and SHT4x have in common: a command, a wait, two words with a check byte each."""

from drivers import SensorError, crc8

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

ADDRESSES = (0x44, 0x45)


def words(answer: bytes, name: str) -> tuple[int, int]:
    """The two 16-bit words of a six-byte answer. Raises SensorError."""
    if (
        len(answer) != 6
        or crc8.sensirion(answer[0:2]) != answer[2]
        or crc8.sensirion(answer[3:5]) != answer[5]
    ):
        raise SensorError(name, "the answer was garbled; look at cable length and pull-up resistors")
    return answer[0] << 8 | answer[1], answer[3] << 8 | answer[4]


def temperature_c(raw: int) -> float:
    """Temperature [°C]: −45 + 175·S/65535."""
    return -45 + 175 * raw / 65535


def checked(temp_c: float, rh_pct: float, name: str) -> tuple[float, float]:
    """The pair with humidity held to 0…100 %; a temperature outside what is measured raises SensorError."""
    if not -40 <= temp_c <= 125:
        raise SensorError(name, f"it answers {temp_c:.1f} °C, which it cannot measure")
    return temp_c, min(100.0, max(0.0, rh_pct))


def ask(
    i2c: "Any", address: int, command: bytes, wait_ms: "Callable[[int], Any]", measuring_ms: int, name: str
) -> bytes:
    """Six bytes in answer to a command. Raises SensorError."""
    try:
        i2c.writeto(address, command)
        wait_ms(measuring_ms)
        answer: bytes = i2c.readfrom(address, 6)
    except OSError as error:
        raise SensorError(name, "no answer; is it connected?") from error
    return answer
