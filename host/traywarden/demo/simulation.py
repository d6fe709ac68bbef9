"""The demo garden in motion: weather, places, trays and probes, one measurement of the probes at a time."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from traywarden.demo import plan
from traywarden.demo.probes import SimulatedProbe, Tick, simulated_probes
from traywarden.demo.sites import SITES, place_air
from traywarden.demo.trays import Mould, Spot, Trays
from traywarden.demo.weather import STEP_S, Weather, weather
from traywarden.domain.readings import Reading


@dataclass(frozen=True, slots=True)
class Sent:
    """What one probe measured at one instant; `in_reach` is false while it can only keep it for later."""

    probe: str
    readings: list[Reading]
    in_reach: bool


class Simulation:
    """Steps through a span that ends with `end_s`; the same span and seed give the same garden."""

    def __init__(self, end_s: int, days: float, seed: int) -> None:
        self.steps = round(days * 86_400 / STEP_S) + 1
        self.start_s = end_s - (self.steps - 1) * STEP_S
        self.weather: Weather = weather(self.start_s, self.steps, ZoneInfo(plan.TIME_ZONE), seed)
        self.airs = {name: place_air(SITES[name.lower()], self.weather) for name in plan.PLACES}
        made_of = {mix.name: mix.substrate for mix in plan.MIXES}
        self.trays = Trays(
            [
                Spot(made_of[tray.mix], plan.PLACES.index(tray.place), tray.start_fraction)
                for tray in plan.TRAYS
            ],
            list(self.airs.values()),
        )
        self.moulds = {tray.name: Mould(self.trays, n) for n, tray in enumerate(plan.TRAYS)}
        self.probes: list[SimulatedProbe] = simulated_probes(self.airs, self.trays, seed)
        self._number = -1

    @property
    def ended(self) -> bool:
        return self._number >= self.steps - 1

    @property
    def hour_h(self) -> float:
        """Of the garden's local day, at the newest step."""
        return float(self.weather.hour_h[self._number])

    def step(self) -> tuple[Tick, list[Sent]]:
        """Move on by STEP_S and let every probe measure."""
        self._number += 1
        number = self._number
        rain_mm = float(self.weather.rain_mm[number])
        self.trays.step(number)
        at_s = self.start_s + number * STEP_S
        tick = Tick(number, at_s * 1000, number * STEP_S / 3600, rain_mm)
        return tick, [Sent(p.name, p.measure(tick), p.in_reach(tick)) for p in self.probes]
