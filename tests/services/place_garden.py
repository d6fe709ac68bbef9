"""A garden of three places whose climates, lids, levels and dryings are known exactly, in a real store.

Thirty days of readings every ten minutes. The frame is 4 °C warmer by night and more by day, half an hour
late, and its lid is opened on some days. Trays of one mix dry twice as fast on the bench as their air
explains. Tray “long” has a head at either end and stands high in the north; “one” and “two” share a base,
high at “two”.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.journal import Kind
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.domain.series import FloatArray, IntArray
from traywarden.services.journal import Draft, put
from traywarden.store import garden, probes, readings
from traywarden.store.store import Store, Tx

ZONE = ZoneInfo("Europe/Lisbon")
DAY_MS, STEP_MS, DAYS = 86_400_000, 600_000, 30
START_MS = round(datetime(2026, 4, 1, tzinfo=ZONE).timestamp() * 1000)
BEFORE_MS = START_MS - DAY_MS
NOW_MS = START_MS + DAYS * DAY_MS
LID_DAYS = (6, 9, 13, 17, 18, 22, 26)
LID_H = (11.5, 15.0)
HOT_DAYS_SHUT = (11, 20)
BENCH_RATIO = 2.0
CAPACITY, RESIDUAL, DRY_LINE = 0.55, 0.12, 0.28
PER_DAY_KPA = 0.35
"""Part of the water above the residual that goes in a day, for each kPa, where only the air dries."""
BELOW_D, ABOVE_D = (2, 4, 6, 8, 12, 14, 16, 18, 22, 24, 26), (10, 20, 28)
WATERED_H = 8.0
HIGH_NORTH, HIGH_TWO, NORTH_READS = 0.05, 0.06, 0.04
"""How much lower high ends settle after water from below; how much too wet the north head reads [m³/m³]."""

TRAYS = {  # place, probe, head
    "bench a": ("Open bench", "bench", 1),
    "bench b": ("Open bench", "bench", 2),
    "bench c": ("Open bench", "bench", 3),
    "frame a": ("Cold frame", "frame", 1),
    "frame b": ("Cold frame", "frame", 2),
    "frame c": ("Cold frame", "frame", 3),
    "one": ("Shade", "shade", 1),
    "two": ("Shade", "shade", 2),
    "long": ("Shade", "more", 1),
}


@dataclass(frozen=True)
class PlaceGarden:
    store: Store
    tray_ids: dict[str, int]
    place_ids: dict[str, int]
    head_ids: dict[tuple[str, int], int]


def times_ms() -> IntArray:
    return np.arange(START_MS, NOW_MS, STEP_MS, dtype=np.int64)


def weather_c() -> FloatArray:
    """The same every day up to a slow wave: mean 11 °C, warmest at 15 o'clock garden time."""
    hour = (times_ms() - START_MS) / 3_600_000
    wave = 2.5 * np.sin(hour / 24 / 7 * 2 * np.pi)
    return np.asarray(11 + wave - 6 * np.cos((hour % 24 - 3) / 24 * 2 * np.pi))


def climate(place: str) -> tuple[FloatArray, FloatArray]:
    """Air [°C] and humidity [%] of a place."""
    hour = (times_ms() - START_MS) / 3_600_000
    bench, clock = weather_c(), hour % 24
    dew = 3.0 + 0 * bench
    if place == "Cold frame":
        late = np.interp(hour - 0.5, hour, bench)
        sun = np.clip(np.sin((clock - 6) / 12 * np.pi), 0, None)
        day = np.floor(hour / 24)
        strong = np.where(np.isin(day, (*LID_DAYS, *HOT_DAYS_SHUT)), 12.0, 4.0)
        shut = late + 4.0 + strong * sun
        lid = np.isin(day, LID_DAYS) & (clock >= LID_H[0]) & (clock < LID_H[1])
        air, dew = np.where(lid, bench + 1.0, shut), dew + 4.0
    elif place == "Shade":
        air = bench - 2.0 * np.clip(np.sin((clock - 6) / 12 * np.pi), 0, None)
    else:
        air = bench
    wet = np.exp(17.27 * dew / (dew + 237.3)) / np.exp(17.27 * air / (air + 237.3))
    return air, np.clip(100 * wet, 10, 99)


