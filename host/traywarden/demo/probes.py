"""The demo's probes: what their sensors read off the trays, faults and all, numbered as a real probe does."""

from dataclasses import dataclass

import numpy as np

from traywarden.demo.plan import BENCH_PROBE, PROBE_PLACES, SHADE_PROBE, TRAYS, PlannedTray
from traywarden.demo.sensors import HeadSensors
from traywarden.demo.sites import PlaceAir
from traywarden.demo.trays import Trays
from traywarden.demo.weather import STEP_S
from traywarden.domain.readings import Reading
from traywarden.domain.series import FloatArray

_POWER_UP_C = 85.0
_VOLTS_PER_C = 0.0006
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

    def __init__(self, name: str, air: PlaceAir, trays: Trays, seed: int) -> None:
        self.name, self._air, self._trays = name, air, trays
        self._spots = [n for n, tray in enumerate(TRAYS) if tray.probe == name]
        self._sensors = _sensors([TRAYS[n] for n in self._spots], trays.capacity_m3_m3[self._spots])
        self._random = np.random.default_rng(seed)
        self._boot, self._sequence = 1, 0
        self._rain_mm = 0.0

    @property
    def heads(self) -> int:
        """How many heads it reads, its air sensor among them."""
        return 1 + len(self._spots)

    def in_reach(self, tick: Tick) -> bool:
        from_h, to_h = _OUT_OF_REACH_H
        return not (self.name == SHADE_PROBE and from_h <= tick.since_start_h < to_h)

    def measure(self, tick: Tick) -> list[Reading]:
        """The rows of one instant, as the probe numbers them."""
        fresh = self.name == BENCH_PROBE and abs(tick.since_start_h - _BROWN_OUT_H) < STEP_S / 7200
        self._boot, self._sequence = (2, 1) if fresh else (self._boot, self._sequence + 1)
        noise = self._random.normal
        air_c, rh_pct = float(self._air.temp_c[tick.number]), float(self._air.rh_pct[tick.number])
        battery_v = 4.12 - 0.006 * tick.since_start_h / 24 + 0.01 * air_c / 20 + noise(0, 0.003)
        air = Reading(
            self.name,
            0,
            self._boot,
            self._sequence,
            tick.time_ms,
            tick.time_ms,
            air_temp_c=round(air_c + noise(0, 0.08), 2),
            rh_pct=round(min(100.0, rh_pct + noise(0, 0.6)), 1),
            battery_v=round(battery_v, 3),
            rain_mm=self._rained(tick),
        )
        return [air, *self._soil(tick, fresh=fresh)]

    def _soil(self, tick: Tick, *, fresh: bool) -> list[Reading]:
        temps_c = self._trays.temp_c[self._spots]
        degrees = self._sensors.degrees(temps_c, self._random)
        since_s = tick.since_start_h * 3600
        volts = self._sensors.volts(self._trays.liquid_m3_m3[self._spots], temps_c, since_s, self._random)
        return [
            Reading(
                self.name,
                TRAYS[spot].head,
                self._boot,
                self._sequence,
                tick.time_ms,
                tick.time_ms,
                soil_temp_c=_POWER_UP_C if fresh and TRAYS[spot].head == 1 else float(degrees[n]),
                moisture_v=round(float(volts[n]), 3),
            )
            for n, spot in enumerate(self._spots)
        ]

    def _rained(self, tick: Tick) -> float | None:
        if self.name != BENCH_PROBE:
            return None
        self._rain_mm += tick.rain_mm
        tips = int(self._rain_mm / 0.2)  # a tipping bucket counts whole tips of 0.2 mm
        self._rain_mm -= tips * 0.2
        return round(tips * 0.2, 1)


def simulated_probes(airs: dict[str, PlaceAir], trays: Trays, seed: int) -> list[SimulatedProbe]:
    return [
        SimulatedProbe(name, airs[place], trays, seed + number)
        for number, (name, place) in enumerate(PROBE_PLACES.items(), 1)
    ]


def _sensors(trays: list[PlannedTray], capacity_m3_m3: FloatArray) -> HeadSensors:
    """Steady, straight heads; the temperature effect is small and of either sign."""
    n = len(trays)
    return HeadSensors(
        dry_v=np.array([tray.volts[0] for tray in trays]),
        wet_v=np.array([tray.volts[1] for tray in trays]),
        capacity_m3_m3=capacity_m3_m3,
        bend=np.zeros(n),
        volts_per_c=np.array([(-1) ** tray.head * _VOLTS_PER_C for tray in trays]),
        drift_v_per_week=np.zeros(n),
        noise_v=np.full(n, 0.002),
        offset_c=np.zeros(n),
        noise_c=np.full(n, 0.04),
    )
