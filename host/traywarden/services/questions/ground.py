"""What every question stands on: an open transaction, the garden's facts and names, and the instant."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from traywarden.domain.crops import Crop
from traywarden.domain.garden import Garden, Lot, Mix, Place, Tray
from traywarden.domain.hourly import Hourly, hourly
from traywarden.domain.journal import Entry, Facts
from traywarden.domain.series import HeadSeries
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.series import place_series, prefetch, tray_series
from traywarden.settings import Settings
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class Ground:
    """A garden as of `now_ms`."""

    tx: Tx
    garden: Garden
    settings: Settings
    now_ms: int
    facts: Facts
    places: Mapping[int, Place]
    trays: Mapping[int, Tray]
    mixes: Mapping[int, Mix]
    lots: Mapping[int, Lot]

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.garden.time_zone)

    @property
    def display(self) -> Display:
        return Display(self.settings["display.temperature"], self.settings["display.length"])

    def at(self, time_ms: float) -> datetime:
        """An instant in the garden's time zone."""
        return datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(self.zone)

    def tray_series(self, tray_id: int, start_ms: int, end_ms: int) -> list[HeadSeries]:
        return tray_series(
            self.tx, self.facts, tray_id, start_ms, end_ms, earliest_year=self.settings["wire.earliest_year"]
        )

    def have_at_hand(self, tray_ids: Iterable[int], start_ms: int, end_ms: int) -> None:
        """Read the heads of many trays at once: quicker than tray by tray, where all will be asked for."""
        prefetch(
            self.tx,
            self.facts,
            tray_ids,
            start_ms,
            end_ms,
            earliest_year=self.settings["wire.earliest_year"],
        )

    def place_heads(self, place_id: int, measured: str, start_ms: int, end_ms: int) -> list[HeadSeries]:
        """Heads that measured the “air” or the “soil” of a place."""
        year = self.settings["wire.earliest_year"]
        found = place_series(
            self.tx, self.facts, place_id, start_ms, end_ms, earliest_year=year, only=measured
        )
        return found.air if measured == "air" else found.soil

    def tray_hourly(self, tray_id: int, start_ms: int, end_ms: int) -> list[Hourly]:
        """The heads of a tray by the hour; for spans of weeks, where single readings do not matter."""
        return [hourly(head) for head in self.tray_series(tray_id, start_ms, end_ms)]

    def place_hourly(self, place_id: int, measured: str, start_ms: int, end_ms: int) -> list[Hourly]:
        """The heads that measured the “air” or the “soil” of a place, by the hour."""
        return [hourly(head) for head in self.place_heads(place_id, measured, start_ms, end_ms)]

    def place_of(self, tray_id: int, at_ms: int) -> Place | None:
        place_id = self.facts.place_of_tray(tray_id, at_ms)
        return None if place_id is None else self.places.get(place_id)

    def mix_of(self, tray_id: int, at_ms: int) -> Mix | None:
        """The mix in the tray, with the container capacity that held there at that instant."""
        mix = self.mixes.get(self.facts.mix_of_tray(tray_id, at_ms) or -1)
        return None if mix is None else self.facts.mix_as_held(mix, tray_id, at_ms)

    def crop_of(self, sowing: Entry) -> Crop | None:
        """The crop a sowing names, itself or through its lot, if the table knows it."""
        lot = self.lots.get(sowing.lot_id or -1)
        key = str(sowing.data.get("crop") or (lot.crop if lot else ""))
        return crop_store.load_crops().get(key)

    def chosen_trays(self, name: str) -> list[Tray]:
        """The tray of that name, or every tray for an empty name; UsageError when there is none."""
        if name:
            return [garden_store.tray_named(self.tx, name)]
        if not self.trays:
            raise UsageError(
                "There is no tray yet; add one with: "
                'traywarden tray add A1 --mix "Seed mix" --place "Open bench"'
            )
        return list(self.trays.values())

    def need_readings(self) -> None:
        """Raises ShortOfDataError with one helpful sentence when nothing was ever measured."""
        if not reading_store.newest(self.tx):
            raise ShortOfDataError(
                "There are no readings yet; start the host with “traywarden run” and switch a probe on, "
                "or read in a logger file with “traywarden import FILE”."
            )


def ground(tx: Tx, garden: Garden, settings: Settings, now_ms: int) -> Ground:
    """The garden as of now_ms, or, where host.clock is “readings”, as of the newest credible reading."""
    found = Ground(
        tx,
        garden,
        settings,
        now_ms,
        journal_store.facts(tx),
        {place.place_id: place for place in garden_store.places(tx)},
        {tray.tray_id: tray for tray in garden_store.trays(tx)},
        {mix.mix_id: mix for mix in garden_store.mixes(tx)},
        {lot.lot_id: lot for lot in garden_store.lots(tx)},
    )
    if settings["host.clock"] != "readings":
        return found
    newest = max(reading_store.newest_credible(tx).values(), default=now_ms)
    return replace(found, now_ms=newest)
