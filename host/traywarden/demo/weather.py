"""Invented weather for the demo garden: mild days of late spring, two cold nights, a rain and a cool end.

Pure and seeded: the same span and seed give the same weather.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.demo.physics import clear_sun_w_m2, cloudy
from traywarden.domain.daylight import sun_elevation_deg
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.series import BoolArray, FloatArray

STEP_S = 900
"""From one measurement of a probe to the next."""

# Days of the fortnight: mean °C, half the daily swing °C, cloud 0…1. After the last it begins again.
_DAYS: tuple[tuple[float, float, float], ...] = (
    (13.0, 5.0, 0.2),
    (9.5, 6.0, 0.1),  # a clear night after a front: the mix falls far below what tomato and pepper need
    (15.5, 5.0, 0.2),
    (18.0, 5.0, 0.2),
    (18.5, 4.5, 0.3),
    (16.5, 3.0, 0.8),  # rain in the afternoon
    (17.5, 4.5, 0.3),
    (19.0, 5.5, 0.1),
    (19.5, 5.5, 0.1),
    (13.0, 5.0, 0.4),  # the second front
    (16.0, 5.0, 0.2),
    (18.5, 5.0, 0.2),
    (19.5, 5.0, 0.1),
    (18.0, 4.5, 0.3),
)
_RAIN_DAY, _RAIN_FROM_H, _RAIN_HOURS, _RAIN_MM = 5, 14.0, 2.5, 14.0
_COOL_END_H, _COOL_END_C = 20.0, -6.0
_WARMEST_H = 15.0
_SUNRISE_H, _SUNSET_H = 6.2, 20.3
_BRIGHTEST_W_M2 = 880.0
_WIND_M_S, _BREEZE_M_S = 0.8, 1.6
"""At the height of the trays: by night, and what the sun adds to it."""


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """What the open sky does, one value for each step of `step_s`."""

    step_s: int
    time_s: FloatArray
    hour_h: FloatArray  # of the garden's local day
    air_c: FloatArray
    rh_pct: FloatArray
    sun_w_m2: FloatArray
    cloud: FloatArray  # part of the sky, 0 to 1
    wind_m_s: FloatArray  # at the height of the trays
    rain_mm: FloatArray  # fallen since the step before

    @property
    def vapour_kpa(self) -> FloatArray:
        return np.asarray(saturation_vapour_pressure_kpa(self.air_c) * self.rh_pct / 100)


def weather(start_s: int, steps: int, zone: ZoneInfo, seed: int) -> Weather:
    """So many steps of weather from an instant on, in the garden's own time of day.

    The two cold days count from the start, the cool end from the last step, whatever lies between: each
    is there in a short play too.
    """
    random = np.random.default_rng(seed)
    time_s = start_s + STEP_S * np.arange(steps, dtype=np.float64)
    local_d = _local_d(time_s, zone)
    hour_h = local_d % 1.0 * 24
    # Day values hold at noon and run into one another.
    day = local_d - np.floor(local_d[0]) - 0.5
    noons = np.arange(-1, int(day[-1]) + 3)
    script = np.array([_DAYS[noon % len(_DAYS)] for noon in noons])
    mean_c, swing_c, cloud = (np.interp(day, noons, script[:, column]) for column in range(3))
    cloud = np.clip(cloud + wandering(random, steps, 0.12, 3.0, STEP_S), 0, 1)
    rain_mm = _rain(local_d, random)
    cloud[rain_mm > 0] = 1.0
    left_h = (time_s[-1] - time_s) / 3600
    mean_c = mean_c + np.interp(left_h, [0, _COOL_END_H / 2, _COOL_END_H], [_COOL_END_C, _COOL_END_C, 0])
    swing = swing_c * (1 - 0.5 * cloud) * np.cos((hour_h - _WARMEST_H) / 24 * 2 * np.pi)
    air_c = mean_c + swing + wandering(random, steps, 0.5, 4.0, STEP_S) - 2.0 * (rain_mm > 0)
    dew_c = mean_c - swing_c * 1.1 + 5.0 * (rain_mm > 0) + wandering(random, steps, 0.4, 8.0, STEP_S)
    rh_pct = _humidity(np.minimum(dew_c, air_c), air_c)
    height = np.sin((hour_h - _SUNRISE_H) / (_SUNSET_H - _SUNRISE_H) * np.pi)
    height = np.where((hour_h > _SUNRISE_H) & (hour_h < _SUNSET_H), height, 0.0)
    sun_w_m2 = height * _BRIGHTEST_W_M2 * (1 - 0.75 * cloud)
    wind_m_s = np.clip(_WIND_M_S + _BREEZE_M_S * height + wandering(random, steps, 0.3, 2.0, STEP_S), 0.1, 8)
    return Weather(STEP_S, time_s, hour_h, air_c, rh_pct, sun_w_m2, cloud, wind_m_s, rain_mm)


@dataclass(frozen=True, slots=True)
class Climate:
    """What a season's weather swings about: invented, of the temperate kind; choose others as needed."""

    latitude_deg: float = 39.5
    longitude_deg: float = -8.7
    mean_c: float = 14.0
    summer_c: float = 7.0  # above the mean, at its warmest
    swing_c: float = 5.5  # half of a clear day's
    fronts_c: float = 3.0  # standard deviation of spells of days
    dew_below_c: float = 5.0  # dew point below the day's mean
    wind_m_s: float = 1.6
    rain_days: float = 0.2  # of all days, in spring; half of it in high summer
    rain_mm: float = 7.0  # on a day with rain


