"""Three weeks of an invented garden as a demo plays it, at once: nine trays in three mixes and three places,
sown, watered, counted, moved and written about.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from tests.services.season import Kept, kept_season
from traywarden.demo.season import grown
from traywarden.domain.journal import Kind
from traywarden.domain.units import HOUR_S
from traywarden.services.journal import Draft, put
from traywarden.services.outside_import import import_weather
from traywarden.services.outside_mapping import guess_outside
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Store, Tx

DAYS, HEADS, START_S = 21, 9, 1_772_496_000  # 2026-03-03T00:00Z
DAY_MS, HOUR_MS = 86_400_000, round(HOUR_S * 1000)
CROPS = ("tomato", "lettuce", "pepper", "cabbage", "onion", "basil", "cucumber", "tomato")
"""What is sown in the first trays; the last has nothing in it."""
COUNTS = {"Tray 1": (3, 19, 31, 33), "Tray 2": (8, 30, 36, 37), "Tray 4": (11, 25, 34), "Tray 8": (1, 22, 29)}
"""Seedlings up, counted on the days before now, one a day."""


def season_home(home: Path, *, past_years: bool = True) -> int:
    """A home with that garden in it; its now [ms], the instant of its last reading."""
    home.mkdir(parents=True, exist_ok=True)
    made = kept_season(
        home,
        season=grown(days=DAYS, heads=HEADS, seed=31, start_s=START_S),
        written_down=0.5,
        capacity_off=0.05,
    )
    with made.store.write() as tx:
        _told(tx, made)
    if past_years:
        _weather(made.store, home / "weather.csv", made.season.weather.time_s[0])
    made.store.close()
    return made.stored.now_ms


def _told(tx: Tx, made: Kept) -> None:
    now_ms, ids = made.stored.now_ms, made.stored.tray_ids
    lot = garden_store.add_lot(tx, "Roma 2025", "tomato", 0.85, True, 120, 3.4, "bought at a fair")
    garden_store.add_lot(tx, "Own lettuce", "lettuce", 0.7, False, 400, None, "")
    sown_ms = round(made.season.time_s[0] * 1000) + 9 * HOUR_MS
    for n, crop in enumerate(CROPS, 1):
        data = {"crop": crop, "cells": 40, "seeds_per_cell": 1, "depth_mm": 6}
        lot_id = lot.lot_id if n == 1 else None
        put(tx, Draft(Kind.SOWED, sown_ms, tray_id=ids[f"Tray {n}"], lot_id=lot_id, data=data), now_ms)
    for tray, counts in COUNTS.items():
        for n, count in enumerate(counts):
            at_ms = now_ms - (len(counts) - n) * DAY_MS
            put(tx, Draft(Kind.EMERGED, at_ms, tray_id=ids[tray], data={"count": count}), now_ms)
    frame, shade = made.stored.place_ids["cold frame"], made.stored.place_ids["dappled shade"]
    for days, hours in ((9, 3), (6, 2), (3, 4)):
        put(tx, Draft(Kind.VENTED, now_ms - days * DAY_MS - hours * HOUR_MS, place_id=frame), now_ms)
    put(tx, Draft(Kind.RAINED, now_ms - 5 * DAY_MS, data={"mm": 4.2}), now_ms)
    put(tx, Draft(Kind.MOVED, now_ms - 2 * DAY_MS, tray_id=ids["Tray 3"], place_id=shade), now_ms)
    put(tx, Draft(Kind.WEIGHED, now_ms - DAY_MS, tray_id=ids["Tray 2"], data={"grams": 2140}), now_ms)
    put(tx, Draft(Kind.NOTED, now_ms - DAY_MS, tray_id=ids["Tray 2"], note="2 slugs, 1 snail"), now_ms)
    _weighed(tx, made.stored.head_ids[0], now_ms)
    probe_store.touch(tx, {probe.name: now_ms - 90_000 for probe in probe_store.probes(tx)})


def _weather(store: Store, file: Path, start_s: float) -> None:
    """Three past years of a station near by, day by day up to the garden's first week."""
    last = datetime.fromtimestamp(start_s, UTC).date() + timedelta(days=6)
    random = np.random.default_rng(5)
    lines = ["date,tmin (°C),tmax (°C),precipitation (mm)"]
    for ago_d in range(3 * 365, 0, -1):
        day = last - timedelta(days=ago_d)
        mean_c = 15.0 - 6.0 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 20) / 365) + random.normal(0, 2)
        lines.append(f"{day},{mean_c - 5:.1f},{mean_c + 6:.1f},{max(random.normal(-2, 4), 0):.1f}")
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    zone = ZoneInfo("Europe/Lisbon")
    import_weather(store, file, guess_outside(file, zone=zone.key).mapping, "station", zone)


def _weighed(tx: Tx, head_id: int, now_ms: int) -> None:
    """A pot with a head in it, from soaked to dry."""
    for day, grams, volts in ((6, 950, 1.2), (5, 820, 1.5), (4, 700, 1.8), (3, 560, 2.1), (2, 430, 2.4)):
        data = {"grams": grams, "volts": volts}
        put(tx, Draft(Kind.WEIGHED, now_ms - day * DAY_MS, head_id=head_id, data=data), now_ms)
