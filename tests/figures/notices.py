"""How often notices come: a recorded year as eight trays, replayed with the settings as they come."""

import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from tests.services.watched_garden import settings_with
from tests.shared_data import shared_file
from traywarden.domain.days import day_start_ms
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.services.judging import standing_rules
from traywarden.services.questions.ground import ground
from traywarden.services.questions.replayed import ReplayAnswer, ReplayAsked, ask_replay
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store, Tx

ZONE = ZoneInfo("Etc/GMT+6")  # the record keeps local standard time all year
CROPS = ("tomato", "lettuce", "cabbage", "pepper", "onion", "cucumber", "beet", "parsley")
"""Warm and cool seed; each is sown anew every eight weeks from the middle of March to the end of August."""
FIRST, LAST = date(1998, 3, 15), date(1998, 8, 31)
EVERY_D, UP_D, OUT_D = 56, 14, 49
SEASON = (date(1998, 3, 15), date(1998, 10, 31))
WEEKS_BY_CLOCK = ((date(1998, 4, 5), date(1998, 4, 18)), (date(1998, 7, 5), date(1998, 7, 18)))
CAPACITY_M3_M3, LINE_M3_M3, DRIEST_M3_M3 = 0.50, 0.25, 0.12
"""Of a mix. The field's soil goes from 0.21 to 0.42 m³/m³: its moisture is stretched to that of a mix, from
its driest to its 99th percentile."""


@cache
def folder() -> Path:
    return Path(tempfile.mkdtemp())


@cache
def store() -> Store:
    """The year in a store: eight trays on an open bench, one probe each, warmth of three depths and water of
    two, so that trays differ."""
    made = Store.open(f"sqlite:///{folder() / 'year.sqlite3'}")
    table = pd.read_csv(shared_file("field_bondville_1998.csv")).replace(-6999.0, np.nan)
    local = pd.DatetimeIndex(pd.to_datetime(table["time_lst"])).tz_localize(ZONE)
    times = (local.as_unit("ms").astype(np.int64)).tolist()
    soil = [table[f"soil_temp_{cm}cm_c"].to_numpy() for cm in (2, 4, 8)]
    shallow, deep = (table[f"soil_moisture_{cm}cm_m3_m3"].to_numpy() for cm in (5, 20))
    wet = [_as_mix(shallow), _as_mix((shallow + deep) / 2)]
    air, rain = table["air_temp_c"].to_numpy(), table["rain_in"].to_numpy() * 25.4
    with made.write() as tx:
        garden_store.set_garden(
            tx, "Field", str(ZONE), latitude_deg=40.0, longitude_deg=-88.3, now_ms=times[0]
        )
        place = garden_store.add_place(tx, "open bench", PlaceKind.OPEN_BENCH)
        mix = garden_store.add_mix(tx, "field soil", {"loam": 1}, CAPACITY_M3_M3, LINE_M3_M3)
        for number, crop in enumerate(CROPS):
            name = f"{crop} tray"
            tray_id = garden_store.add_tray(tx, name).tray_id
            heads = probe_store.ensure_heads(tx, [(f"p{number}", 1), (f"p{number}", 0)], times[0])
            at = times[0]
            journal_store.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix.mix_id)
            journal_store.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=place.place_id)
            head_id = heads[f"p{number}", 1]
            journal_store.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=head_id)
            _sow(tx, tray_id, crop, number)
            columns = zip(times, soil[number % 3], wet[number // 4], air, rain, strict=True)
            for part in _parts(_rows(f"p{number}", columns, with_rain=number == 0)):
                reading_store.insert(tx, part)
    return made


def _sow(tx: Tx, tray_id: int, crop: str, number: int) -> None:
    day = FIRST + timedelta(days=3 * number)
    while day <= LAST:
        for kind, after, data in (
            (Kind.SOWED, 0, {"crop": crop, "cells": 40}),
            (Kind.EMERGED, UP_D, {"count": 20}),
            (Kind.PLANTED_OUT, OUT_D, {}),
        ):
            at = day_start_ms(day + timedelta(days=after), ZONE) + 9 * 3_600_000
            journal_store.write(tx, kind, at, at, tray_id=tray_id, data=data)
        day += timedelta(days=EVERY_D)


def _rows(probe: str, columns: Iterator[tuple[float, ...]], *, with_rain: bool) -> Iterator[Reading]:
    for n, (at_ms, soil_c, wet, air_c, rain_mm) in enumerate(columns):
        at = int(at_ms)
        yield Reading(probe, 1, 1, n, at, at, soil_temp_c=_known(soil_c), moisture_m3_m3=_known(wet))
        fell = _known(rain_mm) if with_rain else None
        yield Reading(probe, 0, 1, n, at, at, air_temp_c=_known(air_c), rain_mm=fell)


def _as_mix(moisture: np.ndarray) -> np.ndarray:
    low, high = np.nanmin(moisture), np.nanquantile(moisture, 0.99)
    return np.asarray(DRIEST_M3_M3 + (moisture - low) / (high - low) * (CAPACITY_M3_M3 - DRIEST_M3_M3))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _parts(rows: Iterator[Reading], most: int = 5000) -> Iterator[list[Reading]]:
    part: list[Reading] = []
    for row in rows:
        part.append(row)
        if len(part) == most:
            yield part
            part = []
    yield part


@cache
def replayed(start: date, end: date, rules: tuple[str, ...] = ()) -> ReplayAnswer:
    """What would have been told in these days."""
    made = store()
    with made.read() as tx:
        garden = garden_store.the_garden(tx)
        assert garden is not None
        now_ms = round(datetime(1999, 1, 1, tzinfo=UTC).timestamp() * 1000)
        on = ground(tx, garden, settings_with(wire__earliest_year=1990), now_ms)
        return ask_replay(on, ReplayAsked(start, end, rules))


AT_READINGS = tuple(rule.name for rule in standing_rules(settings_with()))


def lines() -> Iterator[str]:
    season = replayed(*SEASON, AT_READINGS)
    yield f"Bondville 1998 as eight trays, {SEASON[0]} to {SEASON[1]}, rules asked at readings"
    yield from _told(season)
    for start, end in WEEKS_BY_CLOCK:
        yield f"the same, {start} to {end}, with the rules by the clock"
        yield from _told(replayed(start, end))


def _told(answer: ReplayAnswer) -> Iterator[str]:
    yield (
        f"  {len(answer.notices)} notices in {answer.weeks} weeks; about one tray in one week "
        f"{answer.tray_week_median:g} in the median, at most {answer.tray_week_most}"
    )
    for each in answer.rules:
        if each.notices:
            yield (
                f"  {each.rule}: {each.notices} notices, {each.episodes} episodes, "
                f"{each.back_within_a_day} of them within a day after the last was over"
            )
