"""What a place does to the weather: light, wind, sky and air, with or without a cover over it."""

from dataclasses import dataclass

import numpy as np

from traywarden.demo.physics import EMISSIVITY, black_w_m2, convection_w_m2_k, sky_w_m2
from traywarden.demo.weather import Weather
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.series import FloatArray


@dataclass(frozen=True, slots=True)
class Cover:
    """Glass over a place, per m² of ground: a heat balance of its air and of the ground under it.

    `loses_w_m2_k`: through the glass. `leaks_w_m2_k`: through gaps. `vents_w_m2_k`: with the lid fully open;
    an automatic opener begins to lift it at `opens_at_c` and has it fully open `opens_over_c` above.
    `air_takes`, `ground_takes`: parts of the sun that warm the air at once and the ground; the rest is
    thrown back, or spent on evaporation. `moist`: how far the air under it is on the way to saturation.
    Values are of the usual size, with no source.
    """

    loses_w_m2_k: float = 7.0
    leaks_w_m2_k: float = 4.0
    vents_w_m2_k: float = 60.0
    opens_at_c: float = 24.0
    opens_over_c: float = 6.0
    opener_lag_s: float = 1200.0
    air_takes: float = 0.17
    ground_takes: float = 0.08
    ground_w_m2_k: float = 6.0
    ground_j_m2_k: float = 4.0e5  # some 15 cm of moist soil
    moist: float = 0.25


@dataclass(frozen=True, slots=True)
class Site:
    """`light`: part of the sun that comes in. `sky`: part of the sky it sees; the rest is as warm as its air.

    `wind`: part of the wind that reaches the trays. `lag_h`, `damped`: how its air follows the air outside,
    and how much of the swing is lost.
    """

    light: float = 1.0
    sky: float = 0.9
    wind: float = 1.0
    lag_h: float = 0.2
    damped: float = 0.0
    cover: Cover | None = None

    @property
    def roof(self) -> bool:
        """Whether rain is kept off."""
        return self.cover is not None


SITES = {
    "open bench": Site(),
    "cold frame": Site(light=0.7, sky=0.0, wind=0.2, cover=Cover()),
    "dappled shade": Site(light=0.4, sky=0.4, wind=0.6, lag_h=0.8, damped=0.25),
}


@dataclass(frozen=True, slots=True, eq=False)
class PlaceAir:
    """What trays in a place are exposed to, one value for each step of the weather.

    `longwave_w_m2` comes down on them; `open_part` is how far a lid stands open, 0 to 1 (0 without one).
    """

    site: Site
    step_s: int
    temp_c: FloatArray
    vapour_kpa: FloatArray
    sun_w_m2: FloatArray
    longwave_w_m2: FloatArray
    convection_w_m2_k: FloatArray
    rain_mm: FloatArray
    open_part: FloatArray

    @property
    def rh_pct(self) -> FloatArray:
        return np.asarray(
            np.minimum(100 * self.vapour_kpa / saturation_vapour_pressure_kpa(self.temp_c), 100)
        )


def place_air(site: Site, weather: Weather) -> PlaceAir:
    """A place's air through the whole of the weather. Trays take from it and do not change it."""
    sun_w_m2 = site.light * weather.sun_w_m2
    still = np.zeros(weather.time_s.size)
    if site.cover is None:
        temp_c = _follows(weather.air_c, site, weather.step_s)
        # The same water in other air, never more than that air can hold.
        vapour_kpa = np.minimum(weather.vapour_kpa, 0.995 * saturation_vapour_pressure_kpa(temp_c))
        opened, above_w_m2 = still, black_w_m2(temp_c)
    else:
        temp_c, opened, vapour_kpa = _covered(site.cover, sun_w_m2, weather)
        # The glass lies between the air on either side and is opaque to longwave; open, the sky is seen.
        shut_w_m2 = black_w_m2((temp_c + weather.air_c) / 2)
        sky = sky_w_m2(weather.air_c, weather.vapour_kpa, weather.cloud)
        above_w_m2 = shut_w_m2 + 0.5 * opened * (sky - shut_w_m2)
    open_sky_w_m2 = sky_w_m2(weather.air_c, weather.vapour_kpa, weather.cloud)
    return PlaceAir(
        site,
        weather.step_s,
        temp_c,
        vapour_kpa,
        sun_w_m2,
        EMISSIVITY * (site.sky * open_sky_w_m2 + (1 - site.sky) * above_w_m2),
        convection_w_m2_k(weather.wind_m_s * (site.wind + (1 - site.wind) * 0.3 * opened)),
        still if site.roof else weather.rain_mm,
        opened,
    )


def _follows(outside_c: FloatArray, site: Site, step_s: int) -> FloatArray:
    per_day = min(1.0, step_s / 86_400)
    keep = float(np.exp(-step_s / 3600 / site.lag_h))
    mean_c = float(outside_c[: 86_400 // step_s].mean())
    now_c = float(outside_c[0])
    found = np.empty(outside_c.size)
    for step, out_c in enumerate(outside_c.tolist()):
        mean_c += (out_c - mean_c) * per_day
        wanted_c = out_c + site.damped * (mean_c - out_c)
        now_c = wanted_c + (now_c - wanted_c) * keep
        found[step] = now_c
    return found


def _covered(
    cover: Cover, sun_w_m2: FloatArray, weather: Weather
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Air temperature [°C], how far the lid is open, and vapour pressure [kPa] under a cover."""
    n = weather.time_s.size
    temp_c, opened = np.empty(n), np.empty(n)
    ground_c = float(weather.air_c[: 86_400 // weather.step_s].mean()) + 3.0
    opener = 1 - float(np.exp(-weather.step_s / cover.opener_lag_s))
    wide, air_c = 0.0, ground_c
    through_w_m2_k = cover.loses_w_m2_k + cover.leaks_w_m2_k
    sun, outside = sun_w_m2.tolist(), weather.air_c.tolist()
    for step in range(n):
        wanted = min(1.0, max(0.0, (air_c - cover.opens_at_c) / cover.opens_over_c))
        wide += (wanted - wide) * opener
        out_w_m2_k = through_w_m2_k + cover.vents_w_m2_k * wide
        # Air holds next to no heat: what goes in goes out within the step.
        air_c = (
            out_w_m2_k * outside[step] + cover.ground_w_m2_k * ground_c + cover.air_takes * sun[step]
        ) / (out_w_m2_k + cover.ground_w_m2_k)
        gain_w_m2 = cover.ground_takes * sun[step] - cover.ground_w_m2_k * (ground_c - air_c)
        ground_c += gain_w_m2 * weather.step_s / cover.ground_j_m2_k
        temp_c[step], opened[step] = air_c, wide
    outside_kpa = weather.vapour_kpa
    full_kpa = saturation_vapour_pressure_kpa(temp_c)
    moist = cover.moist * (1 - opened)
    return (
        temp_c,
        opened,
        np.minimum(outside_kpa + moist * np.maximum(full_kpa - outside_kpa, 0), 0.995 * full_kpa),
    )
