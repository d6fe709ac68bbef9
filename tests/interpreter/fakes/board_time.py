"""MicroPython's `time` on an ESP32: counts from 2000, and from zero after every wake."""

import time as _host

import bridge  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_FROM_1970_S = 946_684_800
_PERIOD = 1 << 30


def time() -> int:
    return int(bridge.clock())


def time_ns() -> int:
    return int(bridge.clock()) * 1_000_000_000 + int(bridge.clock_us()) * 1000


def gmtime(seconds: "int | None" = None) -> "tuple[int, ...]":
    return tuple(_host.gmtime(int(time() if seconds is None else seconds) + _FROM_1970_S))[:8]


localtime = gmtime


def mktime(given: "Any") -> int:
    return int(_host.mktime(given)) - _FROM_1970_S


def ticks_us() -> int:
    return int(bridge.ticks_us())


def ticks_ms() -> int:
    return int(bridge.ticks_us()) // 1000


def ticks_cpu() -> int:
    return ticks_us()


def ticks_add(ticks: int, more: int) -> int:
    return (ticks + more) % _PERIOD


def ticks_diff(later: int, earlier: int) -> int:
    return (later - earlier + _PERIOD // 2) % _PERIOD - _PERIOD // 2


def sleep_us(us: int) -> None:
    bridge.sleep_us(int(us))


def sleep_ms(ms: int) -> None:
    bridge.sleep_us(int(ms) * 1000)


def sleep(seconds: float) -> None:
    bridge.sleep_us(int(seconds * 1_000_000))
