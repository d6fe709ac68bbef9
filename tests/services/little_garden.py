"""A small garden whose weather and waterings are known exactly, in a real store.

Two weeks of readings every ten minutes. Air and soil swing about a mean with the day; the frame is 4 °C
warmer than the bench. Each tray dries toward a residual with a known time constant and was watered when
WATERED says; the journal tells of some of it.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.journal import Kind
from traywarden.domain.moisture import DEFAULT_CALIBRATION
from traywarden.domain.readings import Reading
from traywarden.domain.series import FloatArray
from traywarden.store import garden, journal, probes, readings
from traywarden.store.store import Store

ZONE = ZoneInfo("Europe/Lisbon")
DAY_MS = 86_400_000
STEP_MS = 600_000
START_MS = round(datetime(2026, 3, 2, tzinfo=ZONE).timestamp() * 1000)
BEFORE_MS = START_MS - DAY_MS
NOW_MS = START_MS + 14 * DAY_MS + 9 * 3_600_000  # 16 March, 09:00 in the garden
BENCH_MEAN_C, FRAME_WARMER_C, SWING_C = 10.0, 4.0, 5.0
CAPACITY, RESIDUAL, DRY_LINE = 0.55, 0.15, 0.28
TAU_DAYS = {"tomatoes": 3.0, "lettuce": 5.0, "peppers": 4.0}
WATERED_H = {  # hours since the start at which water came from above
    "tomatoes": (8.0, 8.0 + 4 * 24, 8.0 + 9 * 24),
    "lettuce": (8.0, 8.0 + 9 * 24),
    "peppers": (8.0, 8.0 + 5 * 24, 8.0 + 10 * 24),
}
HEADS = {"tomatoes": ("frame", 1), "lettuce": ("bench", 1), "peppers": ("bench", 2)}


def moisture_m3_m3(tray: str, time_ms: FloatArray) -> FloatArray:
    """Exponential dry-down from container capacity since the last watering."""
    hours = (time_ms - START_MS) / 3_600_000
    watered = np.array((-24.0, *WATERED_H[tray]))
    since_d = (hours - watered[np.searchsorted(watered, hours, side="right") - 1]) / 24
    return np.asarray(RESIDUAL + (CAPACITY - RESIDUAL) * np.exp(-since_d / TAU_DAYS[tray]))


def bench_c(time_ms: FloatArray) -> FloatArray:
    """Coldest at 3, warmest at 15 o'clock garden time (which is UTC in March)."""
    return np.asarray(BENCH_MEAN_C - SWING_C * np.cos((time_ms / DAY_MS - 3 / 24) * 2 * np.pi))


def _volts(m3_m3: FloatArray) -> FloatArray:
    (wet_v, wet_m3_m3), (dry_v, dry_m3_m3) = DEFAULT_CALIBRATION.points
    return np.asarray(dry_v + (m3_m3 - dry_m3_m3) * (wet_v - dry_v) / (wet_m3_m3 - dry_m3_m3))


@dataclass(frozen=True)
class LittleGarden:
    store: Store
    tray_ids: dict[str, int]
    place_ids: dict[str, int]


def little_garden(folder: Path, *, until_ms: int = NOW_MS, with_readings: bool = True) -> LittleGarden:
    """The garden in a new SQLite store in the folder. Close `.store` when done."""
    store = Store.open(f"sqlite:///{folder / 'traywarden.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "Little garden", "Europe/Lisbon", now_ms=START_MS)
        frame = garden.add_place(tx, "Cold frame", "cold frame")
        bench = garden.add_place(tx, "Open bench", "open bench")
        garden.add_place(tx, "Shade", "dappled shade")
        peat = garden.add_mix(tx, "Peat mix", {"peat": 3, "perlite": 1}, CAPACITY, DRY_LINE)
        bark = garden.add_mix(tx, "Bark mix", {"bark": 2, "compost": 1}, CAPACITY, DRY_LINE)
        trays = {name: garden.add_tray(tx, name, 40, 3.0).tray_id for name in HEADS}
        if with_readings:
            readings.insert(tx, _readings(until_ms))
        else:
            readings.insert(tx, [])
        heads = probes.ensure_heads(tx, [*HEADS.values(), ("frame", 0), ("bench", 0)], START_MS)
        for name, tray_id in trays.items():
            journal.write(
                tx, Kind.HEAD_PLACED, BEFORE_MS, START_MS, head_id=heads[HEADS[name]], tray_id=tray_id
            )
            where = frame if name == "tomatoes" else bench
            journal.write(tx, Kind.MOVED, BEFORE_MS, START_MS, tray_id=tray_id, place_id=where.place_id)
            mix = peat if name == "tomatoes" else bark
            journal.write(tx, Kind.FILLED, BEFORE_MS, START_MS, tray_id=tray_id, mix_id=mix.mix_id)
            crop = {"tomatoes": "tomato", "lettuce": "lettuce", "peppers": "pepper"}[name]
            journal.write(
                tx, Kind.SOWED, START_MS, START_MS, tray_id=tray_id, data={"crop": crop, "cells": 40}
            )
        points = {"points": [list(point) for point in DEFAULT_CALIBRATION.points]}
        journal.write(tx, Kind.CALIBRATED, START_MS, START_MS, mix_id=peat.mix_id, data=points)
        told_ms = START_MS + int((8.0 + 4 * 24) * 3_600_000) + 20 * 60_000
        journal.write(
            tx,
            Kind.WATERED,
            told_ms,
            told_ms,
            tray_id=trays["tomatoes"],
            data={"how": "above", "litres": 1.0},
        )
    return LittleGarden(store, trays, {"Cold frame": frame.place_id, "Open bench": bench.place_id})


def _readings(until_ms: int) -> list[Reading]:
    time_ms = np.arange(START_MS, until_ms + 1, STEP_MS).astype(np.float64)
    bench, air_rh = bench_c(time_ms), 70.0 + 20.0 * np.cos((time_ms / DAY_MS - 3 / 24) * 2 * np.pi)
    rows: list[Reading] = []
    for probe, warmer_c in (("frame", FRAME_WARMER_C), ("bench", 0.0)):
        for i, at in enumerate(map(int, time_ms)):
            rows.append(
                Reading(
                    probe, 0, 1, i, at, at + 2_000,
                    air_temp_c=float(bench[i] + warmer_c), rh_pct=float(air_rh[i]), battery_v=3.9,
                )
            )  # fmt: skip
    for tray, (probe, number) in HEADS.items():
        soil = bench + (FRAME_WARMER_C if probe == "frame" else 0.0)
        volts = _volts(moisture_m3_m3(tray, time_ms))
        rows += [
            Reading(
                probe, number, 1, i, at, at + 2_000, soil_temp_c=float(soil[i]), moisture_v=float(volts[i])
            )
            for i, at in enumerate(map(int, time_ms))
        ]
    return rows
