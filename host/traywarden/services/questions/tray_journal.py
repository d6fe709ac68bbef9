"""The journal as one tray has to do with it: its own entries, and what was done to its place or all trays."""

from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.journal import Entry, Kind
from traywarden.services.journal_words import entry_lines
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.waterings import trays_concerned


@dataclass(frozen=True, slots=True)
class JournalMark:
    """One entry that holds: when, what kind, and in words. `own`: it names this tray and no whole place."""

    entry: int
    at: datetime
    kind: str
    says: str
    note: str
    own: bool


def journal_marks(ground: Ground, tray_id: int, start_ms: int, end_ms: int) -> tuple[JournalMark, ...]:
    """The entries in [start_ms, end_ms) that concern a tray, oldest first."""
    mine = [e for e in ground.facts.entries if start_ms <= e.at_ms < end_ms and _concerns(ground, tray_id, e)]
    lines = entry_lines(ground.tx, mine, {}, ground.zone, ground.display)
    prefix = f"tray {ground.trays[tray_id].name}: "
    return tuple(
        JournalMark(
            line.entry,
            ground.at(line.at_ms),
            line.kind,
            line.says.removeprefix(prefix),
            line.note,
            entry.tray_id == tray_id,
        )
        for line, entry in zip(lines, mine, strict=True)
    )


def _concerns(ground: Ground, tray_id: int, entry: Entry) -> bool:
    if entry.tray_id is not None:
        return entry.tray_id == tray_id
    if entry.kind is Kind.WATERED:
        return tray_id in trays_concerned(ground, entry)
    place_id = ground.facts.place_of_tray(tray_id, entry.at_ms)
    if entry.kind is Kind.RAINED:
        place = ground.places.get(place_id or -1)
        return place is not None and not place.covered
    of_place = entry.kind in (Kind.VENTED, Kind.CLOSED, Kind.NOTED)
    return of_place and entry.place_id is not None and entry.place_id == place_id
