"""Turns: slow work gives way, a little at a time, to what somebody waits for.

All threads of the host share one interpreter, and one that computes takes it from one that reads row by row
from the store at every row. So a slow thread says `with turns.giving_way()` once, and the loops it comes
through call `give_way()`; in any other thread that does nothing.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

SLICE_S = 0.01
"""So long slow work goes on before it looks again whether others are in a hurry."""
LONGEST_WAIT_S = 1.0
"""And no longer than this it waits for them at a time: it gets on, if slowly, however busy they are."""

_mine = threading.local()


class Turns:
    """Who is in a hurry: any number of threads, each for as long as its `first` lasts."""

    def __init__(self, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self._monotonic_s = monotonic_s
        self._lock = threading.Lock()
        self._hurrying = 0
        self._nobody = threading.Event()
        self._nobody.set()

    @contextmanager
    def first(self) -> Iterator[None]:
        """Within this, whoever gives way waits."""
        self._count(1)
        try:
            yield
        finally:
            self._count(-1)

    def _count(self, step: int) -> None:
        with self._lock:
            self._hurrying += step
            if self._hurrying:
                self._nobody.clear()
            else:
                self._nobody.set()

    @contextmanager
    def giving_way(self) -> Iterator[None]:
        """Within this, `give_way` in this thread waits for those who are first."""
        before = getattr(_mine, "slow", None)
        _mine.slow = _Slow(self._nobody, self._monotonic_s)
        try:
            yield
        finally:
            _mine.slow = before


class _Slow:
    """One thread that gives way."""

    def __init__(self, nobody: threading.Event, monotonic_s: Callable[[], float]) -> None:
        self._nobody, self._monotonic_s = nobody, monotonic_s
        self._looked_s = monotonic_s()

    def give_way(self) -> None:
        if self._nobody.is_set():
            return
        if self._monotonic_s() - self._looked_s >= SLICE_S:
            self._nobody.wait(LONGEST_WAIT_S)
            self._looked_s = self._monotonic_s()


@contextmanager
def holding_on() -> Iterator[None]:
    """Within this, `give_way` does not wait: what this thread holds, those who are first may need."""
    before = getattr(_mine, "slow", None)
    _mine.slow = None
    try:
        yield
    finally:
        _mine.slow = before


def give_way() -> None:
    """Let those who are first have their turn, if this thread gives way at all."""
    slow: _Slow | None = getattr(_mine, "slow", None)
    if slow is not None:
        slow.give_way()
