"""What the demo shows of the garden: read from the host's store, nothing from the simulation."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from traywarden.domain.crops import Crop
from traywarden.domain.garden import Garden
from traywarden.domain.moisture import fraction
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.series import HeadSeries
from traywarden.services.series import tray_series
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import notices as notice_store
from traywarden.store.crops import crop_named
from traywarden.store.store import Store

_LOOK_BACK_MS = 3 * 3_600_000
_MOST_NOTICES = 400
_NOT_OUT = (NoticeState.HELD, NoticeState.SPARED)


@dataclass(frozen=True, slots=True)
class TrayView:
    """One tray as last measured. `fraction` is 0 at the dry line and 1 at container capacity."""

    name: str
    place: str
    crop: str
    fraction: float | None
    soil_temp_c: float | None
    floor_c: float | None
    up: bool


@dataclass(frozen=True, slots=True)
class View:
    """The garden at one moment of the play. `told`: notices that are out, oldest first."""

    at: datetime
    readings: int
    trays: tuple[TrayView, ...]
    told: tuple[Notice, ...]

    def clock(self, at_ms: int) -> datetime:
        """An instant by the garden's clock."""
        return datetime.fromtimestamp(at_ms / 1000, self.at.tzinfo)


class Viewer:
    """Reads views of one garden from its store."""

    def __init__(self, store: Store, garden: Garden, *, earliest_year: int) -> None:
        self._store, self._zone = store, ZoneInfo(garden.time_zone)
        self._earliest_year = earliest_year
        with store.read() as tx:
            self._places = {p.place_id: p.name for p in garden_store.places(tx)}
            self._mixes = {m.mix_id: m for m in garden_store.mixes(tx)}
            self._trays = garden_store.trays(tx)
            self._crops: Mapping[int, Crop] = {
                lot.lot_id: crop_named(lot.crop) for lot in garden_store.lots(tx)
            }

    def look(self, at_ms: int, readings: int) -> View:
        """The garden as stored, at an instant of the play; so many readings have been stored."""
        with self._store.read() as tx:
            facts = journal_store.facts(tx)
            told = [n for n in notice_store.listed(tx, _MOST_NOTICES) if n.state not in _NOT_OUT]
            trays = []
            for tray in self._trays:
                heads = tray_series(
                    tx,
                    facts,
                    tray.tray_id,
                    at_ms - _LOOK_BACK_MS,
                    at_ms + 1,
                    earliest_year=self._earliest_year,
                )
                mix = self._mixes.get(facts.mix_of_tray(tray.tray_id, at_ms) or -1)
                mix = None if mix is None else facts.mix_as_held(mix, tray.tray_id, at_ms)
                sowing = facts.sowing_of_tray(tray.tray_id, at_ms)
                crop = self._crops.get(sowing.lot_id or -1) if sowing else None
                moisture_m3_m3 = _newest(heads, "moisture_m3_m3")
                level = None
                if mix is not None and moisture_m3_m3 is not None:
                    level = float(fraction(moisture_m3_m3, mix.dry_line_m3_m3, mix.container_capacity_m3_m3))
                trays.append(
                    TrayView(
                        tray.name,
                        self._places.get(facts.place_of_tray(tray.tray_id, at_ms) or -1, ""),
                        crop.name if crop else "",
                        level,
                        _newest(heads, "soil_temp_c"),
                        crop.min_c if crop else None,
                        sowing is not None and facts.emergence_of_sowing(sowing, at_ms) is not None,
                    )
                )
        at = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(self._zone)
        return View(at, readings, tuple(trays), tuple(reversed(told)))


def _newest(heads: list[HeadSeries], column: str) -> float | None:
    """The newest usable value of any head."""
    found = [
        (float(time_s[-1]), float(values[-1]))
        for h in heads
        for time_s, values in [h.used(column)]
        if values.size
    ]
    return max(found)[1] if found else None
