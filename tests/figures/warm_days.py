"""The chance that a day is warm enough, from three of Seattle's years, held against the fourth."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.shared_data import shared_file
from traywarden.domain.day_curve import PEAK_H, day_curve, sunrise_h
from traywarden.domain.lag import LearnedLag
from traywarden.domain.warm_days import EPOCH, LIKELY, WEEK_D, SoilDays, day_of_leap_year, warm_chances

Floats = NDArray[np.float64]
YEARS = (2012, 2013, 2014, 2015)
LIMITS_C = (7.2, 10.0, 12.8, 18.0)
LATITUDE_DEG, LONGITUDE_DEG = 47.6, -122.3
TRAY = LearnedLag(
    lag_h=2.5,
    gain=1.0,
    slow_gain=0.0,
    offset_c=0.5,
    sun_morning_c=3.0,
    sun_afternoon_c=4.0,
    spread_c=1.5,
    memory_h=8.0,
    bias_c=0.0,
    r2=0.95,
    hours=720,
    from_s=0.0,
    to_s=1.0,
    air_low_c=-5.0,
    air_high_c=35.0,
    zone=ZoneInfo("Etc/GMT+8"),
    latitude_deg=LATITUDE_DEG,
    longitude_deg=LONGITUDE_DEG,
)
"""An invented tray: the years are recorded, the relation to them is made up."""


def soil_days() -> SoilDays:
    """Four recorded years of days, as the soil of the invented tray."""
    table = pd.read_csv(shared_file("weather_seattle_daily.csv"))
    first = (date.fromisoformat(str(table["date"].iloc[0]).replace("/", "-")) - EPOCH).days
    rise_h = sunrise_h(pd.DatetimeIndex(pd.to_datetime(table["date"])).day_of_year, LATITUDE_DEG)
    air = day_curve(table["temp_min"].to_numpy(), table["temp_max"].to_numpy(), rise_h, PEAK_H)
    soil = TRAY.soil_from_air(first * 86_400 + 8 * 3600 + 3600.0 * np.arange(air.size), air)
    means = soil.reshape(-1, 24).mean(axis=1)
    return SoilDays("seattle", first + np.arange(means.size, dtype=np.int64), means, 0.5)


@dataclass(frozen=True, slots=True)
class HeldOut:
    """All days of all four years, each judged by the other three."""

    brier: float
    brier_of_the_share: float
    """What the mean share alone, the same for every day, would score."""
    likely_held: float
    """Of the days called likely warm enough, those that were."""
    unlikely_warm: float
    """Of the days with a chance under one in five, those that were warm enough all the same."""
    first_off_d: float
    """Mean distance of the longest spell's first day from the day on which a fortnight of warm ones began."""


def held_out(limit_c: float) -> HeldOut:
    everything = soil_days()
    years = np.array([(EPOCH + timedelta(days=int(d))).year for d in everything.day])
    places = np.array([day_of_leap_year(EPOCH + timedelta(days=int(d))) for d in everything.day])
    weeks = np.lib.stride_tricks.sliding_window_view(everything.mean_c, WEEK_D).mean(axis=1)
    chances, truths, first_off = [], [], []
    for year in YEARS:
        others = [
            SoilDays(f"{y}", everything.day[years == y], everything.mean_c[years == y], everything.spread_c)
            for y in YEARS
            if y != year
        ]
        told = warm_chances(others, limit_c, None, year, runs=50)
        mine = np.flatnonzero(years == year)
        mine = mine[mine < weeks.size]
        chance = told.chance[places[mine]]
        known = np.isfinite(chance)
        warm = weeks[mine] >= limit_c
        chances.append(chance[known])
        truths.append(warm[known])
        if told.spells:
            longest = max(told.spells, key=lambda s: s.last - s.first)
            steady = np.flatnonzero(np.convolve(warm, np.ones(14), mode="valid") >= 14)
            if steady.size:
                first_off.append(abs((longest.first - date(year, 1, 1)).days - int(steady[0])))
    chance, truth = np.concatenate(chances), np.concatenate(truths).astype(np.float64)
    likely, unlikely = chance >= LIKELY, chance < 1 - LIKELY
    return HeldOut(
        float(np.mean((chance - truth) ** 2)),
        float(np.mean((truth.mean() - truth) ** 2)),
        float(truth[likely].mean()) if likely.any() else float("nan"),
        float(truth[unlikely].mean()) if unlikely.any() else float("nan"),
        float(np.mean(first_off)) if first_off else float("nan"),
    )


def lines() -> Iterator[str]:
    yield "Soil warm enough by day, Seattle 2012–2015, an invented tray, each year from the other three:"
    for limit_c in LIMITS_C:
        found = held_out(limit_c)
        yield (
            f"  {limit_c:g} °C: of days called likely {found.likely_held * 100:.1f} % were warm enough, of "
            f"those under one in five {found.unlikely_warm * 100:.1f} %; Brier score {found.brier:.3f} (the "
            f"year's share alone {found.brier_of_the_share:.3f}); first day off by {found.first_off_d:.0f} d"
        )
