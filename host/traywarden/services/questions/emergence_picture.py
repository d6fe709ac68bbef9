"""One sowing on a line of days: where the bands of first and half emergence lie, and now."""

from dataclasses import dataclass
from datetime import datetime

from traywarden.services.questions.emergence_answer import Between, TrayEmergence

SHORTEST_S = 3600.0


@dataclass(frozen=True, slots=True)
class Band:
    """Parts of the line, from 0 to 1. `expected` None: not foreseen; `open`: its end is not known."""

    name: str
    low: float | None
    expected: float | None
    high: float
    open: bool


@dataclass(frozen=True, slots=True)
class Way:
    """From the sowing to the last day of the bands, or to now where that is later."""

    begins: datetime
    ends: datetime
    now: float
    bands: tuple[Band, ...]


def way_of(tray: TrayEmergence, now: datetime) -> Way | None:
    """The line of a tray; None where nothing is sown or nothing is expected of it any more."""
    named = [(name, band) for name, band in (("first", tray.first), ("half", tray.half)) if band is not None]
    if tray.sown is None or not named:
        return None
    sown, last = tray.sown, max([now, *(end for _, b in named if (end := b.high or b.expected) is not None)])
    span_s = max((last - sown).total_seconds(), SHORTEST_S)

    def part(at: datetime) -> float:
        return min(max((at - sown).total_seconds() / span_s, 0.0), 1.0)

    def line(name: str, band: Between) -> Band:
        low, expected = (None if at is None else part(at) for at in (band.low, band.expected))
        return Band(name, low, expected, 1.0 if band.high is None else part(band.high), band.high is None)

    return Way(sown, last, part(now), tuple(line(name, band) for name, band in named))