def moisture(tray: str, place: str, north: bool = False) -> FloatArray:
    """Water of a tray: falls with its own air's thirst, is filled up on the days of watering."""
    air, rh = climate(place)
    loss = PER_DAY_KPA * vpd_kpa(air, rh) * (BENCH_RATIO if place == "Open bench" else 1.0)
    step_d = STEP_MS / DAY_MS
    hour = (times_ms() - START_MS) / 3_600_000
    level, water = np.empty(hour.size), CAPACITY
    for n, at_h in enumerate(hour.tolist()):
        day, clock = divmod(at_h, 24)
        if day in (*BELOW_D, *ABOVE_D) and WATERED_H <= clock < WATERED_H + 1.5:
            top = CAPACITY
            if day in BELOW_D:
                top -= HIGH_NORTH if north else HIGH_TWO if tray == "two" else 0.0
                water = max(water, water + (top - water) * (1 - np.exp(-STEP_MS / 3_600_000 / 0.4)))
            else:
                water = top
        water -= (water - RESIDUAL) * loss[n] * step_d
        level[n] = water
    return level


def place_garden(folder: Path) -> PlaceGarden:
    """The garden in a new SQLite store in the folder. Close `.store` when done."""
    store = Store.open(f"sqlite:///{folder / 'traywarden.sqlite3'}")
    rng = np.random.default_rng(4)
    time_ms = times_ms()
    with store.write() as tx:
        garden.set_garden(tx, "Three places", "Europe/Lisbon", 38.7, -9.1, now_ms=BEFORE_MS)
        kinds = {"Open bench": "open bench", "Cold frame": "cold frame", "Shade": "dappled shade"}
        places = {name: garden.add_place(tx, name, kind).place_id for name, kind in kinds.items()}
        garden.add_place(tx, "Empty corner", "open ground")
        mix = garden.add_mix(tx, "House mix", {"coir": 2, "perlite": 1}, CAPACITY, DRY_LINE)
        for place, probe in (("Open bench", "bench"), ("Cold frame", "frame"), ("Shade", "shade")):
            air, rh = climate(place)
            values = {"air_temp_c": air + rng.normal(0, 0.05, air.size), "rh_pct": rh}
            readings.insert_columns(tx, probe, 0, BOOT_IMPORTED, time_ms, NOW_MS, values)
        for tray, (place, probe, head) in TRAYS.items():
            _head(tx, rng, probe, head, place, moisture(tray, place))
        north = moisture("long", "Shade", north=True) + NORTH_READS
        _head(tx, rng, "more", 2, "Shade", north)
        pairs = [(probe, head) for _, probe, head in TRAYS.values()] + [("more", 2)]
        heads = probes.ensure_heads(tx, [*pairs, ("bench", 0), ("frame", 0), ("shade", 0)], BEFORE_MS)
        trays = {name: garden.add_tray(tx, name, 40, 3.0).tray_id for name in TRAYS}
        for name, (place, probe, head) in TRAYS.items():
            tray_id = trays[name]
            for draft in (
                Draft(Kind.FILLED, BEFORE_MS, tray_id=tray_id, mix_id=mix.mix_id),
                Draft(Kind.MOVED, BEFORE_MS, tray_id=tray_id, place_id=places[place]),
                Draft(
                    Kind.HEAD_PLACED,
                    BEFORE_MS,
                    tray_id=tray_id,
                    head_id=heads[probe, head],
                    data={"end": "south"} if name == "long" else {},
                ),
                Draft(Kind.SOWED, BEFORE_MS, tray_id=tray_id, data={"crop": "tomato", "cells": 40}),
            ):
                put(tx, draft, BEFORE_MS)
        put(
            tx,
            Draft(
                Kind.HEAD_PLACED,
                BEFORE_MS,
                tray_id=trays["long"],
                head_id=heads["more", 2],
                data={"end": "north"},
            ),
            BEFORE_MS,
        )
        for name, row, end in (("one", 0, "west"), ("two", 1, "east")):
            data = {"base": "long base", "row": row, "end": end}
            put(tx, Draft(Kind.ON_BASE, BEFORE_MS, tray_id=trays[name], data=data), BEFORE_MS)
        for day in LID_DAYS[:3]:
            at_ms = START_MS + day * DAY_MS + round((LID_H[0] + 0.3) * 3_600_000)
            put(tx, Draft(Kind.VENTED, at_ms, place_id=places["Cold frame"], note="lid up"), at_ms)
    return PlaceGarden(store, trays, places, heads)


def _head(tx: Tx, rng: np.random.Generator, probe: str, head: int, place: str, water: FloatArray) -> None:
    soil = climate(place)[0] + rng.normal(0, 0.05, water.size)
    values = {"soil_temp_c": soil, "moisture_m3_m3": water + rng.normal(0, 0.002, water.size)}
    readings.insert_columns(tx, probe, head, BOOT_IMPORTED, times_ms(), NOW_MS, values)
