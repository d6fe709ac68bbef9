"""Invented weather for the demo garden: mild days of late spring, two cold nights, a rain and a cool end.

Pure and seeded: the same span and seed give the same weather.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.series import FloatArray

STEP_S = 900
"""From one measurement of a probe to the next."""
_STEPS_PER_DAY = 86_400 // STEP_S

# Days of the fortnight: mean °C, half the daily swing °C, cloud 0…1. After the last it begins again.
_DAYS: tuple[tuple[float, float, float], ...] = (
    (13.0, 5.0, 0.2),
    (8.5, 6.0, 0.1),  # a clear night after a front: the mix falls far below what tomato and pepper need
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


@dataclass(frozen=True, slots=True)
class Weather:
    """What the open sky does, one value for each step of STEP_S."""

    time_s: FloatArray
    hour_h: FloatArray  # of the garden's local day
    air_c: FloatArray
    rh_pct: FloatArray
    sun_w_m2: FloatArray
    rain_mm: FloatArray  # fallen since the step before


def weather(start_s: int, steps: int, zone: ZoneInfo, seed: int) -> Weather:
    """So many steps of weather from an instant on, in the garden's own time of day.

    The two cold days count from the start, the cool end from the last step, whatever lies between: each
    is there in a short play too.
    """
    random = np.random.default_rng(seed)
    time_s = start_s + STEP_S * np.arange(steps, dtype=np.float64)
    offset_s = np.array([_offset_s(t, zone) for t in time_s])
    local_d = (time_s + offset_s) / 86_400
    hour_h = local_d % 1.0 * 24
    # Day values hold at noon and run into one another.
    day = local_d - np.floor(local_d[0]) - 0.5
    noons = np.arange(-1, int(day[-1]) + 3)
    script = np.array([_DAYS[noon % len(_DAYS)] for noon in noons])
    mean_c, swing_c, cloud = (np.interp(day, noons, script[:, column]) for column in range(3))
    cloud = np.clip(cloud + _wandering(random, steps, 0.12, 3.0), 0, 1)
    rain_mm = _rain(local_d, random)
    cloud[rain_mm > 0] = 1.0
    left_h = (time_s[-1] - time_s) / 3600
    mean_c = mean_c + np.interp(left_h, [0, _COOL_END_H / 2, _COOL_END_H], [_COOL_END_C, _COOL_END_C, 0])
    swing = swing_c * (1 - 0.5 * cloud) * np.cos((hour_h - _WARMEST_H) / 24 * 2 * np.pi)
    air_c = mean_c + swing + _wandering(random, steps, 0.5, 4.0) - 2.0 * (rain_mm > 0)
    dew_c = np.minimum(
        mean_c - swing_c * 1.1 + 5.0 * (rain_mm > 0) + _wandering(random, steps, 0.4, 8.0), air_c
    )
    rh_pct = 100 * saturation_vapour_pressure_kpa(dew_c) / saturation_vapour_pressure_kpa(air_c)
    height = np.sin((hour_h - _SUNRISE_H) / (_SUNSET_H - _SUNRISE_H) * np.pi)
    up = (hour_h > _SUNRISE_H) & (hour_h < _SUNSET_H)
    sun_w_m2 = np.where(up, height, 0.0) * _BRIGHTEST_W_M2 * (1 - 0.75 * cloud)
    return Weather(time_s, hour_h, air_c, np.clip(rh_pct, 15, 99.5), sun_w_m2, rain_mm)


def _offset_s(time_s: float, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(time_s, UTC).astimezone(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def _wandering(random: np.random.Generator, steps: int, size: float, memory_h: float) -> FloatArray:
    """Noise that remembers: of standard deviation `size`, forgetting itself in `memory_h`."""
    keep = float(np.exp(-STEP_S / 3600 / memory_h))
    kicks = random.normal(0.0, size * np.sqrt(1 - keep**2), steps)
    path = np.empty(steps)
    now = 0.0
    for step in range(steps):
        now = path[step] = now * keep + kicks[step]
    return path


def _rain(local_d: FloatArray, random: np.random.Generator) -> FloatArray:
    """Millimetres in each step: one afternoon's rain in every fortnight."""
    since_h = ((local_d - np.floor(local_d[0])) % len(_DAYS) - _RAIN_DAY) * 24 - _RAIN_FROM_H
    falls = (since_h >= 0) & (since_h < _RAIN_HOURS)
    share = np.where(falls, random.uniform(0.5, 1.5, local_d.size), 0.0)
    return np.asarray(np.round(share / (share[falls].mean() if falls.any() else 1.0), 3)) * (
        _RAIN_MM / (_RAIN_HOURS * 3600 / STEP_S)
    )
