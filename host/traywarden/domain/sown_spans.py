"""How long each sowing stood in its tray, and what was written down of the tray meanwhile."""

from dataclasses import dataclass
from itertools import pairwise

from traywarden.domain.journal import Entry, Facts, Kind

_TURNS = (Kind.SOWED, Kind.PLANTED_OUT)


@dataclass(frozen=True, slots=True)
class SownSpan:
    """A sowing and the entries of its tray after it, oldest first.

    `end_ms`: when the tray was sown anew or planted out; None while it still stands. An entry at the very
    instant of the sowing belongs to what was there before, as nothing can be seen of a sowing yet.
    """

    sowing: Entry
    entries: tuple[Entry, ...]
    end_ms: int | None


def sown_spans(facts: Facts, tray_id: int, until_ms: int) -> list[SownSpan]:
    """Every sowing of a tray up to an instant, oldest first, as known by then."""
    written = [e for e in facts.of_tray(tray_id) if e.at_ms <= until_ms]
    spans = []
    for entry, turn in pairwise([*(e for e in written if e.kind in _TURNS), None]):
        if entry is None or entry.kind is not Kind.SOWED:
            continue
        end_ms = None if turn is None else turn.at_ms
        last_ms = until_ms if end_ms is None else end_ms
        mine = tuple(e for e in written if entry.at_ms < e.at_ms <= last_ms and e.kind not in _TURNS)
        spans.append(SownSpan(entry, mine, end_ms))
    return spans
