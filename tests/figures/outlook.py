"""How well the outlook on drying foretells what the recorded series then did, and simulated trays.

Each record is asked as the program asks a garden: from the first reading on, every outlook from what was
known by then. Dry-downs of the season in question are judged; all before them are learnt from, none after.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from unittest.mock import patch

import numpy as np
import pandas as pd

from tests.figures import records
from tests.figures.outlook_bounds import WHOLE_DAY_H, Bounds, bounds
from tests.shared_data import shared_file
from traywarden.demo import plan
from traywarden.demo.gardener import Gardener
from traywarden.demo.simulation import Simulation
from traywarden.domain import drying_speed, foresight, spread
from traywarden.domain.backtest import Backtest, History, Score, backtest, judged, score
from traywarden.domain.demand import reference_demand_mm
from traywarden.domain.drying import DAY_H, expected_demand, relative_demand
from traywarden.domain.hourly import hourly
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import SERIES_COLUMNS, HeadSeries
from traywarden.domain.waterings import find_wettings
from traywarden.services.dryings import LEAST_HOURS, part_dryings
from traywarden.services.place_demand import TrayDemand

Floats = records.Floats

SUMMER = pd.Timestamp("1998-06-01 06:00")  # UTC: midnight there
BONDVILLE_DEG, FORD_DEG = (40.0, -88.3), (33.7, -115.1)
"""Latitude and longitude to a tenth of a degree, Illinois and California [from memory]."""
SEED, DAYS, LONG_DAYS, END_S = 7, 28, 70, 1_760_000_400


@dataclass(frozen=True, slots=True)
class Air:
    temp_c: Floats
    vpd_kpa: Floats


def head(
    label: str, time_s: Floats, moisture: Floats, soil_temp_c: Floats, air: Air | None = None
) -> HeadSeries:
    blank = np.full(time_s.size, np.nan)
    flags = {name: np.zeros(time_s.size, np.int64) for name in SERIES_COLUMNS}
    temp = blank if air is None else air.temp_c
    return HeadSeries(label, time_s, soil_temp_c, moisture, True, temp, blank, blank, blank, flags)


def history(
    series: HeadSeries, air: Air, position_deg: tuple[float, float], *, weather_known: bool = False
) -> History:
    """Dry-downs as the program makes them; `weather_known`: outlooks have the coming day's true demand."""
    by_hour = hourly(head("air", series.time_s, air.vpd_kpa, air.temp_c))  # the deficit rides as moisture
    demand = relative_demand(
        reference_demand_mm(
            by_hour.hour_s,
            by_hour.soil_temp_c,
            by_hour.moisture_m3_m3,
            latitude_deg=position_deg[0],
            longitude_deg=position_deg[1],
        )
    )
    ahead = expected_demand(demand)
    if weather_known:
        true = np.lib.stride_tricks.sliding_window_view(demand[1:], DAY_H)
        ahead[: true.shape[0]] = true
    where = TrayDemand(by_hour.hour_s, demand, ahead, by_hour.soil_temp_c, by_hour.moisture_m3_m3, "")
    wettings = find_wettings(series.time_s, series.moisture_m3_m3, series.soil_temp_c)
    found = part_dryings(series, wettings, where, float(series.time_s[-1]) + 3600)
    return History(series.label, "soil", [d for d, _ in found if d.hours >= LEAST_HOURS])


@cache
def bondville(*, weather_known: bool = False) -> History:
    """Moisture at 5 cm, soil temperature at 4 cm."""
    record = records.bondville("soil_temp_4cm_c")
    table = pd.read_csv(shared_file("field_bondville_1998.csv"))
    table = table.mask(table.isin([-6999.0]))
    temp = table["air_temp_c"].to_numpy(np.float64)
    air = Air(temp, vpd_kpa(temp, table["rh_pct"].to_numpy(np.float64)))
    series = head("Bondville", record.time_s, record.moisture_m3_m3, record.soil_temp_c)
    return history(series, air, BONDVILLE_DEG, weather_known=weather_known)


@cache
def ford_dry_lake(depth: str = "2", *, weather_known: bool = False) -> History:
    """Moisture and soil temperature at 2 or 4 inches."""
    record = records.ford_dry_lake()
    table = pd.read_csv(shared_file("field_ford_dry_lake_2015.csv"))
    temp = table["TOBS.I"].to_numpy(np.float64)
    air = Air(temp, vpd_kpa(temp, table["RHUM.I"].to_numpy(np.float64)))
    moisture, soil = (table[f"{name}_{depth}"].to_numpy(np.float64) for name in ("SMS.I", "STO.I"))
    series = head(f"Ford Dry Lake {depth}", record.time_s, moisture / 100, soil)
    return history(series, air, FORD_DEG, weather_known=weather_known)


