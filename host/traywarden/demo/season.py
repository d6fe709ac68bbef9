"""A whole season of a made-up garden at once, with everything known: for tests, figures and benchmarks.

    season = grown(days=270, heads=50, seed=1)
    season.soil_temp_c[:, 3], season.moisture_v[:, 3]     what head 3 measured
    season.truth.water_m3_m3[:, 3], season.truth.wetted   what was so

It proves that what was put in can be found again, never that gardens are like this.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.demo.faults import Fault, Surroundings, with_faults
from traywarden.demo.hands import Hands, Wetted
from traywarden.demo.sensors import HeadSensors, drawn_sensors
from traywarden.demo.sites import SITES, PlaceAir, Site, place_air
from traywarden.demo.trays import Spot, Substrate, Trays
from traywarden.demo.weather import Climate, Weather, season_weather
from traywarden.domain.journal import Calibration
from traywarden.domain.series import FloatArray

ZONE = ZoneInfo("Europe/Lisbon")
START_S = 1_769_904_000  # 2026-02-01T00:00Z
OPEN_MIX = Substrate(0.46, 0.06, 0.30, 0.72, drains_s=900.0, solids_m3_m3=0.10)
MIDDLE_MIX = Substrate(0.55, 0.08, 0.32, 0.76, drains_s=1300.0)
HEAVY_MIX = Substrate(0.63, 0.11, 0.33, 0.80, drains_s=2000.0, solids_m3_m3=0.14)
"""Invented: drains fast and holds little; between; holds much and dries slowly."""
MIXES = {"Open mix": OPEN_MIX, "Middle mix": MIDDLE_MIX, "Heavy mix": HEAVY_MIX}
HEADS_ON_PROBE = 4


@dataclass(frozen=True, slots=True)
class HeadPlan:
    """Where a head sits: tray, mix and place by name; how deep the mix is, and out of level by how much."""

    tray: str
    mix: str
    place: str
    depth_mm: float = 45.0
    low_m3_m3: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What was so: instants × heads, and every wetting in order of time."""

    soil_temp_c: FloatArray
    water_m3_m3: FloatArray
    liquid_m3_m3: FloatArray
    evaporated_mm: FloatArray
    wetted: tuple[Wetted, ...]

    def tau_s(self, head: int, first: int, last: int, residual_m3_m3: float, step_s: float) -> float:
        """Time constant [s] at which the water truly went from one instant's to a later one's."""
        water = self.water_m3_m3[:, head] - residual_m3_m3
        return float((last - first) * step_s / np.log(water[first] / water[last]))


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """Readings (instants × heads, NaN where nothing came) beside the truth they were made from."""

    time_s: FloatArray
    plans: tuple[HeadPlan, ...]
    spots: tuple[Spot, ...]
    sensors: HeadSensors
    weather: Weather
    airs: dict[str, PlaceAir]
    truth: Truth
    faults: tuple[Fault, ...]
    soil_temp_c: FloatArray
    moisture_v: FloatArray
    air_temp_c: dict[str, FloatArray]
    rh_pct: dict[str, FloatArray]
    rain_mm: FloatArray

    @property
    def step_s(self) -> int:
        return self.weather.step_s

    def probe_of(self, head: int) -> tuple[str, int]:
        """Probe and number of a head: four to a probe, none shared between places."""
        place = self.plans[head].place
        before = sum(plan.place == place for plan in self.plans[:head])
        slug = place.lower().replace(" ", "-")
        return f"{slug}-{before // HEADS_ON_PROBE + 1}", before % HEADS_ON_PROBE + 1

    def calibration(self, head: int) -> Calibration:
        """The two points a careful grower would have found before the season."""
        points = (
            (float(self.sensors.wet_v[head]), float(self.sensors.capacity_m3_m3[head])),
            (float(self.sensors.dry_v[head]), 0.0),
        )
        return Calibration(round(self.time_s[0] * 1000), points)

    def moisture_m3_m3(self, head: int) -> FloatArray:
        """Measured volts through that calibration."""
        volts = self.moisture_v[:, head]
        return np.asarray((volts - self.sensors.dry_v[head]) * self.sensors.m3_m3_per_v[head])


