"""The board itself: MicroPython's machine, network and onewire as what the rest of the firmware is given."""

import os
import select
import sys
import time

import machine
import network
import onewire

from drivers import SensorError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from probe.boards import Board

_RESETS = (
    ("PWRON_RESET", "power was connected, or dipped"),
    ("HARD_RESET", "the reset button was pressed"),
    ("WDT_RESET", "the watchdog found it stuck"),
    ("DEEPSLEEP_RESET", "woke from sleep"),
    ("SOFT_RESET", "restarted by its own program"),
)


HOUR_MS = 3_600_000
_FROM_1970_MS = 946_684_800_000


class Hardware:
    """Pins and buses of one board, as the sensors need them: between power(True) and power(False)."""

    def __init__(self, board: "Board", pause: "Callable[[int], Any]") -> None:
        self._board = board
        self._pause = pause
        self.moisture_scale = board.moisture_scale
        self.moisture_most_v = board.adc_most_v
        self.battery_scale = board.battery_scale
        self._buses: dict[str, Any] = {}
        self._led = machine.Pin(board.led, machine.Pin.OUT, value=1 - board.led_on)
        self.power(False)

    def power(self, on: bool) -> None:
        """Give the sensors power, or take it: then no pin may feed them through their data lines."""
        board = self._board
        level = board.sensor_power_on if on else 1 - board.sensor_power_on
        if not on:
            self._buses = {}
            for select_pin in board.mux_select:
                machine.Pin(select_pin, machine.Pin.OUT, value=0)
            for data_pin in (board.one_wire, board.i2c_sda, board.i2c_scl):
                no_pull: "Any" = None  # which the stubs do not know
                machine.Pin(data_pin, machine.Pin.IN, no_pull)
        if board.sensor_power_on == 1:
            machine.Pin(board.sensor_power, machine.Pin.OUT, value=level, drive=machine.Pin.DRIVE_3)
        else:
            machine.Pin(board.sensor_power, machine.Pin.OUT, value=level)

    @property
    def one_wire(self) -> "Any":
        """The 1-Wire bus of the soil temperature sensors."""
        if "one_wire" not in self._buses:
            self._buses["one_wire"] = onewire.OneWire(machine.Pin(self._board.one_wire))
        return self._buses["one_wire"]

    @property
    def i2c(self) -> "Any":
        """The I2C bus of the air sensor."""
        if "i2c" not in self._buses:
            scl, sda = machine.Pin(self._board.i2c_scl), machine.Pin(self._board.i2c_sda)
            self._buses["i2c"] = machine.I2C(0, scl=scl, sda=sda, freq=100_000, timeout=50_000)
        return self._buses["i2c"]

    def moisture(self, place: int) -> "Any":
        """The input of a moisture sensor, from 0; with `read_uv`. Raises SensorError."""
        board = self._board
        if place >= board.most_heads:
            raise SensorError("moisture", f"this board has inputs 0 to {board.most_heads - 1}, not {place}")
        if not board.mux_select:
            return _adc(board.moisture[place])
        for bit, select_pin in enumerate(board.mux_select):
            machine.Pin(select_pin, machine.Pin.OUT, value=place >> bit & 1)
        self._pause(board.mux_settle_ms)
        return _adc(board.moisture[0])

    @property
    def battery(self) -> "Any":
        """The input of the battery's divider; with `read_uv`."""
        return _adc(self._board.battery)

    def led(self, on: bool) -> None:
        """The light."""
        self._led.value(self._board.led_on if on else 1 - self._board.led_on)


class Ticks:
    """MicroPython's time, feeding the watchdog while it waits: every wait has a deadline of its own."""

    def __init__(self, feed: "Callable[[], Any]") -> None:
        self.ticks_ms = time.ticks_ms
        self.ticks_diff = time.ticks_diff
        self._feed = feed

    def sleep_ms(self, wait_ms: int) -> None:
        """Wait; in steps when it is long."""
        while wait_ms > 0:
            self._feed()
            step_ms = min(wait_ms, 1_000)
            time.sleep_ms(step_ms)
            wait_ms -= step_ms
        self._feed()


class Port:
    """The serial line over USB."""

    def __init__(self) -> None:
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)

    def read(self) -> bytes:
        """What has come; b"" when nothing has."""
        came = bytearray()
        while len(came) < 256 and self._poll.poll(0):
            came.extend(sys.stdin.buffer.read(1))
        return bytes(came)

    def write(self, data: bytes) -> None:
        """Write it."""
        sys.stdout.buffer.write(data)


class Station:
    """The radio's station side, for `probe.wifi.Wifi`; not touched before something is asked of it."""

    def __init__(self) -> None:
        self._wlan: Any = None

    def __getattr__(self, name: str) -> "Any":
        if self._wlan is None:
            self._wlan = network.WLAN(network.STA_IF)
        return getattr(self._wlan, name)


def station() -> Station:
    """The radio's station side."""
    return Station()


def device() -> str:
    """The SenML base name: the EUI-64 made from the board's MAC address."""
    mac = machine.unique_id()
    return "urn:dev:mac:" + "".join([f"{byte:02x}" for byte in mac[:3] + b"\xff\xfe" + mac[3:]]) + ":"


def reset_words() -> str:
    """Why the board started, in words."""
    cause = machine.reset_cause()
    for name, words in _RESETS:
        if getattr(machine, name, None) == cause:
            return words
    return f"unknown ({cause})"


def memory() -> "Callable[..., Any]":
    """RTC memory, which outlasts deep sleep: memory() reads it, memory(bytes) writes it."""
    return machine.RTC().memory


def mark_ms() -> int:
    """Milliseconds that run on through deep sleep: the board's calendar, which only `date` sets."""
    return time.time_ns() // 1_000_000


def date(wanted_ms: int, at_least: bool) -> int:
    """Set the calendar to a date (ms since 1970) if it is an hour or more off; by how much it jumped [ms].

    `at_least`: it is that date or a later one. MicroPython's TLS refuses certificates by this calendar,
    which begins with 2000.
    """
    shows_ms = mark_ms()
    offset_ms = _FROM_1970_MS if time.gmtime(0)[0] == 2000 else 0
    wanted_ms -= offset_ms
    if shows_ms > wanted_ms - HOUR_MS and (at_least or shows_ms < wanted_ms + HOUR_MS):
        return 0
    year, month, day, hour, minute, second, weekday = time.gmtime(wanted_ms // 1000)[:7]
    machine.RTC().datetime((year, month, day, weekday, hour, minute, second, wanted_ms % 1000 * 1000))
    return mark_ms() - shows_ms


def watchdog(budget_ms: int) -> "Callable[[], Any]":
    """Start the watchdog, which restarts the board when it is not fed for so long; gives what feeds it."""
    return machine.WDT(timeout=budget_ms).feed


def random() -> int:
    """Thirty random bits."""
    return int.from_bytes(os.urandom(4), "big") >> 2


def sleep(sleep_ms: int) -> None:
    """Deep sleep: the board starts anew after it."""
    machine.deepsleep(sleep_ms)


def restart() -> None:
    """Start anew at once."""
    machine.reset()


def _adc(pin: int) -> "Any":
    return machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)
