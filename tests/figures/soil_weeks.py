"""Weeks of soil told from each day's lowest and highest air, in seasons the relation was not learned in."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.figures import hours
from traywarden.domain.day_curve import PEAK_H, day_curve, sunrise_h
from traywarden.domain.daylight import standard_offset_h

TAUGHT = {"January to June": (0, 183), "July to December": (183, 365), "April and May": (90, 150)}


@dataclass(frozen=True, slots=True)
class Weeks:
    """Root mean square of what weeks' means missed, and their mean error."""

    error_c: float
    bias_c: float
    weeks: int


def weeks(field: hours.Field, depth: str, days: tuple[int, int]) -> Weeks:
    count = field.air_c.size // 24
    air = field.air_c[: count * 24].reshape(count, 24)
    late_h = standard_offset_h(field.zone) - field.longitude_deg / 15
    rise_h = sunrise_h(np.arange(1, count + 1), field.latitude_deg) + late_h
    made = day_curve(np.nanmin(air, axis=1), np.nanmax(air, axis=1), rise_h, PEAK_H + late_h)
    soil, taught = field.soil_c[depth], slice(days[0] * 24, days[1] * 24)
    lag = field.lag(depth, taught)
    error = soil[: count * 24] - lag.soil_from_air(field.time_s[: count * 24], made)
    error[taught] = np.nan
    by_week = error[: count // 7 * 168].reshape(-1, 168)
    missed = np.array([week.mean() for week in by_week if np.isfinite(week).all()])
    return Weeks(float(np.sqrt((missed**2).mean())), float(missed.mean()), missed.size)


def lines() -> Iterator[str]:
    yield "Week means of soil told from days' lowest and highest air, in seasons it was not learned in:"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        for depth in field.soil_c:
            for name, days in TAUGHT.items():
                found = weeks(field, depth, days)
                yield (
                    f"  {field.name}, {depth}, learned from {name}: missed by {found.error_c:.2f} °C (root "
                    f"mean square), {found.bias_c:+.2f} on average, {found.weeks} weeks"
                )
