"""What would tell more about how many cells fill: a germination test, or a tray counted to its end."""

from collections.abc import Sequence
from dataclasses import dataclass

from traywarden.domain.emergence_forecast import EmergenceForecast, OwnSowing, emergence_forecast
from traywarden.domain.germination_metrics import Floats
from traywarden.domain.lot_germination import OwnTest, lot_germination
from traywarden.domain.place_emergence import PlaceEmergence
from traywarden.domain.sowing_plan import SowingRow, filled_range
from traywarden.services.lots import LotKnowledge

TEST_SEEDS, TRAY_SEEDS = 50, 72
WORTH_LESS = 0.85
"""What leaves more than this part of the range of cells filled is not worth speaking of (no source)."""


@dataclass(frozen=True, slots=True)
class Narrower:
    """After a `test` of 50 seeds of the lot, or a `tray` of it counted to its end, that come out as expected
    now, so many cells would fill in four trays of five."""

    by: str
    filled_low: int
    filled_high: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the forecast rests on."""

    known: LotKnowledge
    place: PlaceEmergence
    kind: str
    covered: bool
    own: Sequence[OwnSowing]
    warmth_share: float

    def forecast(self, *, test: bool = False, tray: bool = False) -> EmergenceForecast:
        """As it is known now; or with a test or a tray that come out as expected."""
        lot, own = self.known.germination, list(self.own)
        if test:
            sprouted = round(TEST_SEEDS * lot.mean_share())
            lot = lot_germination([*self.known.evidence, OwnTest(sprouted, TEST_SEEDS)], self.known.ageing)
        if tray:
            expected = self.forecast().comes_up.mean_share / self.warmth_share
            own.append(OwnSowing(round(TRAY_SEEDS * expected), TRAY_SEEDS, self.kind, self.covered))
        found = emergence_forecast(lot, self.place, self.kind, self.covered, own)
        return found.times(self.warmth_share)

    def narrower(self, row: SowingRow, clustering: Floats) -> tuple[Narrower, ...]:
        """Which of both would narrow the range of cells filled."""
        found = []
        for by in ("test", "tray"):
            forecast = self.forecast(test=by == "test", tray=by == "tray")
            low, high = filled_range(forecast, clustering, row.per_cell, row.cells)
            if high - low < WORTH_LESS * (row.filled_high - row.filled_low):
                found.append(Narrower(by, low, high))
        return tuple(found)