@cache
def of_bondville(*, weather_known: bool = False) -> Backtest:
    """Dry-downs that began in summer and autumn; those of winter and spring are learnt from."""
    return backtest([bondville(weather_known=weather_known)], SUMMER.timestamp(), WHOLE_DAY_H)


@cache
def of_ford_dry_lake(depth: str = "2", *, weather_known: bool = False) -> Backtest:
    return backtest([ford_dry_lake(depth, weather_known=weather_known)], width=WHOLE_DAY_H)


@cache
def bondville_bounds() -> Bounds:
    """Its sensor reads in steps of 0.01 m³/m³."""
    return bounds(bondville(), 0.01, SUMMER.timestamp())


@cache
def ford_dry_lake_bounds(depth: str = "2") -> Bounds:
    """Its sensors read in steps of 0.1 %."""
    return bounds(ford_dry_lake(depth), 0.001)


def coverage_by_dry_down(found: History, since_s: float = -np.inf) -> Floats:
    """How often the interval held in each dry-down by itself, every six hours, up to a week ahead."""
    rolling, _ = judged([found], since_s, WHOLE_DAY_H)
    scores = [score([each]) for each in rolling if each.cases.size]
    return np.array([s.coverage for s in scores if s.coverage is not None])


@cache
def simulated(days: int = DAYS) -> tuple[list[History], dict[str, tuple[Floats, Floats]]]:
    """Some weeks of the demo's trays as their probes saw them, and their true water by the step."""
    play = Simulation(END_S, days, SEED)
    gardener = Gardener(play.moulds, play.steps)
    rows: dict[str, list[tuple[float, float, float, float, float]]] = {tray.name: [] for tray in plan.TRAYS}
    water: dict[str, list[float]] = {tray.name: [] for tray in plan.TRAYS}
    while not play.ended:
        tick, sent = play.step()
        by_head = {(r.probe, r.head): r for one in sent for r in one.readings}
        for tray in plan.TRAYS:
            soil, air = by_head[(tray.probe, tray.head)], by_head[(tray.probe, 0)]
            dry_v, wet_v = tray.volts
            capacity = play.moulds[tray.name].substrate.capacity_m3_m3
            volts = soil.moisture_v or np.nan
            moisture = (volts - dry_v) / (wet_v - dry_v) * capacity
            temp, rh = air.air_temp_c or np.nan, air.rh_pct or np.nan
            soil_c = np.nan if soil.soil_temp_c in (None, 85.0) else float(soil.soil_temp_c or 0.0)
            rows[tray.name].append((tick.time_ms / 1000, moisture, soil_c, temp, rh))
            water[tray.name].append(play.moulds[tray.name].water_m3_m3)
        gardener.come_by(tick, play.hour_h)
    histories = []
    true = {}
    for tray in plan.TRAYS:
        time_s, moisture, soil_c, temp, rh = np.array(rows[tray.name]).T
        series = head(tray.name, time_s, moisture, soil_c)
        found = history(series, Air(temp, vpd_kpa(temp, rh)), (plan.LATITUDE_DEG, plan.LONGITUDE_DEG))
        histories.append(replace(found, mix=tray.mix))
        true[tray.name] = time_s, np.array(water[tray.name])
    return histories, true


@cache
def of_simulated() -> Backtest:
    return backtest(simulated()[0])


def narrowing() -> Iterator[tuple[int, int, Score]]:
    """Ten weeks of the same trays: the score of dry-downs that began in each span of days."""
    rolling, _ = judged(simulated(LONG_DAYS)[0], -np.inf, 0)
    for first, last in ((0, 14), (14, 28), (28, 49), (49, LONG_DAYS)):
        began = [(float(j.cases.asked_s[0] - END_S) / 86400 + LONG_DAYS, j) for j in rolling if j.cases.size]
        yield first, last, score([j for at_d, j in began if first <= at_d < last])


TURNED = (
    (drying_speed, "MEMORY_H"),
    (drying_speed, "NOISE_M3_M3"),
    (foresight, "HALF"),
    (foresight, "REMEMBERED_S"),
    (spread, "DEFAULT_COUNT"),
    (spread, "HALVES_S"),
    (spread, "OFFSET_H"),
    (spread, "LIKENESS"),
)


