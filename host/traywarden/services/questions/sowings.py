"""Every sowing of the journal with what belongs to it: crop, lot, seeds, and what was seen of it and when."""

from collections.abc import Sequence
from dataclasses import dataclass

from traywarden.domain.crops import Crop
from traywarden.domain.garden import Lot, Tray
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.looks import Seeds
from traywarden.domain.sown_spans import SownSpan, sown_spans
from traywarden.services.questions.ground import Ground
from traywarden.store.crops import load_seed

USUAL_CELLS, USUAL_GERMINATION = 40, 0.75
"""Where neither entry nor tray tells the cells, nor lot nor standard the germination (no source)."""
BY_HAND = (Kind.WATERED, Kind.WEIGHED, Kind.NOTED, Kind.MOVED, Kind.EMERGED)
"""Entries that show the grower stood at the tray, and would have seen seedlings."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen at an instant: seedlings up in all, None for some. `implied`: not written, but to be
    taken from when the grower last stood there. Not `teaches`: left out of learning by the grower."""

    at_ms: int
    count: int | None
    implied: bool = False
    teaches: bool = True


@dataclass(frozen=True, slots=True)
class Sowing:
    """One sowing. It ends with the next sowing in its tray, with planting out, or is still there."""

    entry: Entry
    tray: Tray
    crop: Crop | None
    lot: Lot | None
    seeds: Seeds
    seeds_known: bool
    end_ms: int | None
    seen: tuple[Seen, ...]
    learns: bool

    @property
    def up(self) -> Seen | None:
        """The first look at which any was up."""
        return next((s for s in self.seen if s.count != 0), None)

    @property
    def none_up_ms(self) -> int | None:
        """The last look at which none was up, before the first was."""
        first = self.up
        empty = [s.at_ms for s in self.seen if s.count == 0 and (first is None or s.at_ms < first.at_ms)]
        return max(empty, default=None)

    @property
    def most_up(self) -> int | None:
        return max((s.count for s in self.seen if s.count is not None), default=None)


def sowings(ground: Ground) -> list[Sowing]:
    """Every sowing up to now, oldest first."""
    found = [
        _sowing(ground, tray, span)
        for tray in ground.trays.values()
        for span in sown_spans(ground.facts, tray.tray_id, ground.now_ms)
    ]
    return sorted(found, key=lambda s: (s.entry.at_ms, s.entry.entry_id))


def _sowing(ground: Ground, tray: Tray, span: SownSpan) -> Sowing:
    entry = span.sowing
    lot, crop = ground.lots.get(entry.lot_id or -1), ground.crop_of(entry)
    cells, per_cell = entry.data.get("cells") or tray.cells, entry.data.get("seeds_per_cell")
    count = round((cells or USUAL_CELLS) * (per_cell or 1))
    germination = lot.germination if lot else None
    if germination is None and crop:
        seed = load_seed().get(crop.key)
        germination = seed.standard_pct / 100 if seed and seed.standard_pct else None
    seeds = Seeds(max(count, 1), USUAL_GERMINATION if germination is None else germination)
    seen = _seen(entry, span.entries, round(ground.settings["emergence.looked_every_s"] * 1000))
    known = bool(cells and per_cell)
    learns = entry.data.get("learn") is not False
    return Sowing(entry, tray, crop, lot, seeds, known, span.end_ms, seen, learns)


def _seen(sowing: Entry, mine: Sequence[Entry], looked_every_ms: int) -> tuple[Seen, ...]:
    """What was seen until seedlings were taken out of the tray, with the empty look before the first.

    Seedlings that were potted up had come up, also where nobody wrote that down.
    """
    found: list[Seen] = []
    last_ms = sowing.at_ms
    for entry in mine:
        if entry.kind is Kind.POTTED_UP:
            if not any(s.count != 0 for s in found):
                found.append(Seen(entry.at_ms, None, implied=True))
            break
        if entry.kind is Kind.EMERGED:
            count, teaches = entry.data.get("count"), entry.data.get("learn") is not False
            if count != 0 and not any(s.count != 0 for s in found):
                empty_ms = max(last_ms, entry.at_ms - looked_every_ms)
                if sowing.at_ms < empty_ms < entry.at_ms:
                    found.append(Seen(empty_ms, 0, implied=True, teaches=teaches))
            found.append(Seen(entry.at_ms, None if count is None else int(count), teaches=teaches))
        if entry.kind in BY_HAND:
            last_ms = entry.at_ms
    return tuple(found)
