"""DS18B20 soil temperature: several on one 1-Wire bus, told apart by the number in their ROM.

A `bus` has the methods of MicroPython's `onewire.OneWire`: reset, readbit, writebit, readbyte, writebyte.
All sensors convert at once: `start`, do something else for CONVERSION_MS, then `read` each.
"""

from drivers import SensorError, crc8

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

FAMILY = 0x28
CONVERSION_MS = 750
"""Longest a 12-bit conversion takes."""
POWER_UP_RAW = 0x0550
"""85 °C: what the register holds before any conversion, so also after a dip of the supply."""
MOST = 8
"""More sensors than this on one bus are not looked for: a disturbed line must not keep the probe awake."""

_SEARCH, _MATCH, _SKIP, _CONVERT, _READ = 0xF0, 0x55, 0xCC, 0x44, 0xBE
_TRIES = 3
_NAME = "DS18B20"


class PowerUpError(SensorError):
    """The sensor holds the value it has before measuring: have it measure again."""


def temperature_c(raw: int, bits: int = 12) -> float:
    """Temperature [°C] from the 16-bit register; below 12 bits the lowest are undefined and left out."""
    raw &= 0xFFFF & ~((1 << (12 - bits)) - 1)
    return (raw - 0x10000 if raw & 0x8000 else raw) / 16


def from_scratchpad(scratchpad: bytes) -> float:
    """Temperature [°C] from the nine bytes a sensor sends. Raises SensorError."""
    if not any(scratchpad):
        raise SensorError(_NAME, "the data line is shorted to ground")
    if all(byte == 0xFF for byte in scratchpad):
        raise SensorError(_NAME, "no answer; is it connected?")
    if crc8.one_wire(scratchpad):
        raise SensorError(_NAME, "the answer was garbled; look at cable length and pull-up resistor")
    raw = scratchpad[1] << 8 | scratchpad[0]
    if raw == POWER_UP_RAW:
        raise PowerUpError(_NAME, "it answers 85 °C, its value before measuring; look at its supply")
    temp_c = temperature_c(raw, 9 + (scratchpad[4] >> 5 & 3))
    if not -55 <= temp_c <= 125:
        raise SensorError(_NAME, f"it answers {temp_c} °C, which it cannot measure")
    return temp_c


def rom_text(rom: "bytes | bytearray") -> str:
    """A ROM as it is written in the settings: sixteen hex digits, family first."""
    return "".join(f"{byte:02x}" for byte in rom)


def rom_bytes(text: str) -> bytes:
    """The ROM that sixteen hex digits name. Raises ValueError."""
    rom = bytes(int(text[place : place + 2], 16) for place in range(0, len(text), 2))
    if len(rom) != 8 or not any(rom) or crc8.one_wire(rom):
        raise ValueError(f"not the number of a 1-Wire sensor: {text}")
    return rom


def find(bus: "Any", most: int = MOST) -> list[bytes]:
    """The ROMs of the DS18B20s on the bus, in ascending bit order. Raises SensorError on a bad line."""
    found: list[bytes] = []
    rom, branch = bytearray(8), -1
    for _ in range(most):
        _begin(bus)
        branch = _search(bus, rom, branch)
        if rom[0] == FAMILY:
            found.append(bytes(rom))
        if branch < 0:
            break
    return found


def start(bus: "Any") -> None:
    """Have every sensor on the bus convert; the values are there after CONVERSION_MS. Raises SensorError."""
    _begin(bus)
    bus.writebyte(_SKIP)
    bus.writebyte(_CONVERT)


def read(bus: "Any", rom: "bytes | None" = None) -> float:
    """Temperature [°C] of the sensor with this ROM, or of the only one on the bus. Raises SensorError.

    A garbled answer is read again; the conversion still stands.
    """
    for left in range(_TRIES - 1, -1, -1):
        _begin(bus)
        if rom is None:
            bus.writebyte(_SKIP)
        else:
            bus.writebyte(_MATCH)
            for byte in rom:
                bus.writebyte(byte)
        bus.writebyte(_READ)
        scratchpad = bytes(bus.readbyte() for _ in range(9))
        try:
            return from_scratchpad(scratchpad)
        except SensorError:
            if not left or not crc8.one_wire(scratchpad):
                raise
    raise SensorError(_NAME, "no answer")


def _begin(bus: "Any") -> None:
    """Reset the bus and have a sensor say it is there; a line held low is not one."""
    if not bus.reset():
        raise SensorError(_NAME, "no sensor answers; is one connected, and the pull-up resistor in place?")
    if not bus.readbit():
        raise SensorError(_NAME, "the data line is shorted to ground")
    bus.reset()


def _search(bus: "Any", rom: bytearray, branch: int) -> int:
    """Walk the ROMs' bits, taking 1 where the walk before last took 0: one more ROM, and the next branch.

    Each bit is sent by all sensors still in the walk, then its complement: 0 0 means that they differ.
    """
    bus.writebyte(_SEARCH)
    next_branch = -1
    for place in range(64):
        byte, mask = place >> 3, 1 << (place & 7)
        bit, complement = bus.readbit(), bus.readbit()
        if bit and complement:
            raise SensorError(_NAME, "a sensor stopped answering while the bus was searched")
        if not bit and not complement:
            bit = place == branch or (place < branch and bool(rom[byte] & mask))
            if not bit:
                next_branch = place
        rom[byte] = rom[byte] | mask if bit else rom[byte] & ~mask
        bus.writebit(1 if bit else 0)
    if not any(rom) or crc8.one_wire(rom):
        raise SensorError(_NAME, "the number of a sensor was garbled; look at cable and pull-up resistor")
    return next_branch
