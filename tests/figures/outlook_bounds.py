"""What limits an outlook a day ahead: how far off somebody would be who knows what no outlook can know."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.backtest import History, judged
from traywarden.domain.drying import DAY_H, Drying, carried, filled, smoothed

Floats = NDArray[np.float64]

WHOLE_DAY_H = 24
"""In open ground a level counts as reached when the mean of the day about the hour is down to it: the daily
swing is as large as a day's fall there, and the Bondville sensor reads in steps of 0.01."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A level asked about a day before it was reached, in a dry-down that is over.

    `mean_m3_m3` is the moisture of the moment in hindsight, the mean of the day about it; `day_ago_m3_m3`
    the same a day earlier, NaN before the dry-down had one.
    """

    drying: Drying
    asked_h: float
    level_m3_m3: float
    true_h: float
    mean_m3_m3: float
    day_ago_m3_m3: float


@dataclass(frozen=True, slots=True)
class Bounds:
    """Median errors a day before, as a part of the day.

    `same_rate`: moisture and rate of the moment known in hindsight, going on at that rate. The others know
    how fast it falls from the asking to the level, and of the moisture now only this: `reading` the newest
    hour, `stepped` its mean in hindsight rounded to the sensor's step, `day` the mean of the last day, half
    a day old; hour and day carried on to the asking at that rate. `fall_m3_m3` is the median fall of the
    day ahead.
    """

    same_rate: float
    reading: float
    stepped: float
    day: float
    fall_m3_m3: float


def bounds(found: History, step_m3_m3: float, since_s: float = -np.inf) -> Bounds:
    asked = [a for a in _asked(found, since_s) if np.isfinite(a.mean_m3_m3)]
    same_rate = [_going_on(a) for a in asked if np.isfinite(a.day_ago_m3_m3)]
    falls = np.array([a.mean_m3_m3 - a.level_m3_m3 for a in asked])
    now = np.array([a.mean_m3_m3 for a in asked])
    stepped = np.round(now / step_m3_m3) * step_m3_m3
    seen = [carried(a.drying.moisture_m3_m3)[: int(a.asked_h)] for a in asked]
    since_h = np.array([a.asked_h - s.size for a, s in zip(asked, seen, strict=True)])
    newest = np.array([s[-1] for s in seen]) - falls * (since_h + 0.5) / DAY_H
    days = np.array([s[-DAY_H:].mean() if s.size >= DAY_H else np.nan for s in seen])
    days -= falls * (since_h / DAY_H + 0.5)

    def off(moisture: Floats) -> float:
        """At the true rate the fall takes as much longer as moisture is read too high."""
        part = np.maximum(1 + (moisture - now) / falls, 0.0)
        return float(np.nanmedian(np.abs(part - 1)))

    return Bounds(float(np.median(same_rate)), off(newest), off(stepped), off(days), float(np.median(falls)))


def _going_on(asked: Asked) -> float:
    now, then = asked.mean_m3_m3, asked.day_ago_m3_m3
    hours = (now - asked.level_m3_m3) / (then - now) * DAY_H if then > now else np.inf
    return abs(max(hours, 0.0) - asked.true_h) / asked.true_h


def _asked(found: History, since_s: float) -> Iterator[Asked]:
    _, before = judged([found], since_s, WHOLE_DAY_H)
    by_start = {float(d.hour_s[0]): d for d in found.dryings}
    for each in before:
        for asked_s, level, true_h, lasted_h in zip(
            each.cases.asked_s, each.cases.level_m3_m3, each.cases.true_h, each.lasted_h, strict=True
        ):
            start_s = asked_s + (true_h - lasted_h) * 3600
            drying = by_start[min(by_start, key=lambda s: abs(s - start_s))]
            asked_h = (asked_s - drying.hour_s[0]) / 3600
            mean = smoothed(filled(drying.moisture_m3_m3), WHOLE_DAY_H)
            # The first mean is that of the hour that lies half a day in, at its middle.
            at = asked_h - 0.5 - WHOLE_DAY_H / 2
            now, then = (
                float(np.interp(h, np.arange(mean.size), mean)) if h >= 0 else np.nan
                for h in (at, at - DAY_H)
            )
            yield Asked(drying, asked_h, level, true_h, now, then)
