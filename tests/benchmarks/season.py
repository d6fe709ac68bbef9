"""A made-up garden's whole season in a store: 50 trays with a head each, six heads in the air, 270 days.

Readings every ten minutes, as cheap sensors give them: steps of 1/16 °C and of a millivolt, a few seconds
of jitter, spikes, gaps, a sensor that falls silent. Trays dry as the air asks for, are watered by hand, from
below and by rain, are filled and sown three times, move from the frame to the bench, and share heads for a
while; mixes and some heads are calibrated. The journal tells of most of it, and takes some of it back.

It serves for measuring speed: whoever looks for truth to recover takes a made tray of the tests.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import Settings, load
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes, readings
from traywarden.store.store import Store, Tx

Floats = NDArray[np.float64]

ZONE = "Europe/Lisbon"
HOUR_MS, DAY_MS, STEP_MS = 3_600_000, 86_400_000, 600_000
ASKED_AT_MS = 10 * HOUR_MS
"""It is asked at ten in the morning after the last whole day."""
TRAYS, DAYS = 50, 270
START_MS = round(datetime(2026, 2, 1, tzinfo=ZoneInfo(ZONE)).timestamp() * 1000)
PLACES = (
    ("Open bench", "open bench", 0.0),
    ("Cold frame", "cold frame", 5.0),
    ("Greenhouse", "greenhouse", 7.0),
    ("Shade", "dappled shade", -1.0),
    ("Low bench", "open bench", -0.5),
    ("Carport", "under cover", 1.0),
)
"""Name, kind, and how much warmer than the open bench at noon [°C]."""
MIXES = (
    ("Peat mix", {"peat": 3, "perlite": 1}, 0.58, 0.28, 3.0),
    ("Bark mix", {"bark": 2, "compost": 1}, 0.50, 0.24, 2.2),
    ("Coir mix", {"coir": 3, "perlite": 1}, 0.55, 0.26, 3.6),
    ("Leaf mould", {"leaf mould": 1, "sand": 1}, 0.48, 0.22, 4.5),
)
"""Name, parts, container capacity, dry line, and days it takes to dry by 63 % in mild weather."""
CROPS = ("tomato", "lettuce", "pepper", "onion", "cabbage", "cucumber", "basil", "carrot")
FROM_BELOW = (2, 3)
"""Of every four trays those that stand in one base tray, and are watered from below."""
BATCH_DAYS = 65
RESIDUAL = 0.10


@dataclass
class Season:
    """The garden in a store; `now_ms` is its last instant."""

    store: Store
    settings: Settings
    trays: dict[str, int]
    days: int
    heads: dict[tuple[str, int], int] = field(default_factory=dict)

    @property
    def now_ms(self) -> int:
        return START_MS + self.days * DAY_MS + ASKED_AT_MS

    @contextmanager
    def ground(self) -> Iterator[Ground]:
        with self.store.read() as tx:
            garden = garden_store.the_garden(tx)
            assert garden is not None
            yield ground(tx, garden, self.settings, self.now_ms)


def season(home: Path, *, trays: int = TRAYS, days: int = DAYS, seed: int = 7) -> Season:
    """The garden, made in the home folder if it is not there yet. Close `.store` when done."""
    settings = load(home, environ={})
    store = Store.open(settings.store_url)
    with store.read() as tx:
        known = {tray.name: tray.tray_id for tray in garden_store.trays(tx)}
    made = Season(store, settings, known, days)
    if not known:
        _Maker(made, trays, np.random.default_rng(seed)).make()
    with store.read() as tx:
        made.heads = {(head.probe, head.number): head.head_id for head in probes.heads(tx)}
    return made


class _Maker:
    """Weather first, then what the trays do in it, then what the grower does and writes down."""

    def __init__(self, season: Season, trays: int, rng: np.random.Generator) -> None:
        self.season, self.rng, self.trays = season, rng, trays
        self.time_ms = np.arange(START_MS, season.now_ms, STEP_MS, dtype=np.int64)
        self.steps = self.time_ms.size
        self.day = (self.time_ms - START_MS) / DAY_MS
        self.place_of = np.arange(trays) % len(PLACES)
        self.mix_of = np.arange(trays) % len(MIXES)
        self.moved_day = np.where(np.arange(trays) % 3 == 1, season.days * 0.4, np.inf)
        """Trays that move to the open bench then."""

    def make(self) -> None:
        self._weather()
        self._dry_and_water()
        with self.season.store.write() as tx:
            self._nouns(tx)
            self._entries(tx)
        for number in range(self.trays):
            self._insert(f"p{number // 2 + 1:02}", number % 2 + 1, self._head_values(number))
        for number in range(len(PLACES)):
            self._insert(f"air-{number + 1}", 0, self._air_values(number))

    def _weather(self) -> None:
        days = self.season.days + 1
        noise = np.zeros(days + 1)
        for n in range(1, days + 1):
            noise[n] = 0.7 * noise[n - 1] + self.rng.normal(0, 1.6)
        slow = np.interp(self.day, np.arange(days + 1), noise)
        season_c = 13 - 9 * np.cos(2 * np.pi * (self.day + 25) / 365)
        cloud = np.interp(self.day, np.arange(days + 1), self.rng.uniform(0.3, 1.0, days + 1))
        sun = np.maximum(0.0, np.sin(2 * np.pi * (self.day % 1 - 0.27))) * cloud
        self.sun = sun
        swing_c = -4.5 * np.cos(2 * np.pi * (self.day % 1 - 0.13)) * cloud
        self.air_c = [
            season_c + slow + swing_c + warmer_c * sun + (1.2 if warmer_c > 3 else 0.0)
            for _, _, warmer_c in PLACES
        ]
        self.rh_pct = [np.clip(88 - 3.1 * (air - season_c - slow + 4), 25, 99) for air in self.air_c]
        rainy = self.rng.random(days) < 0.16
        self.rain_at = np.flatnonzero(rainy) * DAY_MS + self.rng.integers(0, 20, rainy.sum()) * HOUR_MS
        self.rain_mm = np.zeros(self.steps)
        for at in self.rain_at.tolist():
            first = at // STEP_MS
            self.rain_mm[first : first + 6] = np.round(self.rng.uniform(0.2, 2.0), 1)

    def _where(self, number: int) -> Any:
        """Index of the place of a tray at every step."""
        return np.where(self.day < self.moved_day[number], self.place_of[number], 0)

    def _dry_and_water(self) -> None:
        """Water content of every tray, step by step, and who was watered when and how."""
        where = np.stack([self._where(n) for n in range(self.trays)])
        air, rh = np.stack(self.air_c), np.stack(self.rh_pct)
        at = np.arange(self.steps)
        vpd = 0.61078 * np.exp(17.27 * air / (air + 237.3)) * (1 - rh / 100)
        demand = (0.35 + 1.1 * vpd)[where, at] * (0.6 + self.sun)
        covered = np.array([kind in ("cold frame", "greenhouse", "under cover") for _, kind, _ in PLACES])[
            where
        ]
        capacity = np.array([MIXES[m][2] for m in self.mix_of])
        line = np.array([MIXES[m][3] for m in self.mix_of])
        per_step = STEP_MS / DAY_MS / np.array([MIXES[m][4] for m in self.mix_of])
        level, self.level = capacity.copy(), np.empty((self.trays, self.steps))
        self.watered: list[tuple[int, int, str]] = []
        patience = self.rng.uniform(0.9, 1.25, self.trays)
        climbing, aim = np.zeros(self.trays), capacity.copy()
        for step in range(self.steps):
            level = level - (level - RESIDUAL) * per_step * demand[:, step]
            wet = (self.rain_mm[step] > 0) & ~covered[:, step]
            level = np.where(wet, np.minimum(level + 0.012 * self.rain_mm[step], capacity), level)
            hour = step % 144 // 6
            if step % 144 in (8 * 6, 18 * 6):
                for n in np.flatnonzero(level < line * patience).tolist():
                    how = "below" if n % 4 in FROM_BELOW else "above"
                    self.watered.append((n, step, how))
                    climbing[n], aim[n] = (
                        (9 if how == "below" else 1),
                        capacity[n] * self.rng.uniform(0.88, 1.0),
                    )
                    patience[n] = self.rng.uniform(0.9, 1.25)
            rise = np.where(climbing > 0, (aim - level) / np.maximum(climbing, 1), 0.0)
            level, climbing = level + np.maximum(rise, 0), np.maximum(climbing - 1, 0)
            self.level[:, step] = level
            del hour

    def _soil_c(self, number: int) -> Floats:
        where = self._where(number)
        air = np.stack(self.air_c)[where, np.arange(self.steps)]
        lagged = np.empty(self.steps)
        lag, held = STEP_MS / (2.5 * HOUR_MS), float(air[0])
        for n, value in enumerate(air.tolist()):
            held += (value - held) * lag
            lagged[n] = held
        return np.asarray(lagged + 3.0 * self.sun - 0.5)

    def _calibration(self, number: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Volts and water content of the wet and the dry point of a head."""
        return (1.28 + 0.01 * (number % 7), 0.55), (2.55 + 0.012 * (number % 5), 0.02)

    def _head_values(self, number: int) -> dict[str, Floats]:
        rng = self.rng
        soil_c = self._soil_c(number) + rng.normal(0, 0.03, self.steps)
        (wet_v, wet), (dry_v, dry) = self._calibration(number)
        volts = dry_v + (self.level[number] - dry) * (wet_v - dry_v) / (wet - dry)
        volts = volts - 0.0015 * (soil_c - 15) + rng.normal(0, 0.004, self.steps)
        soil_c, volts = np.round(soil_c * 16) / 16, np.round(volts, 3)
        spikes = rng.choice(self.steps, 12, replace=False)
        soil_c[spikes[:5]] += 20.0
        volts[spikes[5:9]] += 0.6
        soil_c[spikes[9:11]] = -127.0
        soil_c[spikes[11]] = 85.0
        if number % 11 == 5:  # a sensor that sticks for two days
            begin = rng.integers(2_000, self.steps - 2_000) if self.steps > 5_000 else 200
            volts[begin : begin + 288] = volts[begin]
        if number % 13 == 6:  # … and one that falls silent for good
            volts[self.steps * 4 // 5 :] = np.nan
        return {"soil_temp_c": soil_c, "moisture_v": volts}

    def _air_values(self, number: int) -> dict[str, Floats]:
        found = {
            "air_temp_c": np.round(self.air_c[number] + self.rng.normal(0, 0.05, self.steps), 2),
            "rh_pct": np.round(self.rh_pct[number] + self.rng.normal(0, 0.3, self.steps), 2),
            "battery_v": np.round(4.1 - 0.4 * self.day / self.season.days, 2),
        }
        return found | ({"rain_mm": self.rain_mm} if number == 0 else {})

    def _insert(self, probe: str, number: int, values: dict[str, Floats]) -> None:
        """In commits of 5,000, as an import does; a few hours are missing now and then."""
        jitter = self.rng.integers(-4_000, 4_000, self.steps)
        kept = np.ones(self.steps, np.bool_)
        for begin in self.rng.integers(0, self.steps, 6).tolist():
            kept[begin : begin + int(self.rng.integers(6, 60))] = False
        kept[-144:] = True
        jitter[-1] = -abs(jitter[-1])
        times = (self.time_ms + jitter)[kept]
        for first in range(0, times.size, 5_000):
            part = slice(first, first + 5_000)
            with self.season.store.write() as tx:
                readings.insert_columns(
                    tx,
                    probe,
                    number,
                    BOOT_IMPORTED,
                    times[part],
                    self.season.now_ms,
                    {name: column[kept][part] for name, column in values.items()},
                )

    # Nouns and journal -------------------------------------------------------------------------------------

    def _nouns(self, tx: Tx) -> None:
        garden_store.set_garden(tx, "Season", ZONE, 38.7, -9.1, now_ms=START_MS)
        self.places = [garden_store.add_place(tx, name, kind).place_id for name, kind, _ in PLACES]
        self.mixes = [garden_store.add_mix(tx, *mix[:4]).mix_id for mix in MIXES]
        for n in range(self.trays):
            tray = garden_store.add_tray(tx, f"T{n + 1:02}", 40, 3.0)
            self.season.trays[tray.name] = tray.tray_id
        self.tray_ids = list(self.season.trays.values())
        pairs = [(f"p{n // 2 + 1:02}", n % 2 + 1) for n in range(self.trays)]
        air = [(f"air-{n + 1}", 0) for n in range(len(PLACES))]
        self.heads = probes.ensure_heads(tx, pairs + air, START_MS)
        self.head_ids = [self.heads[pair] for pair in pairs]
        self.lots = [
            garden_store.add_lot(tx, f"{crop} lot", crop, 0.85, tested=True, seeds=500, price=3.0).lot_id
            for crop in CROPS
        ]

    def _entries(self, tx: Tx) -> None:  # noqa: PLR0912 - a season has many kinds of events
        """The journal, written in the order of time as far as it goes."""
        made: list[tuple[int, Kind, dict[str, Any]]] = []

        def note(kind: Kind, day: float, **what: Any) -> None:
            at_ms = START_MS + round(day * DAY_MS)
            if at_ms < self.season.now_ms:
                made.append((at_ms, kind, what))

        days = self.season.days
        for n, place_id in enumerate(self.places):
            note(Kind.HEAD_PLACED, 0.0, head_id=self.heads[f"air-{n + 1}", 0], place_id=place_id)
        for n, tray_id in enumerate(self.tray_ids):
            note(Kind.HEAD_PLACED, 0.0, head_id=self.head_ids[n], tray_id=tray_id)
            note(Kind.MOVED, 0.0, tray_id=tray_id, place_id=self.places[self.place_of[n]])
            note(Kind.MOVED, self.moved_day[n] if self.moved_day[n] < days else 1e6, tray_id=tray_id,
                 place_id=self.places[0])  # fmt: skip
            for batch in range(-(-days // BATCH_DAYS)):
                begin = batch * BATCH_DAYS + n % 5
                lot = (n + batch) % len(CROPS)
                note(Kind.FILLED, begin, tray_id=tray_id, mix_id=self.mixes[self.mix_of[n]])
                note(Kind.SOWED, begin + 0.3, tray_id=tray_id, lot_id=self.lots[lot],
                     data={"crop": CROPS[lot], "cells": 40, "seeds_per_cell": 1, "depth_mm": 6})  # fmt: skip
                for look in range(8):
                    up = round(34 / (1 + np.exp(-(look - 3))))
                    note(Kind.EMERGED, begin + 6 + 1.5 * look, tray_id=tray_id, data={"count": int(up)})
                note(Kind.POTTED_UP, begin + 30, tray_id=tray_id, data={"count": 10})
                note(Kind.PLANTED_OUT, begin + 50, tray_id=tray_id, data={"count": 20})
        for n, tray_id in enumerate(self.tray_ids):
            if n % 4 in FROM_BELOW:
                ends = {"row": n % 4 - FROM_BELOW[0], "end": ("north", "south")[n % 4 - FROM_BELOW[0]]}
                note(Kind.ON_BASE, 0.1, tray_id=tray_id, data={"base": f"base {n // 4 + 1}", **ends})
        # Heads that visit the tray beside theirs for three weeks, and come back.
        for n in range(10, min(20, self.trays)):
            note(Kind.HEAD_PLACED, days * 0.5, head_id=self.head_ids[n], tray_id=self.tray_ids[n - 10])
            note(Kind.HEAD_PLACED, days * 0.5 + 21, head_id=self.head_ids[n], tray_id=self.tray_ids[n])
        for n, mix_id in enumerate(self.mixes):
            points = [list(point) for point in self._calibration(n)]
            note(Kind.CALIBRATED, 3.0, mix_id=mix_id, data={"points": points})
        for n in range(0, self.trays, 5):
            points = [list(point) for point in self._calibration(n)]
            note(Kind.CALIBRATED, 10.0, head_id=self.head_ids[n], data={"points": points})
        for n in range(0, self.trays, 10):
            (wet_v, wet), dry = self._calibration(n)
            note(Kind.CALIBRATED, days * 0.6, head_id=self.head_ids[n],
                 data={"points": [[wet_v + 0.02, wet], [1.9, 0.31], list(dry)]})  # fmt: skip
        for n, step, how in self.watered:
            told = self.rng.random()
            day = step * STEP_MS / DAY_MS + self.rng.uniform(0, 0.03)
            if told < 0.5:
                note(Kind.WATERED, day, tray_id=self.tray_ids[n], data={"how": how, "litres": 1.0})
            elif told < 0.55:
                note(Kind.WATERED, day, place_id=self.places[self._where(n)[step]], data={"how": how})
        for at in self.rain_at[::3].tolist():
            note(Kind.RAINED, at / DAY_MS, data={"mm": 4.0})
        for at_ms, kind, what in sorted(made, key=lambda one: one[0]):
            entry = journal.write(tx, kind, at_ms, at_ms, **what)
            if kind is Kind.WATERED and self.rng.random() < 0.03:
                journal.write(tx, Kind.UNDONE, at_ms, at_ms + 60_000, replaces=entry.entry_id)
            elif kind is Kind.WATERED and self.rng.random() < 0.03:
                journal.write(tx, kind, at_ms - 3_600_000, at_ms + 60_000, replaces=entry.entry_id, **what)
