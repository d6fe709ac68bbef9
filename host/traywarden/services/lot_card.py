"""A lot of seed at a glance: what it germinates now, and how that is known."""

from dataclasses import dataclass

from traywarden.domain.emergence_forecast import LEVEL
from traywarden.domain.garden import Lot
from traywarden.services.lots import Told, lot_knowledge, seeds_left
from traywarden.services.questions.ground import Ground
from traywarden.store import garden as garden_store


@dataclass(frozen=True, slots=True)
class LotCard:
    """A lot, with what its seed germinates now: mean and 80 % interval, and what that is from."""

    lot: Lot
    seeds_left: int | None
    germination: float
    low: float
    high: float
    told: tuple[Told, ...]
    remarks: tuple[str, ...]


def lot_card(on: Ground, name: str) -> LotCard:
    """Raises UnknownNameError."""
    lot = garden_store.lot_named(on.tx, name)
    known = lot_knowledge(on, lot, lot.crop, on.now_ms)
    low, high = known.germination.interval(LEVEL)
    return LotCard(
        lot, seeds_left(on, lot), known.germination.mean_share(), low, high, known.told, known.remarks
    )