def planned_heads(heads: int) -> tuple[HeadPlan, ...]:
    """So many heads, one to a tray, over three mixes and three places so that each meets each."""
    mixes, places = tuple(MIXES), tuple(SITES)
    return tuple(
        HeadPlan(f"Tray {n + 1}", mixes[n % len(mixes)], places[n // len(mixes) % len(places)])
        for n in range(heads)
    )


def grown(
    *,
    days: float = 270.0,
    heads: int = 50,
    step_s: int = 600,
    seed: int = 1,
    start_s: int = START_S,
    plans: Sequence[HeadPlan] | None = None,
    mixes: dict[str, Substrate] | None = None,
    sites: dict[str, Site] | None = None,
    climate: Climate | None = None,
    sensors: HeadSensors | None = None,
    hands: Hands | None = None,
    uneven: float = 0.06,
    faults: Sequence[Fault] = (),
) -> Season:
    """Let a garden run for so many days. The same arguments give the same season.

    `uneven`: how trays of one kind differ in depth (standard deviation, as a part): no two are filled alike.
    """
    mixes, sites = mixes or MIXES, sites or SITES
    plans = tuple(plans or planned_heads(heads))
    steps = round(days * 86_400 / step_s)
    sky = season_weather(start_s, steps, step_s, ZONE, seed, climate or Climate())
    names = tuple(dict.fromkeys(plan.place for plan in plans))
    airs = {name: place_air(sites[name], sky) for name in names}
    random = np.random.default_rng([seed, 1])
    spots = tuple(
        Spot(
            mixes[plan.mix],
            names.index(plan.place),
            float(random.uniform(0.6, 1.0)),
            depth_mm=plan.depth_mm * depth,
            low_m3_m3=plan.low_m3_m3,
        )
        for plan, depth in zip(plans, _depths(plans, uneven, seed), strict=True)
    )
    trays = Trays(spots, list(airs.values()))
    truth = _run(trays, sky, hands or Hands(seed=seed), [plan.tray for plan in plans])
    if sensors is None:
        sensors = drawn_sensors(trays.capacity_m3_m3, np.random.default_rng([seed, 2]))
    noise = np.random.default_rng([seed, 3])
    since_s = (sky.time_s - sky.time_s[0])[:, None]
    degrees = sensors.degrees(truth.soil_temp_c, noise)
    volts = sensors.volts(truth.liquid_m3_m3, truth.soil_temp_c, since_s, noise)
    around = Surroundings(
        np.column_stack([airs[plan.place].temp_c for plan in plans]),
        np.column_stack([airs[plan.place].sun_w_m2 for plan in plans]),
        sensors.dry_v,
        sensors.wet_v,
    )
    degrees, volts = with_faults(sky.time_s, degrees, volts, around, faults, noise)
    return Season(
        sky.time_s,
        plans,
        spots,
        sensors,
        sky,
        airs,
        truth,
        tuple(faults),
        degrees,
        volts,
        {name: _read(air.temp_c, 0.08, 2, noise) for name, air in airs.items()},
        {name: np.minimum(_read(air.rh_pct, 0.6, 1, noise), 100.0) for name, air in airs.items()},
        _tips(sky.rain_mm),
    )


def _run(trays: Trays, sky: Weather, hands: Hands, names: Sequence[str]) -> Truth:
    shape = (sky.time_s.size, len(trays.spots))
    temp_c, water, liquid, evaporated = (np.empty(shape) for _ in range(4))
    wetted: list[Wetted] = []
    for step in range(shape[0]):
        wetted += hands.come_by(trays, float(sky.time_s[step]), float(sky.hour_h[step]), sky.step_s, names)
        flows = trays.step(step)
        temp_c[step], water[step], liquid[step] = trays.temp_c, trays.water_m3_m3, trays.liquid_m3_m3
        evaporated[step] = flows.evaporated_mm
    return Truth(temp_c, water, liquid, evaporated, tuple(wetted))


def _read(values: FloatArray, noise: float, digits: int, random: np.random.Generator) -> FloatArray:
    """Values as an air sensor gives them."""
    return np.asarray(np.round(values + random.normal(0, noise, values.size), digits), np.float64)


def _depths(plans: Sequence[HeadPlan], uneven: float, seed: int) -> list[float]:
    """How deep each is filled against its plan: alike for the heads of one tray."""
    random = np.random.default_rng([seed, 6])
    by_tray = {plan.tray: float(np.exp(random.normal(0.0, uneven))) for plan in plans}
    return [by_tray[plan.tray] for plan in plans]


def _tips(rain_mm: FloatArray) -> FloatArray:
    """A tipping bucket counts whole tips of 0.2 mm."""
    return np.asarray(np.round(np.diff(np.floor(np.cumsum(rain_mm) / 0.2 + 1e-9), prepend=0.0) * 0.2, 1))
