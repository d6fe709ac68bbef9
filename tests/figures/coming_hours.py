"""How often what came lay within what the bundle of own days said, on fields it was not made for."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.figures import hours
from tests.shared_data import shared_file
from traywarden.domain.day_curve import day_curve
from traywarden.domain.temperature_outlook import own_days

Floats = NDArray[np.float64]
DAYS_AHEAD = 5
ISSUED_H = 18
SEASON = range(120, 305)  # May to October
WHOLE_YEAR = range(46, 359)
MEANS_OF_D = (1, 3, 7, 14, 21)
_ENDS_H = 24 * np.array(MEANS_OF_D) - 1


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


@dataclass(frozen=True, slots=True)
class MeansHeld:
    """Shares of outlooks whose 80 % band held the mean of the next so many days."""

    shares: Floats
    error_c: Floats
    issued: int


def means_held(hour_s: Floats, temp_c: Floats, *, history_d: int = 45, every_d: int = 3) -> MeansHeld:
    """An outlook at the same hour of every third day; only days known throughout count."""
    temp_c = np.asarray(pd.Series(temp_c).interpolate(limit=3, limit_area="inside"))
    inside, errors = [], []
    for now in range(45 * 24, temp_c.size - 24 * MEANS_OF_D[-1], 24 * every_d):
        past, came = slice(now - 24 * history_d, now), temp_c[now : now + 24 * MEANS_OF_D[-1]]
        if np.isnan(came).any() or np.isnan(temp_c[now - 24 : now]).any():
            continue
        members = own_days(hour_s[past], temp_c[past], hour_s[now], came.size).members_c
        told, truth = (np.cumsum(v, axis=-1)[..., _ENDS_H] / (_ENDS_H + 1) for v in (members, came))
        low, middle, high = np.quantile(told, [0.1, 0.5, 0.9], axis=0)
        inside.append((low <= truth) & (truth <= high))
        errors.append(np.abs(middle - truth))
    return MeansHeld(np.mean(inside, axis=0), np.mean(errors, axis=0), len(inside))


def seattle() -> tuple[Floats, Floats]:
    """Four years of hours made from each day's lowest and highest air temperature [s, °C]."""
    table = pd.read_csv(shared_file("weather_seattle_daily.csv"))
    temp_c = day_curve(table["temp_min"].to_numpy(), table["temp_max"].to_numpy())
    return np.asarray(3600.0 * np.arange(temp_c.size), np.float64), temp_c


def weeks() -> dict[str, MeansHeld]:
    """The mean of the coming days on the fields the spread was set on, and where it was not."""
    found = {}
    for field in (hours.bondville(), hours.ford_dry_lake()):
        depth = next(iter(field.soil_c))
        for what, temp_c in ((f"soil {depth}", field.soil_c[depth]), ("air", field.air_c)):
            for history_d in (45, 10):
                name = f"{field.name}, {what}, {history_d} days known"
                found[name] = means_held(field.time_s, temp_c, history_d=history_d)
    for history_d in (45, 10):
        name = f"Seattle 2012–2015, air, {history_d} days known"
        found[name] = means_held(*seattle(), history_d=history_d)
    return found


def lines() -> Iterator[str]:
    ahead = ", ".join(f"{d}" for d in MEANS_OF_D)
    yield f"Share of 80 % bands that held the mean of the next {ahead} days"
    for name, means in weeks().items():
        shares = " ".join(f"{share * 100:.0f}" for share in means.shares)
        errors = " ".join(f"{error:.1f}" for error in means.error_c)
        yield f"  {name}, {means.issued} outlooks: {shares} %; error {errors} °C"
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