def season_weather(
    start_s: int, steps: int, step_s: int, zone: ZoneInfo, seed: int, climate: Climate
) -> Weather:
    """Weather of a season: the sun's real path, spells of days, clouds, wind and showers."""
    random = np.random.default_rng(seed)
    time_s = start_s + step_s * np.arange(steps, dtype=np.float64)
    local_d = _local_d(time_s, zone)
    hour_h = local_d % 1.0 * 24
    year = 2 * np.pi * (local_d / 365.2425 % 1.0 - 206 / 365.2425)  # warmest about 25 July
    sun = clear_sun_w_m2(sun_elevation_deg(time_s, climate.latitude_deg, climate.longitude_deg))
    cloud = np.clip(
        0.35
        + wandering(random, steps, 0.28, 30.0, step_s, smooth=True)
        + wandering(random, steps, 0.10, 1.5, step_s),
        0,
        1,
    )
    rain_mm = _showers(local_d, step_s, random, climate, summer=np.cos(year) > 0.6)
    cloud[rain_mm > 0] = 1.0
    day_mean_c = climate.mean_c + climate.summer_c * np.cos(year)
    day_mean_c = day_mean_c + wandering(random, steps, climate.fronts_c, 60.0, step_s, smooth=True)
    swing_c = climate.swing_c * (1 - 0.6 * cloud)
    shape = np.cos((hour_h - 15.0) / 24 * 2 * np.pi)
    air_c = day_mean_c + swing_c * shape + wandering(random, steps, 0.4, 3.0, step_s)
    dew_c = day_mean_c - climate.dew_below_c + wandering(random, steps, 1.5, 24.0, step_s)
    dew_c = np.minimum(dew_c + 3.0 * (rain_mm > 0), air_c)
    gusts = np.exp(wandering(random, steps, 0.45, 8.0, step_s))
    wind_m_s = np.clip(climate.wind_m_s * (0.6 + 0.4 * (1 + shape) / 2) * gusts, 0.05, 12)
    return Weather(
        step_s,
        time_s,
        hour_h,
        air_c,
        _humidity(dew_c, air_c),
        cloudy(sun, cloud),
        cloud,
        wind_m_s,
        rain_mm,
    )


def wandering(
    random: np.random.Generator,
    steps: int,
    size: float,
    memory_h: float,
    step_s: int,
    *,
    smooth: bool = False,
) -> FloatArray:
    """Noise that remembers: of standard deviation `size`, forgetting itself in `memory_h`.

    `smooth` filters it twice, so that it comes and goes like weather rather than jumps.
    """
    keep = float(np.exp(-step_s / 3600 / memory_h))
    path = random.normal(0.0, 1.0, steps)
    path[0] /= np.sqrt(1 - keep**2)
    path = _remembered(path * np.sqrt(1 - keep**2), keep)
    if smooth:
        path = _remembered(path * (1 - keep), keep, start=path[0])
        path *= (1 + keep) / np.sqrt(1 + keep**2)  # back to a standard deviation of one
    return path * size


def _remembered(kicks: FloatArray, keep: float, start: float | None = None) -> FloatArray:
    path = np.empty(kicks.size)
    now = kicks[0] if start is None else start
    path[0] = now
    for step in range(1, kicks.size):
        now = path[step] = now * keep + kicks[step]
    return path


def _humidity(dew_c: FloatArray, air_c: FloatArray) -> FloatArray:
    rh_pct = 100 * saturation_vapour_pressure_kpa(dew_c) / saturation_vapour_pressure_kpa(air_c)
    return np.asarray(np.clip(rh_pct, 15, 99.5))


def _local_d(time_s: FloatArray, zone: ZoneInfo) -> FloatArray:
    """Days since 1970 on the garden's own clock. The clock can only change on a whole quarter of an hour."""
    quarters, where = np.unique(time_s // 900, return_inverse=True)
    offset_s = np.array([_offset_s(t * 900, zone) for t in quarters])
    return np.asarray((time_s + offset_s[where]) / 86_400)


def _offset_s(time_s: float, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(time_s, UTC).astimezone(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def _rain(local_d: FloatArray, random: np.random.Generator) -> FloatArray:
    """Millimetres in each step: one afternoon's rain in every fortnight."""
    since_h = ((local_d - np.floor(local_d[0])) % len(_DAYS) - _RAIN_DAY) * 24 - _RAIN_FROM_H
    falls = (since_h >= 0) & (since_h < _RAIN_HOURS)
    share = np.where(falls, random.uniform(0.5, 1.5, local_d.size), 0.0)
    return np.asarray(np.round(share / (share[falls].mean() if falls.any() else 1.0), 3)) * (
        _RAIN_MM / (_RAIN_HOURS * 3600 / STEP_S)
    )


def _showers(
    local_d: FloatArray, step_s: int, random: np.random.Generator, climate: Climate, summer: BoolArray
) -> FloatArray:
    """Millimetres in each step: on some days one fall of an hour to five, at any time of day."""
    rain_mm = np.zeros(local_d.size)
    whole = np.floor(local_d)
    for day in np.unique(whole):
        first = int(np.searchsorted(whole, day))
        chance = climate.rain_days * (0.5 if summer[first] else 1.0)
        begins_h, lasts_h = random.uniform(0, 22), random.uniform(1, 5)
        amount_mm, falls_today = random.gamma(1.2, climate.rain_mm / 1.2), random.uniform() < chance
        since_h = (local_d - day) * 24 - begins_h
        falls = (since_h >= 0) & (since_h < lasts_h)
        if not falls_today or not falls.any():
            continue
        share = random.uniform(0.3, 1.7, int(falls.sum()))
        rain_mm[falls] += amount_mm * share / share.sum()
    return rain_mm