def turned() -> Iterator[tuple[str, float, Score, Score]]:
    """Both fields' scores with one constant of the outlook at half or twice its value."""
    for module, name in TURNED:
        for times in (0.5, 2.0):
            with patch.object(module, name, getattr(module, name) * times):
                one = backtest([bondville()], SUMMER.timestamp(), WHOLE_DAY_H).rolling
                other = backtest([ford_dry_lake()], width=WHOLE_DAY_H).rolling
            yield name, times, one, other


def lines() -> Iterator[str]:
    yield "Levels: every 0.01 m³/m³ at x.xx5 in the upper four fifths of each dry-down that fell by 0.03."
    yield "Learnt from earlier dry-downs alone, first by default."
    yield from _told(
        "Bondville 1998, 5 cm, June to December",
        of_bondville(),
        bondville_bounds(),
        coverage_by_dry_down(bondville(), SUMMER.timestamp()),
    )
    known = of_bondville(weather_known=True).day_before
    yield f"    with the coming day's weather known: off by {_percent(known.median_error)}"
    yield from _told(
        "Ford Dry Lake 2015, 2 inch",
        of_ford_dry_lake(),
        ford_dry_lake_bounds(),
        coverage_by_dry_down(ford_dry_lake()),
    )
    known = of_ford_dry_lake(weather_known=True).day_before
    yield f"    with the coming day's weather known: off by {_percent(known.median_error)}"
    yield from _told(
        "Ford Dry Lake 2015, 4 inch (four dry-downs)",
        of_ford_dry_lake("4"),
        ford_dry_lake_bounds("4"),
        coverage_by_dry_down(ford_dry_lake("4")),
    )
    yield from _told(f"Simulated trays, {DAYS} days (recovery, not realism)", of_simulated())
    yield f"  the same trays for {LONG_DAYS} days: the interval held in dry-downs that began on days"
    for first, last, found in narrowing():
        held, width = _percent(found.coverage), _percent(found.width)
        yield f"    {first} to {last}: {held} ({found.dry_downs} dry-downs), width {width}"
    yield "One constant at half or twice its value: median error and how often the interval held,"
    yield "  Bondville | Ford Dry Lake, every six hours"
    for name, times, one, other in turned():
        both = " | ".join(f"{_percent(s.median_error)}, {_percent(s.coverage)}" for s in (one, other))
        yield f"    {name} × {times:g}: {both}"


def _told(
    name: str, found: Backtest, bound: Bounds | None = None, by_dry_down: Floats | None = None
) -> Iterator[str]:
    yield name
    yield f"  every six hours, up to a week ahead: {_words(found.rolling)}"
    if by_dry_down is not None:
        least, most = (_percent(float(of(by_dry_down))) for of in (np.min, np.max))
        yield (
            f"    the interval held in the mean of the dry-downs, each counting once: "
            f"{_percent(float(by_dry_down.mean()))} (from {least} in one to {most} in another)"
        )
    yield f"  one day before: {_words(found.day_before)}"
    day = found.day_before
    yield f"    as a part of the whole dry-down until then: {_percent(day.median_error_of_dry_down)}"
    if bound is None:
        return
    yield (
        "    moisture and rate known in hindsight (half a day ahead), going on so: off by "
        f"{_percent(bound.same_rate)}"
    )
    yield (
        f"    the rate to come known exactly ({bound.fall_m3_m3:.3f} m³/m³ in the day), of the moisture only "
        f"the newest hour: off by {_percent(bound.reading)}; its mean in hindsight in the sensor's steps: "
        f"{_percent(bound.stepped)}; the last day's mean, carried on at that rate: {_percent(bound.day)}"
    )


def _words(found: Score) -> str:
    return (
        f"{found.dry_downs} dry-downs, {found.cases} cases ({found.unanswered} without an outlook); "
        f"80 % interval held {_percent(found.coverage)} (sooner {_percent(found.sooner)}, later "
        f"{_percent(found.later)}), median error {_percent(found.median_error)} of the time left, bias "
        f"{_percent(found.bias)}; same rate as the last day {_percent(found.same_rate_error)}, ×"
        f"{found.same_rate_ratio or 0:.2f}; as long as last time {_percent(found.last_time_error)}, ×"
        f"{found.last_time_ratio or 0:.2f}; pinball {found.pinball or 0:.3f}"
    )


def _percent(part: float | None) -> str:
    return "–" if part is None else f"{part * 100:.0f} %"
