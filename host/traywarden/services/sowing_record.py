"""The garden's own record of sowings: what came up where, of which seed, and how it filled the cells."""

from dataclasses import dataclass

from traywarden.domain.cell_fill import FilledTray
from traywarden.domain.emergence_forecast import OwnSowing
from traywarden.domain.garden import Lot
from traywarden.domain.place_emergence import TrayRecord
from traywarden.services.batches import KnownBatch, garden_batches
from traywarden.services.lots import YEAR_MS, lot_knowledge
from traywarden.services.questions.ground import Ground


@dataclass(frozen=True, slots=True)
class SowingRecord:
    """Trays that came up to their end. `own`: of the lot asked about; `others`: of every other lot.

    `filled`: trays with several seeds in a cell whose filled cells were counted; `unfinished`: names of
    counted trays left out as they were not counted to the end; `unknown`: as it is not written down how many
    seeds were sown, or where they stood.
    """

    others: tuple[TrayRecord, ...]
    own: tuple[OwnSowing, ...]
    own_batches: tuple[KnownBatch, ...]
    filled: tuple[FilledTray, ...]
    unfinished: tuple[str, ...]
    unknown: tuple[str, ...]


def sowing_record(ground: Ground, lot: Lot | None) -> SowingRecord:
    """Every counted batch of the garden, sorted by what it can teach about sowing this lot."""
    others: list[TrayRecord] = []
    own: list[OwnSowing] = []
    own_batches: list[KnownBatch] = []
    filled: list[FilledTray] = []
    unfinished: list[str] = []
    unknown: list[str] = []
    for known in garden_batches(ground):
        batch = known.batch
        if not batch.counts or not batch.teaches:
            continue
        cells = _filled(known)
        if cells is not None:
            filled.append(cells)
        if not batch.complete:
            unfinished.append(known.tray.name)
        elif batch.sown is None or known.place is None:
            unknown.append(known.tray.name)
        elif lot is not None and known.lot is not None and known.lot.lot_id == lot.lot_id:
            years = (ground.now_ms - batch.sowing.at_ms) / YEAR_MS
            own.append(OwnSowing(batch.up, batch.sown, known.place.kind, known.place.covered, years))
            own_batches.append(known)
        else:
            then = lot_knowledge(ground, known.lot, known.crop_key, batch.sowing.at_ms).germination
            others.append(
                TrayRecord(
                    batch.up, batch.sown, known.place.kind, known.place.covered, then.chances.sum(axis=0)
                )
            )
    return SowingRecord(
        tuple(others), tuple(own), tuple(own_batches), tuple(filled), tuple(unfinished), tuple(unknown)
    )


def _filled(known: KnownBatch) -> FilledTray | None:
    """The tray's filled cells, where they and two or more seeds in each are known and fit each other."""
    cells = known.batch.sowing.data.get("cells") or known.tray.cells
    per_cell = known.batch.sowing.data.get("seeds_per_cell")
    if known.batch.filled is None or not cells or not per_cell or per_cell not in range(2, 100):
        return None
    filled, up = known.batch.filled
    fits = filled <= min(cells, up) and up <= filled * per_cell
    return FilledTray(int(cells), int(per_cell), up, filled) if fits else None
