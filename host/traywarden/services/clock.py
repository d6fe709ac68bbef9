"""What time it is for the host: the system's, or that of the readings when a recording is played back."""

import time
from typing import Protocol

_DAY_MS = 86_400_000


class Clock(Protocol):
    def now_ms(self) -> int:
        """Milliseconds since 1970-01-01T00:00Z."""

    def observe(self, time_ms: int) -> None:
        """A reading was measured then."""


class SystemClock:
    """The machine's own clock; what was measured when does not move it."""

    def now_ms(self) -> int:
        return time.time_ns() // 1_000_000

    def observe(self, time_ms: int) -> None:
        pass


class ReadingsClock:
    """Now is the newest time measured so far, and never goes back; 0 before the first reading.

    A probe whose clock is wrong must not carry the whole garden off: a time before `earliest_ms`, or more
    than `longest_step_ms` after the newest, is not followed.
    """

    def __init__(
        self, newest_ms: int = 0, *, earliest_ms: int = 0, longest_step_ms: int = 400 * _DAY_MS
    ) -> None:
        self._newest_ms = newest_ms
        self._earliest_ms, self._longest_step_ms = earliest_ms, longest_step_ms

    def now_ms(self) -> int:
        return self._newest_ms

    def observe(self, time_ms: int) -> None:
        if time_ms <= self._newest_ms or time_ms < self._earliest_ms:
            return
        if self._newest_ms == 0 or time_ms - self._newest_ms <= self._longest_step_ms:
            self._newest_ms = time_ms
