"""How often what came lay within what the bundle of own days said, on fields it was not made for."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.figures import hours
from traywarden.domain.temperature_outlook import own_days

Floats = NDArray[np.float64]
DAYS_AHEAD = 5
ISSUED_H = 18
SEASON = range(120, 305)  # May to October
WHOLE_YEAR = range(46, 359)


@dataclass(frozen=True, slots=True)
class Held:
    """Shares of outlooks whose 80 % band held the day's lowest, mean and highest hour, by day ahead."""

    low: Floats
    mean: Floats
    high: Floats
    error_c: Floats
    """Mean error of the median for the day's mean."""
    yesterday_error_c: Floats
    issued: int


def held(field: hours.Field, temp_c: Floats, days: range, *, history_d: int = 45) -> Held:
    """An outlook each evening at six from the days before; only days known throughout count."""
    temp_c = np.asarray(pd.Series(temp_c).interpolate(limit=3, limit_area="inside"))
    first = round((ISSUED_H - field.hour_of_start) % 24)
    inside, errors, plain = [], [], []
    for day in days:
        now = first + 24 * day
        past, came = slice(max(now - 24 * history_d, 0), now), temp_c[now : now + 24 * DAYS_AHEAD]
        if came.size < 24 * DAYS_AHEAD or np.isnan(came).any() or np.isnan(temp_c[now - 24 : now]).any():
            continue
        bundle = own_days(field.time_s[past], temp_c[past], field.time_s[now], came.size, seed=day)
        told = bundle.members_c.reshape(-1, DAYS_AHEAD, 24)
        truth = came.reshape(DAYS_AHEAD, 24)
        row = []
        for of in (np.min, np.mean, np.max):
            low, high = np.quantile(of(told, axis=2), [0.1, 0.9], axis=0)
            row.append((low <= of(truth, axis=1)) & (of(truth, axis=1) <= high))
        inside.append(row)
        mean = truth.mean(axis=1)
        errors.append(np.abs(np.median(told.mean(axis=2), axis=0) - mean))
        plain.append(np.abs(temp_c[now - 24 : now].mean() - mean))
    low, mean_in, high = np.mean(inside, axis=0)
    return Held(low, mean_in, high, np.mean(errors, axis=0), np.mean(plain, axis=0), len(inside))


def lines() -> Iterator[str]:
    yield "Own days as the outlook: share of 80 % bands that held, for one to five days ahead, asked at 18:00"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        depth = next(iter(field.soil_c))
        for what, temp_c in (("air", field.air_c), (f"soil {depth}", field.soil_c[depth])):
            for when, days in (("whole year", WHOLE_YEAR), ("May to October", SEASON)):
                for history_d in (45, 10):
                    found = held(field, temp_c, days, history_d=history_d)
                    yield (
                        f"  {field.name}, {what}, {when}, {history_d} days known, {found.issued} outlooks: "
                        + "; ".join(
                            f"{name} {' '.join(f'{share * 100:.0f}' for share in shares)} %"
                            for name, shares in (
                                ("low", found.low),
                                ("mean", found.mean),
                                ("high", found.high),
                            )
                        )
                        + f"; error of the mean {' '.join(f'{e:.1f}' for e in found.error_c)} °C"
                        + f" (yesterday's: {' '.join(f'{e:.1f}' for e in found.yesterday_error_c)})"
                    )
