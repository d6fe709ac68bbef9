"""MicroPython's `machine` of an ESP32, over the bench in the Node process."""

import binascii
import json

import bridge  # type: ignore[import-not-found]
from fakes import buses  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

PWRON_RESET, HARD_RESET, WDT_RESET, DEEPSLEEP_RESET, SOFT_RESET = 1, 2, 3, 4, 5
PIN_WAKE, EXT0_WAKE, EXT1_WAKE, TIMER_WAKE = 2, 2, 3, 4
_CAUSES = {"power on": PWRON_RESET, "watchdog": WDT_RESET, "deep sleep": DEEPSLEEP_RESET, "reset": SOFT_RESET}
_bench = json.loads(bridge.bench())
_levels: "dict[int, int]" = {}


class Ended(BaseException):
    """The chip goes down: deep sleep or reset. Nothing in the firmware can catch it by accident."""


def _now_ms() -> int:
    return int(bridge.ticks_us()) // 1000


def _powered() -> bool:
    pin = _bench.get("power_pin")
    return pin is None or _levels.get(pin) == _bench.get("power_on", 1)


class Pin:
    IN, OUT, OPEN_DRAIN = 1, 3, 7
    PULL_UP, PULL_DOWN = 2, 1
    IRQ_RISING, IRQ_FALLING, WAKE_LOW, WAKE_HIGH = 1, 2, 4, 5
    DRIVE_0, DRIVE_1, DRIVE_2, DRIVE_3 = 0, 1, 2, 3

    def __init__(
        self,
        id: int,
        mode: int = -1,
        pull: "int | None" = -1,
        *,
        value: "int | None" = None,
        drive: int = 0,
        hold: "bool | None" = None,
    ) -> None:
        self.id: int = getattr(id, "id", id)
        if value is not None:
            _levels[self.id] = int(value)
        elif mode == Pin.IN:
            _levels.pop(self.id, None)

    def init(
        self, mode: int = -1, pull: "int | None" = -1, *, value: "int | None" = None, **more: "Any"
    ) -> None:
        if value is not None:
            _levels[self.id] = int(value)
        elif mode == Pin.IN:
            _levels.pop(self.id, None)

    def value(self, level: "int | None" = None) -> "int | None":
        if level is None:
            return int(_levels.get(self.id, 1))
        _levels[self.id] = 1 if level else 0
        return None

    def __call__(self, level: "int | None" = None) -> "int | None":
        return self.value(level)

    def on(self) -> None:
        self.value(1)

    def off(self) -> None:
        self.value(0)


class ADC:
    ATTN_0DB, ATTN_2_5DB, ATTN_6DB, ATTN_11DB = 0, 1, 2, 3

    def __init__(self, pin: "Pin | int", *, atten: int = 0) -> None:
        self.pin = pin.id if isinstance(pin, Pin) else pin

    def atten(self, atten: int) -> None:
        pass

    def init(self, *, atten: int = 0) -> None:
        pass

    def read_uv(self) -> int:
        awake_us = int(bridge.ticks_us())
        rising = _bench.get("adc_rises_uv_s", {}).get(str(self.pin))
        if rising is not None:
            return int(1_000_000 + rising * awake_us // 1_000_000)
        select = _bench.get("mux_select", ())
        pins = _bench.get("adc_uv", {})
        if str(self.pin) in pins:
            return int(pins[str(self.pin)])
        if not _powered():
            return 0
        channel = sum((_levels.get(pin, 0) & 1) << place for place, pin in enumerate(select))
        sensors = _bench.get("moisture_uv", {}).get(str(self.pin), [0])
        return int(sensors[channel]) if channel < len(sensors) else 0

    def read_u16(self) -> int:
        return min(65535, self.read_uv() * 65535 // 2_500_000)


class RTC:
    def memory(self, data: "bytes | None" = None) -> "bytes | None":
        if data is None:
            return binascii.unhexlify(bridge.memory())
        if len(data) > 2048:
            raise ValueError("buffer too long")
        bridge.set_memory(binascii.hexlify(data).decode())
        return None

    def datetime(self, given: "tuple[int, ...] | None" = None) -> "tuple[int, ...] | None":
        import time

        if given is None:
            year, month, day, hour, minute, second, weekday = time.gmtime()[:7]
            return (year, month, day, weekday, hour, minute, second, int(bridge.clock_us()))
        year, month, day, _, hour, minute, second, us = given
        seconds = time.mktime((year, month, day, hour, minute, second, 0, 0))  # type: ignore[arg-type]
        bridge.set_clock(int(seconds), us)
        return None


class I2C(buses.I2cBus):  # type: ignore[misc]
    def __init__(
        self, id: int = 0, *, scl: "Any" = None, sda: "Any" = None, freq: int = 400_000, timeout: int = 50_000
    ) -> None:
        right = (getattr(scl, "id", scl), getattr(sda, "id", sda)) == (_bench.get("scl"), _bench.get("sda"))
        super().__init__(_chips if right else {}, _now_ms, _powered)


class SoftI2C(I2C):
    def __init__(self, scl: "Any", sda: "Any", *, freq: int = 400_000, timeout: int = 50_000) -> None:
        super().__init__(0, scl=scl, sda=sda)


class WDT:
    def __init__(self, id: int = 0, timeout: int = 5000) -> None:
        bridge.fed(timeout * 1000)

    def feed(self) -> None:
        bridge.fed(0)


class UART:
    def __init__(self, *given: "Any", **more: "Any") -> None:
        pass


_chips = {}
for _name, _raw in _bench.get("i2c", {}).items():
    if _name in ("sht3x", "sht4x"):
        _chips[0x44] = buses.Sht(_name, _raw[0], _raw[1])
    else:
        _chips[0x76] = buses.Registers({int(_at): _byte for _at, _byte in _raw.items()})
_line = buses.OneWireLine(
    [buses.Ds18b20(binascii.unhexlify(_rom), _raw) for _rom, _raw in _bench.get("one_wire", {}).items()],
    _now_ms,
    _powered,
    _bench.get("one_wire_shorted", False),
)


def one_wire_line(pin: int) -> "Any":
    """What hangs on this pin; `onewire` asks."""
    return _line if pin == _bench.get("one_wire_pin") else buses.OneWireLine([], _now_ms)


def deepsleep(time_ms: int = 0) -> None:
    bridge.ends("deep sleep", int(time_ms))
    raise Ended


def lightsleep(time_ms: int = 0) -> None:
    bridge.sleep_us(int(time_ms) * 1000)


def idle() -> None:
    bridge.sleep_us(1000)


def reset() -> None:
    bridge.ends("reset", 0)
    raise Ended


soft_reset = reset


def reset_cause() -> int:
    return _CAUSES[bridge.reset_cause()]


def wake_reason() -> int:
    return TIMER_WAKE if bridge.reset_cause() == "deep sleep" else 0


def unique_id() -> bytes:
    return binascii.unhexlify(bridge.unique_id())


def freq(hertz: int = 160_000_000) -> int:
    return 160_000_000


def disable_irq() -> int:
    return 0


def enable_irq(state: int) -> None:
    pass
