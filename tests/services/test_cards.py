"""Trays and probes at a glance, on both databases."""

from zoneinfo import ZoneInfo

from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.domain.units import Display
from traywarden.services.journal import Draft, put
from traywarden.services.probe_cards import probe_cards
from traywarden.services.tray_card import tray_card, tray_cards
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store

HOUR_MS = 3_600_000
NOW_MS = 480_000 * HOUR_MS
ZONE = ZoneInfo("UTC")


def test_a_tray_of_which_nothing_is_known_is_still_shown(store: Store) -> None:
    with store.write() as tx:
        garden_store.add_tray(tx, "A1")
        (card,) = tray_cards(tx, ZONE, NOW_MS)
    assert (card.place, card.mix, card.crop, card.heads) == (None, None, None, ())


def test_a_tray_sown_from_a_lot_alone_shows_the_crop_of_the_lot(store: Store) -> None:
    with store.write() as tx:
        tray = garden_store.add_tray(tx, "A1")
        lot = garden_store.add_lot(tx, "Basil 2025", "basil")
        put(tx, Draft(Kind.SOWED, NOW_MS - 9, tray_id=tray.tray_id, lot_id=lot.lot_id), NOW_MS)
        (card,) = tray_cards(tx, ZONE, NOW_MS)
    assert (card.crop, card.crop_name) == ("basil", "Basil")


def test_a_tray_is_shown_as_it_stands_now_not_as_it_stood(store: Store) -> None:
    with store.write() as tx:
        tray = garden_store.add_tray(tx, "A1")
        places = [garden_store.add_place(tx, name, "open bench") for name in ("old", "new", "later")]
        for place, at_ms in zip(places, (NOW_MS - 9, NOW_MS - 5, NOW_MS + 5), strict=True):
            put(tx, Draft(Kind.MOVED, at_ms, tray_id=tray.tray_id, place_id=place.place_id), NOW_MS)
        card = tray_card(tx, "a1", ZONE, Display(), NOW_MS, lines=2)
    assert card.place == places[1]
    assert [line.place for line in card.journal] == ["new", "later"]


def test_a_probe_shows_its_latest_battery_and_each_heads_last_reading(store: Store) -> None:
    rows = [
        Reading("b1", 0, 1, 1, NOW_MS - HOUR_MS, NOW_MS, air_temp_c=12.0, battery_v=3.6),
        Reading("b1", 1, 1, 0, NOW_MS - 2 * HOUR_MS, NOW_MS, soil_temp_c=12.0, battery_v=3.9),
    ]
    with store.write() as tx:
        reading_store.insert(tx, rows)
        probe_store.set_state(tx, "b2", {"state": "asleep"}, NOW_MS)
    with store.read() as tx:
        one, two = probe_cards(tx, NOW_MS)
    assert (one.probe, one.battery_v) == ("b1", 3.6)
    assert [head.last_reading_ms for head in one.heads] == [NOW_MS - HOUR_MS, NOW_MS - 2 * HOUR_MS]
    assert all(head.waiting and head.place_with for head in one.heads)
    assert (two.battery_v, two.state, two.heads) == (None, "asleep", ())


def test_the_air_sensor_of_a_probe_in_a_tray_does_not_wait(store: Store) -> None:
    with store.write() as tx:
        tray = garden_store.add_tray(tx, "A1")
        heads = probe_store.ensure_heads(tx, [("b1", 0), ("b1", 1)], NOW_MS)
        put(tx, Draft(Kind.HEAD_PLACED, NOW_MS, head_id=heads["b1", 1], tray_id=tray.tray_id), NOW_MS)
        (card,) = probe_cards(tx, NOW_MS)
    assert [(head.waiting, head.tray) for head in card.heads] == [(False, None), (False, "A1")]
