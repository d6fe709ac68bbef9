"""Hours made from each day's lowest and highest, against the hours that were measured."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.figures import hours
from traywarden.domain.day_curve import PEAK_H, day_curve, sunrise_h
from traywarden.domain.daylight import standard_offset_h


@dataclass(frozen=True, slots=True)
class Missed:
    """Mean absolute error of the hours, and of taking the mean of lowest and highest all day."""

    error_c: float
    flat_error_c: float


def missed(field: hours.Field) -> Missed:
    days = field.air_c.size // 24
    air = field.air_c[: days * 24].reshape(days, 24)
    low, high = air.min(axis=1), air.max(axis=1)  # NaN in a day with a gap
    late_h = standard_offset_h(field.zone) - field.longitude_deg / 15
    rise_h = sunrise_h(np.arange(1, days + 1), field.latitude_deg) + late_h
    made = day_curve(low, high, rise_h, PEAK_H + late_h)
    flat = np.repeat((low + high) / 2, 24)
    return Missed(
        float(np.nanmean(np.abs(made - air.ravel()))), float(np.nanmean(np.abs(flat - air.ravel())))
    )


def lines() -> Iterator[str]:
    yield "Hours made from each day's lowest and highest by a double sine, a year:"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        found = missed(field)
        yield (
            f"  {field.name}: mean error {found.error_c:.2f} °C (the day's middle all day: "
            f"{found.flat_error_c:.2f}, ratio {found.error_c / found.flat_error_c:.2f})"
        )
