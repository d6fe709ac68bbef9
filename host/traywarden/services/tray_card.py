"""A tray at a glance: where it stands, what is in it, what was done to it last."""

from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from traywarden.domain.garden import Mix, Place, Tray
from traywarden.domain.journal import Facts
from traywarden.domain.units import Display
from traywarden.services.journal_words import EntryLine, Names, entry_lines
from traywarden.services.moments import moment_words
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Tx


@dataclass(frozen=True, slots=True)
class TrayCard:
    """What holds for a tray at one instant; None and empty where nothing is known."""

    tray: Tray
    place: Place | None
    mix: Mix | None
    crop: str | None
    crop_name: str | None
    sown: str | None
    emerged: str | None
    heads: tuple[str, ...]
    journal: tuple[EntryLine, ...] = ()


def tray_cards(tx: Tx, zone: ZoneInfo, now_ms: int) -> list[TrayCard]:
    """Every tray as it stands now."""
    facts, names = journal_store.facts(tx), Names(tx)
    return [_card(tx, tray, facts, names, zone, now_ms) for tray in garden_store.trays(tx)]


def tray_card(tx: Tx, name: str, zone: ZoneInfo, display: Display, now_ms: int, *, lines: int) -> TrayCard:
    """One tray as it stands now, with its last journal entries."""
    tray, facts = garden_store.tray_named(tx, name), journal_store.facts(tx)
    card = _card(tx, tray, facts, Names(tx), zone, now_ms)
    last = facts.of_tray(tray.tray_id)[-lines:] if lines else []
    return replace(card, journal=tuple(entry_lines(tx, last, {}, zone, display)))


def _card(tx: Tx, tray: Tray, facts: Facts, names: Names, zone: ZoneInfo, now_ms: int) -> TrayCard:
    place_id = facts.place_of_tray(tray.tray_id, now_ms)
    mix_id = facts.mix_of_tray(tray.tray_id, now_ms)
    mix = next((m for m in garden_store.mixes(tx) if m.mix_id == mix_id), None)
    sowing = facts.sowing_of_tray(tray.tray_id, now_ms)
    up = facts.emergence_of_sowing(sowing, now_ms) if sowing else None
    lot = next((lot for lot in garden_store.lots(tx) if sowing and lot.lot_id == sowing.lot_id), None)
    key = str(sowing.data.get("crop") or (lot.crop if lot else "seed")) if sowing else None
    crop = load_crops().get(key or "")
    stays = facts.heads_in_tray(tray.tray_id, now_ms, now_ms + 1)
    return TrayCard(
        tray,
        next((p for p in garden_store.places(tx) if p.place_id == place_id), None),
        None if mix is None else facts.mix_as_held(mix, tray.tray_id, now_ms),
        key,
        crop.name if crop else key,
        moment_words(sowing.at_ms, zone) if sowing else None,
        moment_words(up.at_ms, zone) if up else None,
        tuple(names.heads[stay.subject] for stay in stays),
    )
