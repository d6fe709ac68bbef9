"""Deadlines: every wait of the probe has one, and none outlasts the wait it is part of.

A `ticks` has ticks_ms, ticks_diff and sleep_ms as MicroPython's `time` module has them.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

PAUSE_MS = 5
"""Between two looks at something that is waited for."""


class Deadline:
    """The moment by which something must be over."""

    def __init__(self, ticks: "Any", budget_ms: int) -> None:
        self.ticks = ticks
        self.start = ticks.ticks_ms()
        self.budget_ms = budget_ms

    def passed_ms(self) -> int:
        """Time since it was set."""
        since_ms: int = self.ticks.ticks_diff(self.ticks.ticks_ms(), self.start)
        return since_ms

    def left_ms(self) -> int:
        """Time left; 0 when it is over."""
        return max(0, self.budget_ms - self.passed_ms())

    def part(self, budget_ms: int) -> "Deadline":
        """A deadline for a step: this long from now, but no later than this one."""
        return Deadline(self.ticks, min(budget_ms, self.left_ms()))

    def pause(self, pause_ms: int = PAUSE_MS) -> bool:
        """Wait a little, never beyond the deadline; False when there is nothing left to wait."""
        left_ms = self.left_ms()
        if left_ms <= 0:
            return False
        self.ticks.sleep_ms(min(pause_ms, left_ms))
        return True
