"""A garden of many trays: ten places, half the seed up, a probe with a head in each tray, air in each place.

It has a day and a half of minutes behind it, which is what quality flags look back at.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.services.upkeep import pack_days
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import journal, packed, probes
from traywarden.store.store import Store, Tx

MINUTE_MS, DAY_MS = 60_000, 86_400_000
NOON_MS = 1_772_344_800_000 + 6 * 3_600_000  # 1 March 2026; half of that day's readings lie behind
HISTORY_MIN = 36 * 60
WET, DRY = 0.34, 0.20
PLACES = (
    PlaceKind.OPEN_BENCH, PlaceKind.OPEN_BENCH, PlaceKind.OPEN_BENCH, PlaceKind.COLD_FRAME,
    PlaceKind.COLD_FRAME, PlaceKind.COLD_FRAME, PlaceKind.GREENHOUSE, PlaceKind.GREENHOUSE,
    PlaceKind.UNDER_COVER, PlaceKind.DAPPLED_SHADE,
)  # fmt: skip
CROPS = ("tomato", "lettuce", "pepper", "cabbage", "onion")
_PAST = """
WITH RECURSIVE step(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM step WHERE n + 1 < :minutes)
INSERT INTO reading (head_id, time_ms, boot, sequence, received_ms, soil_temp_c, moisture_m3_m3, air_temp_c)
SELECT head_id, :begin_ms + n * 60000, 1, n, :begin_ms + n * 60000,
  CASE number WHEN 0 THEN NULL ELSE 18 + (n % 37) / 16.0 END,
  CASE number WHEN 0 THEN NULL ELSE 0.45 - n * 0.00005 + (n % 7) * 0.001 END,
  CASE number WHEN 0 THEN 12 + 6 * (abs(n % 1440 - 720) / 720.0) END
FROM head, step ORDER BY head_id, n
"""


@dataclass
class ManyTrays:
    """The garden, planted in a new store on SQLite, and what its probes send from then on.

    `trays` by the name of their probe.
    """

    store: Store
    settings: Settings
    number: int
    history_min: int = HISTORY_MIN
    trays: dict[str, int] = field(default_factory=dict)
    heads: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.now_ms, self.minute = NOON_MS, self.history_min
        begin_ms = NOON_MS - self.history_min * MINUTE_MS
        with self.store.write() as tx:
            if garden_store.the_garden(tx) is None:
                garden_store.set_garden(tx, "Demo", "Europe/Lisbon", now_ms=0)
            self._plant(tx, begin_ms)
            tx.exec_driver_sql(_PAST, {"minutes": self.history_min, "begin_ms": begin_ms})
            times = range(begin_ms, NOON_MS, 10 * MINUTE_MS)
            slots = {packed.slot_of(at) for at in times}
            packed.mark(tx, {(head_id, slot) for head_id in self.heads.values() for slot in slots})
        pack_days(self.store, self.settings, NOON_MS)

    def _plant(self, tx: Tx, begin_ms: int) -> None:
        at = begin_ms - DAY_MS
        mixes = [garden_store.add_mix(tx, name, {"peat": 1}, 0.55, 0.25).mix_id for name in ("peat", "bark")]
        self.places = [
            garden_store.add_place(tx, f"{kind.value} {n}", kind).place_id for n, kind in enumerate(PLACES)
        ]
        names = [f"probe-{n}" for n in range(self.number)]
        wanted = [(name, 1) for name in names] + [(f"air-{n}", 0) for n in range(len(PLACES))]
        ids = probes.ensure_heads(tx, wanted, begin_ms)
        self.heads = {name: head_id for (name, _), head_id in ids.items()}
        for n, place_id in enumerate(self.places):
            journal.write(tx, Kind.HEAD_PLACED, at, at, place_id=place_id, head_id=self.heads[f"air-{n}"])
        for n, name in enumerate(names):
            tray_id = self.trays[name] = garden_store.add_tray(tx, f"tray {n}", litres=3.0).tray_id
            place_id = self.places[n % len(PLACES)]
            journal.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=place_id)
            journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mixes[n % 2])
            journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=self.heads[name])
            sown = {"crop": CROPS[n // len(PLACES) % len(CROPS)], "cells": 60}
            journal.write(tx, Kind.SOWED, at, at, tray_id=tray_id, data=sown)
            if n % 2:
                journal.write(tx, Kind.EMERGED, begin_ms, begin_ms, tray_id=tray_id)

    def on(self, minutes: float) -> None:
        """Time goes by, and nothing is sent."""
        self.now_ms += round(minutes * MINUTE_MS)
        self.minute += 1

    def sent(self, wet: float = WET) -> Iterator[Reading]:
        """What every tray sends now, and then the air sensors."""
        at = (1, self.minute, self.now_ms, self.now_ms)
        soil_c = 18 + self.minute % 37 / 16
        for name in self.trays:
            yield Reading(name, 1, *at, soil_temp_c=soil_c, moisture_m3_m3=wet)
        for n in range(len(PLACES)):
            yield Reading(f"air-{n}", 0, *at, air_temp_c=14.0)
