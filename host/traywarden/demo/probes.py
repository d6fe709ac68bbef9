"""The demo's probes: what their sensors read off the trays, faults and all, numbered as a real probe does."""

from dataclasses import dataclass

import numpy as np

from traywarden.demo.plan import BENCH_PROBE, PROBE_PLACES, SHADE_PROBE, TRAYS, PlannedTray
from traywarden.demo.trays import Air, Mould
from traywarden.demo.weather import STEP_S
from traywarden.domain.readings import Reading

_POWER_UP_C = 85.0
_DS18B20_STEP_C = 0.0625
_BROWN_OUT_H = 30.25
"""When the bench probe loses power for a moment: a new boot, and one sensor still at its power-up value."""
_OUT_OF_REACH_H = (58.0, 64.0)
"""When the shade probe cannot reach the broker: it goes on measuring and sends it all afterwards."""


@dataclass(frozen=True, slots=True)
class Tick:
    """One instant of the play."""

    number: int
    time_ms: int
    since_start_h: float
    rain_mm: float


class SimulatedProbe:
    """One probe: an air sensor (head 0), heads in trays and, on the open bench, a rain gauge."""

    def __init__(self, name: str, air: Air, moulds: dict[str, Mould], seed: int) -> None:
        self.name, self._air = name, air
        self._heads = [(tray, moulds[tray.name]) for tray in TRAYS if tray.probe == name]
        self._random = np.random.default_rng(seed)
        self._boot, self._sequence = 1, 0
        self._rain_mm = 0.0

    @property
    def heads(self) -> int:
        """How many heads it reads, its air sensor among them."""
        return 1 + len(self._heads)

    def in_reach(self, tick: Tick) -> bool:
        from_h, to_h = _OUT_OF_REACH_H
        return not (self.name == SHADE_PROBE and from_h <= tick.since_start_h < to_h)

    def measure(self, tick: Tick) -> list[Reading]:
        """The rows of one instant, as the probe numbers them."""
        fresh = self.name == BENCH_PROBE and abs(tick.since_start_h - _BROWN_OUT_H) < STEP_S / 7200
        self._boot, self._sequence = (2, 1) if fresh else (self._boot, self._sequence + 1)
        noise = self._random.normal
        battery_v = 4.12 - 0.006 * tick.since_start_h / 24 + 0.01 * self._air.temp_c / 20 + noise(0, 0.003)
        air = Reading(
            self.name,
            0,
            self._boot,
            self._sequence,
            tick.time_ms,
            tick.time_ms,
            air_temp_c=round(self._air.temp_c + noise(0, 0.08), 2),
            rh_pct=round(min(100.0, self._air.rh_pct + noise(0, 0.6)), 1),
            battery_v=round(battery_v, 3),
            rain_mm=self._rained(tick),
        )
        return [air, *(self._head(tray, mould, tick, fresh=fresh) for tray, mould in self._heads)]

    def _head(self, tray: PlannedTray, mould: Mould, tick: Tick, *, fresh: bool) -> Reading:
        noise = self._random.normal
        temp_c = round((mould.temp_c + noise(0, 0.04)) / _DS18B20_STEP_C) * _DS18B20_STEP_C
        dry_v, wet_v = tray.volts
        volts = dry_v + (wet_v - dry_v) * mould.water_m3_m3 / mould.substrate.capacity_m3_m3
        # Cheap moisture sensors drift a little with their own temperature.
        volts += 0.0006 * (mould.temp_c - 18.0) + noise(0, 0.002)
        return Reading(
            self.name,
            tray.head,
            self._boot,
            self._sequence,
            tick.time_ms,
            tick.time_ms,
            soil_temp_c=_POWER_UP_C if fresh and tray.head == 1 else temp_c,
            moisture_v=round(volts, 3),
        )

    def _rained(self, tick: Tick) -> float | None:
        if self.name != BENCH_PROBE:
            return None
        self._rain_mm += tick.rain_mm
        tips = int(self._rain_mm / 0.2)  # a tipping bucket counts whole tips of 0.2 mm
        self._rain_mm -= tips * 0.2
        return round(tips * 0.2, 1)


def simulated_probes(airs: dict[str, Air], moulds: dict[str, Mould], seed: int) -> list[SimulatedProbe]:
    return [
        SimulatedProbe(name, airs[place], moulds, seed + number)
        for number, (name, place) in enumerate(PROBE_PLACES.items(), 1)
    ]
