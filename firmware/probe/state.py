"""What the wake cycle remembers from one wake to the next, in RTC memory."""

import struct

WOKE = "woke from sleep"
"""The reset cause of an ordinary wake; any other is a reset."""
BY_HAND = ("the reset button was pressed", "restarted by its own program")
"""Somebody stands there and wants to see what happens: it sends at once."""

_VERSION = 1
_FORMAT = "<BIIqQIQQQQBBBBBBII"
_FIELDS = (
    "boot",
    "sequence",
    "base_ms",
    "raw_ms",
    "slept_ms",
    "next_read_ms",
    "next_send_ms",
    "active",
    "allowed_since_ms",
    "allowed",
    "failures",
    "tries",
    "held",
    "wakes",
    "trial",
    "lost",
    "awake_ms",
)


class State:
    """`sequence` is the next to give. `base_ms` + what the board's clock shows = mark, which
    begins with 0. `raw_ms` and `slept_ms`:
    the running time when it went to sleep, and for how long. `active`: limits crossed. `allowed`: urgent
    wakes left. `tries`: left for the urgent send at hand. `held`: waited once for a second sync. `trial`: the
    sensor being asked, counted from 1. `lost`:
    instants given up with flash out of order. `awake_ms`: the last wake's length."""

    def __init__(self, boot: int) -> None:
        self.boot = boot
        self.sequence = 1
        self.base_ms = self.raw_ms = self.slept_ms = 0
        self.next_read_ms = self.next_send_ms = 0
        self.active = self.allowed_since_ms = 0
        self.allowed = 4
        self.failures = self.tries = self.held = self.wakes = self.trial = 0
        self.lost = self.awake_ms = 0

    def pack(self) -> bytes:
        values = [getattr(self, name) for name in _FIELDS]
        return struct.pack(_FORMAT, _VERSION, *values)


def unpack(data: bytes) -> "State | None":
    """The state that `pack` wrote; None when another firmware wrote it, or nobody."""
    if len(data) != struct.calcsize(_FORMAT) or data[0] != _VERSION:
        return None
    state = State(0)
    for name, value in zip(_FIELDS, struct.unpack(_FORMAT, data)[1:]):
        setattr(state, name, value)
    return state
