"""Soil foretold from the air outside, on days that the relation was not learned from."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.figures import hours
from traywarden.domain.forecast_outlook import steady_error_c
from traywarden.services.outside_air import HALF_LIFE_D, LEARN_D

ASK_D, WARM_UP_D = 2, 5
FROM_DAY, TO_DAY = 120, 300  # May to October


@dataclass(frozen=True, slots=True)
class Foretold:
    """Over all times together; `plain` takes the air plus the mean difference of the same days; `steadied`
    adds what the relation was off by over the last three days."""

    mean_error_c: float
    plain_mean_error_c: float
    bias_c: float
    in_80: float
    steadied_error_c: float
    times: int


def foretold(
    field: hours.Field, depth: str, learn_d: int = LEARN_D, half_life_d: float | None = HALF_LIFE_D
) -> Foretold:
    """Learn from so many days, ask for the two that follow, again and again from May to October."""
    soil = field.soil_c[depth]
    errors, steadied, plain, inside, times = [], [], [], [], 0
    for day in range(FROM_DAY, TO_DAY, ASK_D):
        taught = slice((day - learn_d) * 24, day * 24)
        asked = slice((day - WARM_UP_D) * 24, (day + ASK_D) * 24)
        lag = field.lag(depth, taught, half_life_d)
        told = lag.soil_from_air(field.time_s[asked], field.air_c[asked])[WARM_UP_D * 24 :]
        truth = soil[day * 24 : (day + ASK_D) * 24]
        known = np.isfinite(told) & np.isfinite(truth)
        errors.append((truth - told)[known])
        inside.append(np.abs(errors[-1]) <= 1.2816 * lag.spread_c)
        past = slice((day - WARM_UP_D) * 24, day * 24)
        steady_c = steady_error_c(lag, field.time_s[past], field.air_c[past], soil[past])
        steadied.append(errors[-1] - steady_c)
        offset_c = np.nanmean(soil[taught] - field.air_c[taught])
        plain.append((truth - field.air_c[day * 24 : (day + ASK_D) * 24] - offset_c)[known])
        times += 1
    error_c, plain_c = np.concatenate(errors), np.concatenate(plain)
    return Foretold(
        float(np.nanmean(np.abs(error_c))),
        float(np.nanmean(np.abs(plain_c))),
        float(error_c.mean()),
        float(np.concatenate(inside).mean()),
        float(np.nanmean(np.abs(np.concatenate(steadied)))),
        times,
    )


def season_ahead(field: hours.Field, depth: str) -> float:
    """Mean error [°C] of July to September, learned from April to June alone."""
    taught, asked = field.hours("04-01", "07-01"), field.hours("06-20", "10-01")
    soil = field.soil_c[depth]
    lag = field.lag(depth, taught)
    told = lag.soil_from_air(field.time_s[asked], field.air_c[asked])
    return float(np.nanmean(np.abs(soil[asked] - told)[11 * 24 :]))


def lines() -> Iterator[str]:
    yield f"Soil from outside air, asked for the {ASK_D} days after those learned from, May to October"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        for depth in field.soil_c:
            for learn_d, half_life_d in ((LEARN_D, HALF_LIFE_D), (30, None)):
                found = foretold(field, depth, learn_d, half_life_d)
                alike = " alike" if half_life_d is None else ""
                ratio = found.steadied_error_c / found.plain_mean_error_c
                yield (
                    f"  {field.name}, {depth}, learned from {learn_d} days{alike}: mean error "
                    f"{found.mean_error_c:.2f} °C, {found.steadied_error_c:.2f} with what it was off by of "
                    f"late (air + mean difference: {found.plain_mean_error_c:.2f}, ratio {ratio:.2f}), bias "
                    f"{found.bias_c:+.2f}, 80 % spread held {found.in_80 * 100:.1f} %, {found.times} times"
                )
            yield (
                f"  {field.name}, {depth}, July to September learned from April to June: mean error "
                f"{season_ahead(field, depth):.2f} °C"
            )
