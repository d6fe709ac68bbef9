"""The hours of a head cut where its moisture can no longer be compared with what it read before."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from traywarden.domain.hourly import Hourly
from traywarden.domain.journal import Facts
from traywarden.services.series import tray_pieces

FIELDS = tuple(Hourly.__dataclass_fields__)[1:]
HOUR_MS = 3_600_000


def breaks_ms(facts: Facts, head_id: int, tray_id: int, start_ms: int, end_ms: int) -> list[int]:
    """Instants in [start_ms, end_ms) at which the tray was filled, or the head put in or calibrated anew."""
    found: set[int] = set()
    for piece in tray_pieces(facts, tray_id, start_ms, end_ms):
        if piece.head_id != head_id:
            continue
        found.add(piece.start_ms)
        # The first calibration also holds for the time before it.
        later = facts.calibrations(head_id, piece.mix_id)[1:]
        found |= {c.from_ms for c in later if piece.start_ms < c.from_ms < piece.end_ms}
    return sorted(found)


def unbroken(
    facts: Facts, hours: Hourly, head_id: int, tray_id: int, start_ms: int, end_ms: int
) -> Iterator[Hourly]:
    """The hours between breaks, oldest first; an hour with a break in it mixes two truths and is left out."""
    edges = [start_ms, *breaks_ms(facts, head_id, tray_id, start_ms, end_ms), end_ms]
    for first_ms, last_ms in pairwise(edges):
        whole = (hours.hour_s * 1000 >= first_ms) & (hours.hour_s * 1000 + HOUR_MS <= last_ms)
        if whole.any():
            yield cut(hours, whole)


def cut(hours: Hourly, kept: np.ndarray) -> Hourly:
    """The hours chosen; they must follow one another."""
    return Hourly(hours.label, **{name: getattr(hours, name)[kept] for name in FIELDS})
