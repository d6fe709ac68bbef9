"""A recorded year as a garden of eight trays: what stood in them, and where, is made up; the weather is not.

Air, humidity, sun, wind and rain are those of `field_bondville_1998.csv`, every half hour of it. What trays
measured comes in two ways:

- “soil”: soil temperature and moisture as recorded in the field, each tray at a depth of its own. The field
  is not watered: its moisture is stretched to that of a mix, from its driest to its 99th percentile.
- “mix”: the demo's trays under the recorded weather, watered by somebody who comes by in the morning and the
  evening. Nothing of these trays is recorded, but a tray dries within days, as trays do and fields do not.

Nothing recorded tells of the air under a cover: that of the cold frame is the demo's frame, with its lid
opener, under the recorded weather. When seed is up follows the soil of its tray: degree-days above a base,
Bierhuizen & Wagenvoort 1974 (from memory). Days of sowing, potting up and planting out are common practice in
that climate, no source. Bench, frame and shade stand side by side: a probe's heads reach all of them.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from tests.shared_data import shared_file
from traywarden.demo.physics import clear_sun_w_m2
from traywarden.demo.season import HEAVY_MIX, MIDDLE_MIX
from traywarden.demo.sites import SITES, PlaceAir, place_air
from traywarden.demo.trays import Spot, Trays
from traywarden.demo.weather import Weather
from traywarden.domain.daylight import sun_elevation_deg
from traywarden.domain.days import day_start_ms
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.domain.series import FloatArray
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store, Tx

ZONE = ZoneInfo("Etc/GMT+6")  # the record keeps local standard time all year
LATITUDE_DEG, LONGITUDE_DEG = 40.0, -88.3
STEP_S = 1800
HOUR_MS = 3_600_000
FRAME, BENCH, SHADE = "Cold frame", "Open bench", "Dappled shade"
KINDS = {FRAME: PlaceKind.COLD_FRAME, BENCH: PlaceKind.OPEN_BENCH, SHADE: PlaceKind.DAPPLED_SHADE}
CAPACITY_M3_M3, LINE_M3_M3, DRIEST_M3_M3 = 0.55, 0.26, 0.12
POT_UP_D = 16
"""From the first seedlings to potting up, for what is potted up."""
UP_C_D = {
    "lettuce": (3.5, 71.0),
    "onion": (1.4, 219.0),
    "cabbage": (1.0, 127.0),
    "broccoli": (1.0, 127.0),
    "tomato": (8.7, 88.0),
    "pepper": (8.0, 182.0),
    "cucumber": (12.7, 108.0),
    "parsley": (0.0, 268.0),
    "beet": (2.1, 119.0),
    "spinach": (0.1, 111.0),
}
"""Base [°C] and degree-days [°C·d] until half of the seed is up."""
FIRST_UP = 0.85
"""Of these degree-days, when the first seedlings are seen (no source)."""
VISITS_H = (7.5, 18.0)
FORGETS = 0.15


@dataclass(frozen=True)
class Crop:
    """One sowing in a tray: what, on which day, where it stood from which day on, and the day it left."""

    tray: str
    crop: str
    sown: date
    stood: tuple[tuple[date, str], ...]
    out: date | None
    potted: bool = False


def _crop(
    tray: str, crop: str, sown: str, where: str, *then: tuple[str, str], out: str, **more: bool
) -> Crop:
    def day(text: str) -> date:
        return datetime.strptime(f"1998 {text}", "%Y %b %d").replace(tzinfo=ZONE).date()

    stood = ((day(sown), where), *((day(at), place) for at, place in then))
    return Crop(tray, crop, day(sown), stood, day(out) if out else None, **more)


CROPS = (
    _crop("A1", "onion", "Feb 12", FRAME, ("Apr 6", BENCH), out="Apr 24"),
    _crop("A1", "cabbage", "Jun 20", SHADE, ("Jul 10", BENCH), out="Jul 30", potted=True),
    _crop("A1", "lettuce", "Sep 12", BENCH, ("Oct 20", FRAME), out=""),
    _crop("A2", "cabbage", "Mar 5", FRAME, ("Apr 10", BENCH), out="Apr 28", potted=True),
    _crop("A2", "cucumber", "May 12", BENCH, out="Jun 8"),
    _crop("A2", "beet", "Jul 18", BENCH, out="Aug 14"),
    _crop("A2", "spinach", "Sep 8", BENCH, ("Oct 20", FRAME), out=""),
    _crop("A3", "lettuce", "Mar 1", FRAME, ("Apr 4", BENCH), out="Apr 22"),
    _crop("A3", "lettuce", "Apr 25", BENCH, out="May 28"),
    _crop("A3", "lettuce", "Jul 25", SHADE, out="Aug 24"),
    _crop("A4", "tomato", "Apr 8", FRAME, ("May 12", BENCH), out="May 24", potted=True),
    _crop("A4", "broccoli", "Jun 28", SHADE, ("Jul 14", BENCH), out="Aug 4", potted=True),
    _crop("A5", "pepper", "Apr 15", FRAME, ("May 18", BENCH), out="Jun 6", potted=True),
    _crop("A5", "parsley", "Jun 25", SHADE, out="Sep 1"),
    _crop("A6", "cucumber", "May 4", FRAME, ("May 20", BENCH), out="May 30"),
    _crop("A6", "lettuce", "Aug 20", SHADE, ("Sep 1", BENCH), out="Sep 22"),
    _crop("A7", "parsley", "Feb 25", FRAME, ("Apr 15", BENCH), out="May 12"),
    _crop("A7", "beet", "May 20", BENCH, out="Jun 24"),
    _crop("A8", "tomato", "Apr 22", FRAME, ("May 14", BENCH), out="May 30", potted=True),
    _crop("A8", "cabbage", "Jul 5", BENCH, out="Aug 8", potted=True),
)
TRAYS = tuple(sorted({crop.tray for crop in CROPS}))


@dataclass
class Year:
    """The recorded year, and what every tray measured in it."""

    time_ms: list[int]
    weather: Weather
    airs: dict[str, PlaceAir]
    soil_c: dict[str, FloatArray]
    wet: dict[str, FloatArray]
    watered: list[tuple[int, str]] = field(default_factory=list)


def year(kind: str) -> Year:
    """The whole file; `kind` is “soil” or “mix”."""
    table = pd.read_csv(shared_file("field_bondville_1998.csv")).replace(-6999.0, np.nan)
    local = pd.DatetimeIndex(pd.to_datetime(table["time_lst"])).tz_localize(ZONE)
    times: list[int] = local.as_unit("ms").astype(np.int64).tolist()
    sky = _sky(table, np.array(times) / 1000)
    airs = {place: place_air(SITES[kind.value], sky) for place, kind in KINDS.items()}
    if kind == "soil":
        return Year(times, sky, airs, *_of_the_field(table))
    return _simulated(times, sky, airs)


def _sky(table: pd.DataFrame, time_s: FloatArray) -> Weather:
    """The recorded weather as the demo's places take it; wind is brought down from the mast to a bench."""
    known = {
        name: table[name].interpolate(limit_direction="both").to_numpy(np.float64)
        for name in ("air_temp_c", "rh_pct", "wind_m_s", "solar_w_m2", "rain_in")
    }
    sun = np.maximum(known["solar_w_m2"], 0.0)
    clear = clear_sun_w_m2(sun_elevation_deg(time_s - STEP_S / 2, LATITUDE_DEG, LONGITUDE_DEG))
    by_day = pd.Series(np.where(clear > 50, 1 - sun / np.maximum(clear, 1.0), np.nan))
    cloud = by_day.interpolate(limit_direction="both").clip(0, 1).to_numpy(np.float64)
    hour_h = np.array([_hour(at) for at in time_s.tolist()])
    return Weather(
        STEP_S,
        time_s,
        hour_h,
        known["air_temp_c"],
        np.asarray(np.clip(known["rh_pct"], 1.0, 100.0)),
        sun,
        np.asarray(cloud),
        0.4 * known["wind_m_s"],
        known["rain_in"] * 25.4,
    )


