"""Sensor drivers: a pure raw-to-physical function on top, bus access below.

A driver's `read` returns a value or raises SensorError; it never returns a number that was not measured.
Buses, pins and waiting are handed in, so the same code runs on the board, in the interpreter and on CPython.
"""


class SensorError(Exception):
    """Which sensor gave no value, and why in words a person understands."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(f"{name}: {why}")
        self.name = name
        self.why = why
