"""MicroPython's `onewire.OneWire`, over the sensors on the bench."""

import machine  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


class OneWireError(Exception):
    pass


class OneWire:
    SEARCH_ROM, MATCH_ROM, SKIP_ROM = 0xF0, 0x55, 0xCC

    def __init__(self, pin: "Any") -> None:
        self.line = machine.one_wire_line(getattr(pin, "id", pin))

    def reset(self, required: bool = False) -> bool:
        found = bool(self.line.reset())
        if required and not found:
            raise OneWireError
        return found

    def readbit(self) -> int:
        return int(self.line.readbit())

    def readbyte(self) -> int:
        return int(self.line.readbyte())

    def readinto(self, into: bytearray) -> None:
        for place in range(len(into)):
            into[place] = self.readbyte()

    def writebit(self, bit: int) -> None:
        self.line.writebit(bit)

    def writebyte(self, byte: int) -> None:
        self.line.writebyte(byte)

    def write(self, data: bytes) -> None:
        for byte in data:
            self.writebyte(byte)

    def select_rom(self, rom: bytes) -> None:
        self.reset()
        self.writebyte(self.MATCH_ROM)
        self.write(rom)
