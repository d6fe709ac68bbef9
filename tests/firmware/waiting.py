"""Time for the waits of the firmware on CPython: it runs only while something waits, so budgets are exact."""

import time

_PERIOD = 1 << 30


class Ticks:
    """As MicroPython's `time`. Each wait lasts `real_s` in truth, for whoever must answer meanwhile."""

    def __init__(self, real_s: float = 0.0, start_ms: int = _PERIOD - 1_000) -> None:
        self.passed_ms = 0
        self._start_ms, self._real_s = start_ms, real_s  # the counter wraps a second after the start

    def ticks_ms(self) -> int:
        return (self._start_ms + self.passed_ms) % _PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + _PERIOD // 2) % _PERIOD - _PERIOD // 2

    def sleep_ms(self, wait_ms: int) -> None:
        assert wait_ms >= 0
        self.passed_ms += wait_ms
        if self._real_s:
            time.sleep(self._real_s)


class RealTicks(Ticks):
    """The clock on the wall, for real servers."""

    def ticks_ms(self) -> int:
        return int(time.monotonic() * 1000) % _PERIOD

    def sleep_ms(self, wait_ms: int) -> None:
        time.sleep(wait_ms / 1000)