def _hour(at_s: float) -> float:
    at = datetime.fromtimestamp(at_s, ZONE)
    return at.hour + at.minute / 60


def _of_the_field(table: pd.DataFrame) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    depths = [table[f"soil_temp_{cm}cm_c"].to_numpy(np.float64) for cm in (2, 4, 8)]
    shallow, deep = (table[f"soil_moisture_{cm}cm_m3_m3"].to_numpy(np.float64) for cm in (5, 20))
    wet = [_as_mix(shallow), _as_mix((shallow + deep) / 2)]
    return (
        {tray: depths[n % 3] for n, tray in enumerate(TRAYS)},
        {tray: wet[n // 4] for n, tray in enumerate(TRAYS)},
    )


def _as_mix(moisture: FloatArray) -> FloatArray:
    low, high = np.nanmin(moisture), np.nanquantile(moisture, 0.99)
    mix = DRIEST_M3_M3 + (moisture - low) / (high - low) * (CAPACITY_M3_M3 - DRIEST_M3_M3)
    return np.asarray(np.minimum(mix, 1.05 * CAPACITY_M3_M3))


def _simulated(times: list[int], sky: Weather, airs: dict[str, PlaceAir]) -> Year:
    """Trays of mix, watered from below at a visit when they look dry, which is now and then after they have
    been dry for some hours, or when that was told; one time in seven it is forgotten until the next visit."""
    names = list(airs)
    trays = Trays(
        [Spot((MIDDLE_MIX, HEAVY_MIX)[n % 2], 0, 0.9) for n in range(len(TRAYS))], list(airs.values())
    )
    temps, wet = (np.empty((len(times), len(TRAYS))) for _ in range(2))
    random, watered = np.random.default_rng(1998), list[tuple[int, str]]()
    turns = {(tray, at): place for tray, at, place in _moves()}
    in_use = [(crop.tray, _at_ms(crop.sown), _at_ms(crop.out or date(1999, 1, 2))) for crop in CROPS]
    lines = {tray: random.uniform(0.30, 0.50) for tray in TRAYS}
    for step, at_ms in enumerate(times):
        level = (trays.water_m3_m3 - trays.residual_m3_m3) / (trays.capacity_m3_m3 - trays.residual_m3_m3)
        for n, tray in enumerate(TRAYS):
            if (tray, at_ms) in turns:
                trays.move(n, names.index(turns[tray, at_ms]))
            visit = sky.hour_h[step] in VISITS_H
            frozen = trays.temp_c[n] <= 0
            used = any(t == tray and start <= at_ms < end for t, start, end in in_use)
            anew = any(t == tray and start == at_ms for t, start, _ in in_use)
            told = trays.water_m3_m3[n] * CAPACITY_M3_M3 / trays.capacity_m3_m3[n] < LINE_M3_M3
            dry = visit and used and not frozen and (level[n] < lines[tray] or told)
            if anew or (dry and random.uniform() > FORGETS):
                trays.bathe(n)
                lines[tray] = random.uniform(0.30, 0.50)
                watered.append((at_ms, tray))
        trays.step(step)
        temps[step], wet[step] = trays.temp_c, trays.liquid_m3_m3
    capacity = trays.capacity_m3_m3
    return Year(
        times,
        sky,
        airs,
        {tray: np.round(temps[:, n], 2) for n, tray in enumerate(TRAYS)},
        {tray: np.round(wet[:, n] * CAPACITY_M3_M3 / capacity[n], 4) for n, tray in enumerate(TRAYS)},
        watered,
    )


def _at_ms(day: date, hour: int = 9) -> int:
    return day_start_ms(day, ZONE) + hour * HOUR_MS


def _moves() -> Iterator[tuple[str, int, str]]:
    for crop in CROPS:
        for day, place in crop.stood:
            yield crop.tray, _at_ms(day), place


def fill(store: Store, made: Year, first_ms: int = 0, end_ms: int = 2**53) -> None:
    """The garden, its whole journal and its readings of [first_ms, end_ms), into an empty store."""
    at = made.time_ms[0]
    with store.write() as tx:
        garden_store.set_garden(
            tx, "Field", str(ZONE), latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG, now_ms=at
        )
        places = {name: garden_store.add_place(tx, name, kind).place_id for name, kind in KINDS.items()}
        mix = garden_store.add_mix(tx, "House mix", {"coir": 2, "perlite": 1}, CAPACITY_M3_M3, LINE_M3_M3)
        trays = {name: garden_store.add_tray(tx, name, litres=2.4).tray_id for name in TRAYS}
        for name, place_id in places.items():
            head_id = _head(tx, f"{name.split()[-1]}-air", 0, at)
            journal_store.write(tx, Kind.HEAD_PLACED, at, at, head_id=head_id, place_id=place_id)
        for n, name in enumerate(TRAYS):
            head_id = _head(tx, f"soil-{n // 4 + 1}", n % 4 + 1, at)
            journal_store.write(tx, Kind.HEAD_PLACED, at, at, tray_id=trays[name], head_id=head_id)
        for crop in CROPS:
            _written(tx, made, crop, trays[crop.tray], places, mix.mix_id)
        for number, (at_ms, tray) in enumerate(made.watered):
            if number % 3:  # every third watering is not written down
                data = {"how": "below"}
                journal_store.write(tx, Kind.WATERED, at_ms, at_ms, tray_id=trays[tray], data=data)
        for rows in _readings(made):
            mine = [row for row in rows if first_ms <= row.time_ms < end_ms]
            for first in range(0, len(mine), 5000):
                reading_store.insert(tx, mine[first : first + 5000])


def _head(tx: Tx, probe: str, number: int, at_ms: int) -> int:
    return probe_store.ensure_heads(tx, [(probe, number)], at_ms)[probe, number]


def _written(tx: Tx, made: Year, crop: Crop, tray_id: int, places: dict[str, int], mix_id: int) -> None:
    def write(kind: Kind, at_ms: int, **more: object) -> None:
        journal_store.write(tx, kind, at_ms, at_ms, tray_id=tray_id, **more)  # type: ignore[arg-type]

    sown_ms = _at_ms(crop.sown)
    write(Kind.FILLED, sown_ms, mix_id=mix_id)
    for day, place in crop.stood:
        write(Kind.MOVED, _at_ms(day), place_id=places[place])
    write(Kind.SOWED, sown_ms, data={"crop": crop.crop, "cells": 40, "seeds_per_cell": 1})
    out_ms = _at_ms(crop.out) if crop.out else made.time_ms[-1] + 1
    up_ms = up_at_ms(made, crop)
    if up_ms is not None and up_ms < out_ms:
        write(Kind.EMERGED, up_ms, data={"count": 22})
        potted_ms = up_ms + POT_UP_D * 24 * HOUR_MS
        if crop.potted and potted_ms < out_ms:
            write(Kind.POTTED_UP, potted_ms, data={"count": 20})
    if crop.out:
        write(Kind.PLANTED_OUT, out_ms)


def up_at_ms(made: Year, crop: Crop) -> int | None:
    """The morning on which the first of it was found up."""
    base_c, warmth_c_d = UP_C_D[crop.crop]
    first = int(np.searchsorted(made.time_ms, _at_ms(crop.sown)))
    above_c = np.clip(np.nan_to_num(made.soil_c[crop.tray][first:]) - base_c, 0.0, 25.0)
    reached = np.flatnonzero(np.cumsum(above_c) * STEP_S / 86_400 >= FIRST_UP * warmth_c_d)
    if not reached.size:
        return None
    at = datetime.fromtimestamp(made.time_ms[first + int(reached[0])] / 1000, ZONE)
    return _at_ms(at.date() + timedelta(days=1), 8)


def _readings(made: Year) -> Iterator[list[Reading]]:
    for name, air in made.airs.items():
        probe = f"{name.split()[-1]}-air"
        rain = made.weather.rain_mm if name == BENCH else np.full(len(made.time_ms), np.nan)
        in_air = zip(made.time_ms, air.temp_c, air.rh_pct, rain, strict=True)
        yield [
            Reading(
                probe,
                0,
                1,
                n,
                at,
                at,
                air_temp_c=round(float(c), 2),
                rh_pct=round(float(rh), 1),
                rain_mm=_known(mm),
            )
            for n, (at, c, rh, mm) in enumerate(in_air)
        ]
    for n, tray in enumerate(TRAYS):
        columns = zip(made.time_ms, made.soil_c[tray], made.wet[tray], strict=True)
        yield [
            Reading(
                f"soil-{n // 4 + 1}",
                n % 4 + 1,
                1,
                number,
                at,
                at,
                soil_temp_c=_known(c),
                moisture_m3_m3=_known(wet),
                battery_v=_volts(number) if n % 4 == 0 else None,
            )
            for number, (at, c, wet) in enumerate(columns)
        ]


def _volts(number: int) -> float:
    """A cell that lasts nearly five months, and is charged within two days when that is told."""
    days = number * STEP_S / 86_400
    return round(4.15 - 0.7 * math.fmod(days, 142.0) / 150.0, 3)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
