"""What the question commands share: the ground to ask on, and days, bars and words for the screen."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import typer

from traywarden.cli.context import bench
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground, ground

PANEL = "Questions"
FROM_OPTION = typer.Option("", "--from", help="First day, such as 2026-03-01 or “7 days ago”.")
TO_OPTION = typer.Option("", "--to", help="Last day; default today.")


@contextmanager
def asking() -> Iterator[Ground]:
    """The garden as of now, in one reading transaction."""
    with bench() as b, b.store.read() as tx:
        yield ground(tx, b.garden, b.settings, b.now_ms)


def days_of(on: Ground, start: str, end: str) -> tuple[date | None, date | None]:
    return day_of(on, start), day_of(on, end)


def quoted(name: str) -> str:
    """A name as it is typed in a command.

    >>> quoted("A1"), quoted("Pepper 1")
    ('A1', '"Pepper 1"')
    """
    return name if name.isalnum() else f'"{name}"'


def moisture_bar(fraction: float | None, cells: int = 10) -> str:
    """How full a tray is between its dry line (left) and container capacity (right).

    >>> moisture_bar(0.5), moisture_bar(-0.1), moisture_bar(None)
    ('▕█████░░░░░▏', '▕◀░░░░░░░░░▏', '')
    """
    if fraction is None:
        return ""
    if fraction < 0:
        return "▕◀" + "░" * (cells - 1) + "▏"
    full = min(round(fraction * cells), cells)
    return "▕" + "█" * full + "░" * (cells - full) + "▏"


def range_bar(value: float | None, low: float | None, high: float | None, cells: int = 10) -> str:
    """Where a value lies between two limits; an arrow where it lies outside.

    >>> range_bar(20, 10, 30), range_bar(5, 10, 30), range_bar(31, 10, 30)
    ('├─────●────┤', '◀──────────┤', '├──────────▶')
    """
    if value is None or low is None or high is None or not high > low:
        return ""
    if value < low:
        return "◀" + "─" * cells + "┤"
    if value > high:
        return "├" + "─" * cells + "▶"
    at = min(int((value - low) / (high - low) * cells), cells - 1)
    return "├" + "─" * at + "●" + "─" * (cells - 1 - at) + "┤"
