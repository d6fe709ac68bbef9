"""Soil foretold from the air outside, on weeks that the relation was not learned from."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.figures import hours
from traywarden.domain.lag import learn_lag

LEARN_D, ASK_D, WARM_UP_D = 30, 7, 5
FROM_DAY, TO_DAY = 120, 300  # May to October


@dataclass(frozen=True, slots=True)
class Foretold:
    """Over all weeks together; `plain` takes the air plus the mean difference of the same thirty days."""

    mean_error_c: float
    plain_mean_error_c: float
    bias_c: float
    in_80: float
    weeks: int


def foretold(field: hours.Field, depth: str) -> Foretold:
    """Learn from thirty days, ask for the seven that follow, week after week from May to October."""
    soil = field.soil_c[depth]
    errors, plain, inside, weeks = [], [], [], 0
    for day in range(FROM_DAY, TO_DAY, ASK_D):
        taught = slice((day - LEARN_D) * 24, day * 24)
        asked = slice((day - WARM_UP_D) * 24, (day + ASK_D) * 24)
        lag = learn_lag(
            field.time_s[taught],
            field.air_c[taught],
            soil[taught],
            field.zone,
            field.latitude_deg,
            field.longitude_deg,
        )
        told = lag.soil_from_air(field.time_s[asked], field.air_c[asked])[WARM_UP_D * 24 :]
        truth = soil[day * 24 : (day + ASK_D) * 24]
        known = np.isfinite(told) & np.isfinite(truth)
        errors.append((truth - told)[known])
        inside.append(np.abs(errors[-1]) <= 1.2816 * lag.spread_c)
        offset_c = np.nanmean(soil[taught] - field.air_c[taught])
        plain.append((truth - field.air_c[day * 24 : (day + ASK_D) * 24] - offset_c)[known])
        weeks += 1
    error_c, plain_c = np.concatenate(errors), np.concatenate(plain)
    return Foretold(
        float(np.nanmean(np.abs(error_c))),
        float(np.nanmean(np.abs(plain_c))),
        float(error_c.mean()),
        float(np.concatenate(inside).mean()),
        weeks,
    )


def season_ahead(field: hours.Field, depth: str) -> float:
    """Mean error [°C] of July to September, learned from April to June alone."""
    taught, asked = field.hours("04-01", "07-01"), field.hours("06-20", "10-01")
    soil = field.soil_c[depth]
    lag = learn_lag(
        field.time_s[taught],
        field.air_c[taught],
        soil[taught],
        field.zone,
        field.latitude_deg,
        field.longitude_deg,
    )
    told = lag.soil_from_air(field.time_s[asked], field.air_c[asked])
    return float(np.nanmean(np.abs(soil[asked] - told)[11 * 24 :]))


def lines() -> Iterator[str]:
    yield f"Soil from outside air: learned from {LEARN_D} days, asked for the next {ASK_D}, May to October"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        for depth in field.soil_c:
            found = foretold(field, depth)
            yield (
                f"  {field.name}, {depth}: mean error {found.mean_error_c:.2f} °C "
                f"(air + mean difference: {found.plain_mean_error_c:.2f}, "
                f"ratio {found.mean_error_c / found.plain_mean_error_c:.2f}), bias {found.bias_c:+.2f}, "
                f"80 % spread held {found.in_80 * 100:.1f} %, {found.weeks} weeks; "
                f"July to September from April to June: {season_ahead(field, depth):.2f} °C"
            )
