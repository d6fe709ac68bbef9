"""Quality flags: what can be wrong with a reading, named after the fault, and what follows from each.

A flag never deletes a reading. LEFT_OUT says which flags keep a value out of computation; POLICY says why.
"""

from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

RULES = 1
"""Raise it with every change to what these flags say: stored days are then flagged anew."""
LOOK_BACK_MS = 36 * 3_600_000
"""How long before a reading its flags may look back: stuck takes a day, a thaw half of one."""
LOOK_AHEAD_MS = 2 * 3_600_000
"""… and ahead: whether a jump comes back shows in the next reading, within two hours (quality.py)."""


class Flag(IntFlag):
    OUT_OF_RANGE = 1
    POWER_UP_VALUE = 2
    DISCONNECTED = 4
    SPIKE = 8
    STUCK = 16
    FAST_CHANGE = 32
    HUMIDITY_ABOVE_100 = 64
    CLOCK_IMPOSSIBLE = 128
    FROZEN = 256


POLICY: dict[Flag, tuple[bool, str]] = {
    Flag.OUT_OF_RANGE: (True, "no tray, frame or bench reaches it; the sensor or its wire does"),
    Flag.POWER_UP_VALUE: (True, "85 °C is what a DS18B20 holds before it has measured anything"),
    Flag.DISCONNECTED: (True, "−127 °C is what drivers return when no sensor answers"),
    Flag.SPIKE: (True, "one lone reading that leaves and comes back; leaving it out costs one reading"),
    Flag.STUCK: (False, "suspect only: thawing mix stays at 0 °C, fog at one humidity, for days"),
    Flag.FAST_CHANGE: (False, "suspect only: sun on a shallow tray, or a lid opened, is that fast"),
    Flag.HUMIDITY_ABOVE_100: (False, "the air is saturated and the sensor overshoots; used as 100 %"),
    Flag.CLOCK_IMPOSSIBLE: (True, "nobody knows when it was measured"),
    Flag.FROZEN: (True, "ice looks dry to a moisture sensor; set on moisture alone"),
}
"""Per flag: whether a value that bears it is left out of computation, and why (or why not)."""

LEFT_OUT: int = sum(int(flag) for flag, (left_out, _) in POLICY.items() if left_out)
"""Mask of the flags that take a value out of computation."""


def names(flags: int) -> list[str]:
    """The flags in a number, as words: 65 → ["out of range", "humidity above 100"].

    Examples
    --------
    >>> names(65)
    ['out of range', 'humidity above 100']
    """
    return [str(flag.name).lower().replace("_", " ") for flag in Flag if flags & flag]


def counts(flags: NDArray[np.int64]) -> dict[Flag, int]:
    """How many readings bear each flag; flags that none bears are absent."""
    found = {flag: int(np.count_nonzero(flags & flag)) for flag in Flag}
    return {flag: number for flag, number in found.items() if number}
