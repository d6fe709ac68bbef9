"""Sensors as the bus sees them: 1-Wire bit by bit, I2C by command and register.

`now_ms` tells how long the board has been awake: a conversion takes its time, and what is read too early is
what a real sensor would give. Power is a function: without it there is nobody on the bus.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

_CONVERSION_MS = 750
_SHT_MEASURING_MS = 8
ENODEV = 19


def one_wire_crc(data: "bytes | bytearray") -> int:
    """Maxim's CRC-8, bit by bit after the shift register drawn in its application note 27."""
    crc = 0
    for byte in data:
        for place in range(8):
            out = (crc ^ (byte >> place)) & 1
            crc = (crc >> 1) ^ (0x8C if out else 0)
    return crc


def sensirion_crc(data: "bytes | bytearray") -> int:
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ (0x131 if crc & 0x80 else 0)) & 0x1FF
    return crc & 0xFF


class Ds18b20:
    """One soil sensor: its 64-bit ROM and a scratchpad that holds 85 °C until it has measured."""

    def __init__(self, rom: bytes, raw: int) -> None:
        self.rom, self.raw = rom, raw & 0xFFFF
        self.mode, self.place = "idle", 0
        self.bits: list[int] = []
        self.out: list[int] = []
        self.lost_power()

    def lost_power(self) -> None:
        self.mode, self.held, self.ready_ms = "idle", 0x0550, -1

    def reset(self) -> None:
        self.mode, self.place, self.bits = "command", 0, []

    def drives(self, now_ms: int) -> int:
        """The bit it puts on the line in a read slot; 1 leaves the line alone."""
        if self.mode == "search":
            bit = self.rom[self.place // 3 >> 3] >> (self.place // 3 & 7) & 1
            if self.place % 3 == 2:
                return 1
            bit = bit if self.place % 3 == 0 else 1 - bit
            self.place += 1
            return bit
        if self.mode == "converting":
            return 0 if now_ms < self.ready_ms else 1
        if self.mode == "sending" and self.place < len(self.out):
            self.place += 1
            return self.out[self.place - 1]
        return 1

    def hears(self, bit: int, now_ms: int) -> None:
        """A bit was written on the line."""
        if self.mode == "search":
            if self.place % 3 != 2:
                return
            mine = self.rom[self.place // 3 >> 3] >> (self.place // 3 & 7) & 1
            self.place += 1
            if mine != bit or self.place == 64 * 3:
                self.mode = "idle"
        elif self.mode in ("command", "function"):
            self.bits.append(bit)
            if len(self.bits) == 8:
                command = sum(value << place for place, value in enumerate(self.bits))
                self.bits = []
                self.obeys(command, now_ms)
        elif self.mode == "matching":
            self.bits.append(bit)
            if len(self.bits) == 64:
                wanted = [byte >> place & 1 for byte in self.rom for place in range(8)]
                self.mode = "function" if wanted == self.bits else "idle"
                self.bits = []

    def obeys(self, command: int, now_ms: int) -> None:
        if self.mode == "command":
            modes = {0xF0: "search", 0x55: "matching", 0xCC: "function"}
            self.mode, self.place = modes.get(command, "idle"), 0
        elif command == 0x44:
            self.mode, self.ready_ms = "converting", now_ms + _CONVERSION_MS
        elif command == 0xBE:
            if 0 <= self.ready_ms <= now_ms:
                self.held = self.raw
            data = bytes(
                (self.held & 0xFF, self.held >> 8, 0x4B, 0x46, 0x7F, 0xFF, 0x10 - (self.held & 0xF), 0x10)
            )
            sent = data + bytes((one_wire_crc(data),))
            self.out = [byte >> place & 1 for byte in sent for place in range(8)]
            self.mode, self.place = "sending", 0
        else:
            self.mode = "idle"


class OneWireLine:
    """The wire with its sensors. `shorted` holds it low; without power nobody answers."""

    def __init__(
        self,
        sensors: "list[Ds18b20]",
        now_ms: "Callable[[], int]",
        powered: "Callable[[], bool]" = lambda: True,
        shorted: bool = False,
    ) -> None:
        self.sensors, self.now_ms, self.powered, self.shorted = sensors, now_ms, powered, shorted

    def present(self) -> "list[Ds18b20]":
        if self.powered():
            return self.sensors
        for sensor in self.sensors:
            sensor.lost_power()
        return []

    def reset(self) -> bool:
        for sensor in self.present():
            sensor.reset()
        return self.shorted or bool(self.present())

    def readbit(self) -> int:
        bit = 0 if self.shorted else 1
        for sensor in self.present():
            bit &= sensor.drives(self.now_ms())
        return bit

    def writebit(self, bit: int) -> None:
        for sensor in self.present():
            sensor.hears(bit, self.now_ms())

    def readbyte(self) -> int:
        return sum(self.readbit() << place for place in range(8))

    def writebyte(self, byte: int) -> None:
        for place in range(8):
            self.writebit(byte >> place & 1)


class Sht:
    """SHT3x (two-byte command 24 00) or SHT4x (one byte FD): measures, then has six bytes to read."""

    def __init__(self, kind: str, temp_raw: int, rh_raw: int) -> None:
        self.command = b"\x24\x00" if kind == "sht3x" else b"\xfd"
        self.temp_raw, self.rh_raw, self.ready_ms = temp_raw, rh_raw, -1

    def takes(self, data: bytes, now_ms: int) -> None:
        if data != self.command:
            raise OSError(ENODEV)  # it does not acknowledge what it does not know
        self.ready_ms = now_ms + _SHT_MEASURING_MS

    def gives(self, count: int, now_ms: int) -> bytes:
        if not 0 <= self.ready_ms <= now_ms:
            raise OSError(ENODEV)
        self.ready_ms, answer = -1, b""
        for raw in (self.temp_raw, self.rh_raw):
            word = bytes((raw >> 8, raw & 0xFF))
            answer += word + bytes((sensirion_crc(word),))
        return answer[:count]


class Registers:
    """A chip that is read and written by register, such as a BME280."""

    def __init__(self, held: "dict[int, int]") -> None:
        self.held, self.at = held, 0

    def takes(self, data: bytes, now_ms: int) -> None:
        self.at = data[0]
        for place, byte in enumerate(data[1:]):
            self.held[self.at + place] = byte

    def gives(self, count: int, now_ms: int) -> bytes:
        return bytes(self.held.get(self.at + place, 0) for place in range(count))


class I2cBus:
    """Chips by address; who is not there does not acknowledge."""

    def __init__(
        self,
        chips: "dict[int, Sht | Registers]",
        now_ms: "Callable[[], int]",
        powered: "Callable[[], bool]" = lambda: True,
    ) -> None:
        self.chips, self.now_ms, self.powered = chips, now_ms, powered

    def chip(self, address: int) -> "Sht | Registers":
        if address not in self.chips or not self.powered():
            raise OSError(ENODEV)
        return self.chips[address]

    def scan(self) -> "list[int]":
        return sorted(self.chips) if self.powered() else []

    def writeto(self, address: int, data: bytes, stop: bool = True) -> int:
        self.chip(address).takes(bytes(data), self.now_ms())
        return len(data)

    def readfrom(self, address: int, count: int, stop: bool = True) -> bytes:
        return self.chip(address).gives(count, self.now_ms())

    def readfrom_into(self, address: int, into: bytearray, stop: bool = True) -> None:
        into[:] = self.readfrom(address, len(into))

    def readfrom_mem(self, address: int, register: int, count: int, *, addrsize: int = 8) -> bytes:
        self.writeto(address, bytes((register,)))
        return self.readfrom(address, count)

    def readfrom_mem_into(self, address: int, register: int, into: bytearray, *, addrsize: int = 8) -> None:
        into[:] = self.readfrom_mem(address, register, len(into))

    def writeto_mem(self, address: int, register: int, data: bytes, *, addrsize: int = 8) -> None:
        self.writeto(address, bytes((register,)) + bytes(data))
