"""How places and trays of the demo garden answer to the weather: a heat and a water balance for each tray.

Simple on purpose, and pure: each step follows from the one before and the weather.
"""

from dataclasses import dataclass

from traywarden.demo.weather import STEP_S, Weather
from traywarden.domain.psychrometrics import vpd_kpa

_STEP_H = STEP_S / 3600


@dataclass(frozen=True, slots=True)
class Site:
    """What a place does to the weather.

    `light`: part of the sun that comes in. `gain_c`: warming of its air at full sun. `night_c`: how much
    warmer it stays without sun. `lag_h`: how slowly its air follows. `damped`: how much of the swing of
    the air outside is lost. `still`: how much less the wind dries.
    """

    light: float
    gain_c: float = 0.0
    night_c: float = 0.0
    lag_h: float = 0.3
    damped: float = 0.0
    still: float = 0.0
    roof: bool = False


@dataclass(frozen=True, slots=True)
class Substrate:
    """What a mix does with water [m³/m³], and how fast it dries [per hour, in the open at 1 kPa]."""

    capacity_m3_m3: float
    residual_m3_m3: float
    dries_per_h: float


SITES = {
    "open bench": Site(light=1.0),
    "cold frame": Site(light=0.85, gain_c=7.0, night_c=2.6, lag_h=1.5, damped=0.15, still=0.25, roof=True),
    "dappled shade": Site(light=0.35, night_c=0.6, lag_h=0.8, damped=0.3, still=0.15),
}
_FULL_SUN_W_M2 = 880.0
_SOIL_LAG_H = 2.2
_SOIL_SUN_C = 5.0
_ROOT_DEPTH_MM = 55.0
_BATH_H = 2.0
_WICKING_H = 0.6
_WICKS_TO = 1.03
_DRAINS_H = 0.6
_SATURATED = 1.12


class Air:
    """The air of a place, step by step."""

    def __init__(self, site: Site, weather: Weather) -> None:
        self.site, self._weather = site, weather
        self._mean_c = float(weather.air_c[: 86_400 // STEP_S].mean())
        self.temp_c = float(weather.air_c[0])
        self.rh_pct = float(weather.rh_pct[0])
        self.sun_w_m2 = 0.0

    def step(self, at: int) -> None:
        site, weather = self.site, self._weather
        outside_c = float(weather.air_c[at])
        self._mean_c += (outside_c - self._mean_c) * _STEP_H / 24
        self.sun_w_m2 = float(weather.sun_w_m2[at]) * site.light
        sunny = self.sun_w_m2 / _FULL_SUN_W_M2
        wanted_c = outside_c + site.damped * (self._mean_c - outside_c)
        wanted_c += site.gain_c * sunny + site.night_c * (1 - min(1.0, 3 * sunny))
        self.temp_c += (wanted_c - self.temp_c) * min(1.0, _STEP_H / site.lag_h)
        # The same water in warmer air: its relative humidity falls by about 6 % of itself per degree.
        self.rh_pct = min(99.9, max(12.0, float(weather.rh_pct[at]) * 0.942 ** (self.temp_c - outside_c)))


class Mould:
    """The mix in one tray: its temperature and its water."""

    def __init__(self, substrate: Substrate, air: Air, start_fraction: float) -> None:
        self.substrate, self.air = substrate, air
        self.temp_c = air.temp_c
        span = substrate.capacity_m3_m3 - substrate.residual_m3_m3
        self.water_m3_m3 = substrate.residual_m3_m3 + start_fraction * span
        self._stands_in_water_h = 0.0

    def water_from_below(self) -> None:
        """Stand the tray in water for a while: the mix draws it up."""
        self._stands_in_water_h = _BATH_H

    def step(self, rain_mm: float) -> None:
        air, made_of = self.air, self.substrate
        sunny = air.sun_w_m2 / _FULL_SUN_W_M2
        wanted_c = air.temp_c + _SOIL_SUN_C * sunny
        self.temp_c += (wanted_c - self.temp_c) * _STEP_H / _SOIL_LAG_H
        pull = (1 - air.site.still) * (0.15 + vpd_kpa(air.temp_c, air.rh_pct) + 1.2 * sunny)
        loss = made_of.dries_per_h * pull * max(0.0, self.water_m3_m3 - made_of.residual_m3_m3) * _STEP_H
        self.water_m3_m3 -= loss
        if self._stands_in_water_h > 0:
            self._stands_in_water_h -= _STEP_H
            wicked_to_m3_m3 = made_of.capacity_m3_m3 * _WICKS_TO
            self.water_m3_m3 += max(0.0, wicked_to_m3_m3 - self.water_m3_m3) * _STEP_H / _WICKING_H
        if not air.site.roof:
            self.water_m3_m3 += rain_mm / _ROOT_DEPTH_MM
        self.water_m3_m3 = min(self.water_m3_m3, made_of.capacity_m3_m3 * _SATURATED)
        if self.water_m3_m3 > made_of.capacity_m3_m3:
            surplus = self.water_m3_m3 - made_of.capacity_m3_m3
            self.water_m3_m3 -= surplus * min(1.0, _STEP_H / _DRAINS_H)
