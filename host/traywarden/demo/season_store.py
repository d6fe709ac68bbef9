"""A simulated season put into a store, as if its probes had sent it and its grower had written it down."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan

import numpy as np

from traywarden.demo.season import Season
from traywarden.domain.garden import Garden
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.domain.series import FloatArray
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store, Tx

GARDEN, TIME_ZONE = "Season", "Europe/Lisbon"
DRY_LINE = 0.5
"""Of the mix's container capacity, as the program has it by default."""
DAY_MS = 86_400_000
_ROWS_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class StoredSeason:
    """Numbers under which the store knows the season; heads in the order of the season's."""

    garden: Garden
    tray_ids: dict[str, int]
    mix_ids: dict[str, int]
    place_ids: dict[str, int]
    head_ids: tuple[int, ...]
    now_ms: int
    readings: int


def kept(
    store: Store,
    season: Season,
    *,
    calibrated: bool = True,
    written_down: float = 0.0,
    capacity_off: float = 0.0,
    seed: int = 1,
) -> StoredSeason:
    """Write garden, facts and all readings.

    `written_down`: part of the waterings that are in the journal. `capacity_off`: how far the container
    capacity set for each mix lies from the true one, as a part of it. Without `calibrated` every head rests
    on the default line.
    """
    start_ms = round(season.time_s[0] * 1000)
    with store.write() as tx:
        garden = garden_store.set_garden(tx, GARDEN, TIME_ZONE, 39.5, -8.7, now_ms=start_ms)
        places = {name: garden_store.add_place(tx, name, name).place_id for name in season.airs}
        mixes = _mixes(tx, season, capacity_off)
        heads = [season.probe_of(n) for n in range(len(season.plans))]
        airs = _air_probes(season, heads)
        ids = probe_store.ensure_heads(tx, [*heads, *((probe, 0) for probe in airs.values())], start_ms)
        trays = _facts(
            tx, season, places, mixes, [ids[head] for head in heads], start_ms, calibrated=calibrated
        )
        _told(tx, season, trays, written_down, np.random.default_rng([seed, 9]))
    stored, batch = 0, []
    for reading in _readings(season, heads, airs):
        batch.append(reading)
        if len(batch) == _ROWS_AT_ONCE:
            stored += _put(store, batch)
            batch = []
    stored += _put(store, batch)
    return StoredSeason(
        garden,
        trays,
        mixes,
        places,
        tuple(ids[head] for head in heads),
        round(season.time_s[-1] * 1000),
        stored,
    )


def _put(store: Store, batch: list[Reading]) -> int:
    with store.write() as tx:
        return reading_store.insert(tx, batch)


def _mixes(tx: Tx, season: Season, capacity_off: float) -> dict[str, int]:
    made_of = {plan.mix: spot.substrate for plan, spot in zip(season.plans, season.spots, strict=True)}
    return {
        name: garden_store.add_mix(
            tx,
            name,
            {"compost": 1},
            made.capacity_m3_m3 * (1 + capacity_off),
            made.capacity_m3_m3 * DRY_LINE,
        ).mix_id
        for name, made in made_of.items()
    }


def _air_probes(season: Season, heads: list[tuple[str, int]]) -> dict[str, str]:
    """By place the probe whose own air sensor speaks for it: the first."""
    found: dict[str, str] = {}
    for plan, (probe, _) in zip(season.plans, heads, strict=True):
        found.setdefault(plan.place, probe)
    return found


def _facts(
    tx: Tx,
    season: Season,
    places: dict[str, int],
    mixes: dict[str, int],
    head_ids: list[int],
    start_ms: int,
    *,
    calibrated: bool,
) -> dict[str, int]:
    trays: dict[str, int] = {}
    for number, plan in enumerate(season.plans):
        if plan.tray not in trays:
            tray_id = trays[plan.tray] = garden_store.add_tray(tx, plan.tray, 40, 2.4).tray_id
            journal_store.write(tx, Kind.FILLED, start_ms, start_ms, tray_id=tray_id, mix_id=mixes[plan.mix])
            journal_store.write(
                tx, Kind.MOVED, start_ms, start_ms, tray_id=tray_id, place_id=places[plan.place]
            )
        head_id = head_ids[number]
        journal_store.write(
            tx, Kind.HEAD_PLACED, start_ms, start_ms, tray_id=trays[plan.tray], head_id=head_id
        )
        if calibrated:
            points = [list(point) for point in season.calibration(number).points]
            journal_store.write(
                tx, Kind.CALIBRATED, start_ms, start_ms, head_id=head_id, data={"points": points}
            )
    return trays


def _told(
    tx: Tx, season: Season, trays: dict[str, int], written_down: float, random: np.random.Generator
) -> None:
    for wetted in season.truth.wetted:
        if random.uniform() < written_down:
            at_ms = round((wetted.at_s + random.uniform(0, 1200)) * 1000)
            data = {"how": wetted.how}
            journal_store.write(tx, Kind.WATERED, at_ms, at_ms, tray_id=trays[wetted.tray], data=data)


def _readings(season: Season, heads: list[tuple[str, int]], airs: dict[str, str]) -> Iterator[Reading]:
    """Head by head, each in order of time: the order in which a store holds them."""
    time_ms = np.round(season.time_s * 1000).astype(np.int64).tolist()
    for place, probe in airs.items():
        temps, rh = season.air_temp_c[place].tolist(), season.rh_pct[place].tolist()
        open_air = not season.airs[place].site.roof and place == next(iter(airs))
        rain: list[float | None] = season.rain_mm.tolist() if open_air else [None] * len(time_ms)
        for n, at_ms in enumerate(time_ms):
            yield Reading(
                probe, 0, 1, n + 1, at_ms, at_ms, air_temp_c=temps[n], rh_pct=rh[n], rain_mm=rain[n]
            )
    for number, (probe, head) in enumerate(heads):
        soil, volts = _known(season.soil_temp_c[:, number]), _known(season.moisture_v[:, number])
        for n, at_ms in enumerate(time_ms):
            if soil[n] is not None or volts[n] is not None:
                yield Reading(probe, head, 1, n + 1, at_ms, at_ms, soil_temp_c=soil[n], moisture_v=volts[n])


def _known(values: FloatArray) -> list[float | None]:
    return [None if isnan(v) else round(v, 4) for v in values.tolist()]
