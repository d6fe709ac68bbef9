"""Sets the demo garden up through the functions that the commands use."""

from collections.abc import Mapping
from dataclasses import dataclass

from traywarden.demo import plan
from traywarden.demo.gardener import Deed
from traywarden.domain.garden import Garden, Mix, Tray
from traywarden.domain.journal import Kind
from traywarden.services import journal
from traywarden.services.journal import Draft
from traywarden.services.renaming import call_probe
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store.crops import crop_named
from traywarden.store.store import Store, Tx

_SEED_DEPTH_MM = 6.0


@dataclass(frozen=True, slots=True)
class SetUp:
    """The garden as the store gave it back."""

    garden: Garden
    trays: Mapping[str, Tray]
    mixes: Mapping[str, Mix]
    head_ids: Mapping[tuple[str, int], int]


def set_up(store: Store, start_ms: int) -> SetUp:
    """Write the planned garden down as it stood at `start_ms`, everything sown that moment."""
    with store.write() as tx:
        garden = garden_store.set_garden(
            tx, plan.GARDEN, plan.TIME_ZONE, plan.LATITUDE_DEG, plan.LONGITUDE_DEG, now_ms=start_ms
        )
        places = {name: garden_store.add_place(tx, name, name.lower()).place_id for name in plan.PLACES}
        mixes = {
            mix.name: garden_store.add_mix(
                tx, mix.name, mix.parts, mix.substrate.capacity_m3_m3, mix.dry_line_m3_m3, mix.note
            )
            for mix in plan.MIXES
        }
        lots = {
            lot.name: garden_store.add_lot(
                tx,
                lot.name,
                crop_named(lot.crop).key,
                lot.germination,
                tested=True,
                seeds=lot.seeds,
                price=lot.price,
            )
            for lot in plan.LOTS
        }
        heads = [(tray.probe, tray.head) for tray in plan.TRAYS] + [(name, 0) for name in plan.PROBE_PLACES]
        head_ids = probe_store.ensure_heads(tx, heads, start_ms)
        for name, called in plan.PROBES_CALLED.items():
            call_probe(tx, name, called)
        trays: dict[str, Tray] = {}
        for planned in plan.TRAYS:
            tray = garden_store.add_tray(tx, planned.name, planned.cells, planned.litres)
            trays[tray.name] = tray
            mix, lot = mixes[planned.mix], lots[planned.lot]
            head_id = head_ids[planned.probe, planned.head]
            drafts = [
                Draft(Kind.FILLED, start_ms, tray_id=tray.tray_id, mix_id=mix.mix_id),
                Draft(Kind.MOVED, start_ms, tray_id=tray.tray_id, place_id=places[planned.place]),
                Draft(Kind.HEAD_PLACED, start_ms, tray_id=tray.tray_id, head_id=head_id),
                Draft(
                    Kind.SOWED,
                    start_ms,
                    tray_id=tray.tray_id,
                    lot_id=lot.lot_id,
                    data={
                        "crop": lot.crop,
                        "cells": planned.cells,
                        "seeds_per_cell": 1,
                        "depth_mm": _SEED_DEPTH_MM,
                    },
                ),
            ]
            if planned.calibrated:
                drafts.append(_calibration(planned, mix, head_id, start_ms))
            for draft in drafts:
                journal.put(tx, draft, start_ms)
    return SetUp(garden, trays, mixes, head_ids)


def write_deed(tx: Tx, made: SetUp, deed: Deed, at_ms: int) -> None:
    """Put into the journal what the gardener did, dated when it was done."""
    data = {"how": "below", "litres": deed.litres} if deed.kind is Kind.WATERED else {"count": deed.count}
    journal.put(tx, Draft(deed.kind, at_ms, tray_id=made.trays[deed.tray.name].tray_id, data=data), at_ms)


def _calibration(planned: plan.PlannedTray, mix: Mix, head_id: int, at_ms: int) -> Draft:
    dry_v, wet_v = planned.volts
    points = [[dry_v, 0.0], [wet_v, mix.container_capacity_m3_m3]]
    return Draft(Kind.CALIBRATED, at_ms, head_id=head_id, data={"points": points})
