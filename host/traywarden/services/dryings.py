"""Dry-downs of the heads in trays, by the hour with the demand of each: those over and the present one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.drying import Drying
from traywarden.domain.hourly import HOUR_S
from traywarden.domain.series import FloatArray, HeadSeries, IntArray
from traywarden.domain.stretches import END_OF_READINGS, Stretch, stretches
from traywarden.domain.units import span_words
from traywarden.domain.wetting import DAY_S, DEFAULT_PARAMS, Wetting
from traywarden.services.place_demand import TrayDemand

LEAST_HOURS = 3


@dataclass(frozen=True, slots=True, eq=False)
class HeadDryings:
    """Dry-downs of one head since its moisture is to be compared; `reason` says why none is going on now.

    `newest_m3_m3` is its newest usable moisture, `newest_s` when that was.
    """

    label: str
    past: tuple[Drying, ...]
    present: Drying | None
    reason: str
    newest_m3_m3: float | None = None
    newest_s: float | None = None


def head_dryings(
    head: HeadSeries, wettings: Sequence[Wetting], demand: TrayDemand, now_s: float, blind_after_s: float
) -> HeadDryings:
    """The dry-downs of a head since its tray was last filled anew, or it was calibrated anew."""
    parts = head.unbroken()
    if not parts:
        return HeadDryings(head.label, (), None, "nothing was measured in it yet")
    part = parts[-1]
    used_s, used = part.used("moisture_m3_m3")
    found = part_dryings(part, wettings, demand, now_s)
    if not used_s.size:
        return HeadDryings(head.label, (), None, "its head sent no usable moisture")
    newest = float(used[-1]), float(used_s[-1])
    going_on = found[-1] if found and found[-1][1].ended_by == END_OF_READINGS else None
    silent_s = now_s - newest[1]
    reason = ""
    if silent_s > blind_after_s:
        reason = f"nothing usable was measured for {span_words(silent_s)}"
    elif going_on is None:
        reason = _why_none(part, wettings, now_s)
    elif going_on[0].hours == 0:
        reason = "it has dried for less than an hour"
    present = going_on[0] if going_on is not None and not reason else None
    past = tuple(drying for drying, stretch in found if drying.hours >= LEAST_HOURS and drying is not present)
    if going_on is not None and present is None:
        past = tuple(drying for drying in past if drying is not going_on[0])
    return HeadDryings(head.label, past, present, reason, *newest)


def part_dryings(
    part: HeadSeries, wettings: Sequence[Wetting], demand: TrayDemand, now_s: float
) -> list[tuple[Drying, Stretch]]:
    """Every dry-down of an unbroken series; only hours that are over count."""
    moisture, temp = part.clean("moisture_m3_m3"), part.clean("soil_temp_c")
    first_s, last_s = part.time_s[0], part.time_s[-1]
    inside = [w for w in wettings if first_s <= w.onset_s <= last_s]
    over_s = np.floor(now_s / HOUR_S) * HOUR_S
    return [
        (_by_hours(part.time_s, moisture, temp, s.readings[part.time_s[s.readings] < over_s], demand), s)
        for s in stretches(part.time_s, moisture, inside, temp)
    ]


def _by_hours(
    time_s: FloatArray, moisture: FloatArray, temp: FloatArray, readings: IntArray, demand: TrayDemand
) -> Drying:
    hours = (time_s[readings] // HOUR_S).astype(np.int64)
    if not hours.size:
        empty = np.empty(0)
        return Drying(empty, empty, empty, empty, np.empty((0, 24)))
    count = int(hours[-1] - hours[0]) + 1
    hour_s = (hours[0] + np.arange(count, dtype=np.float64)) * HOUR_S
    at = hours - hours[0]
    first = round((hour_s[0] - demand.hour_s[0]) / HOUR_S) if demand.hour_s.size else -1
    if first < 0 or first + count > demand.hour_s.size:
        known, ahead = np.ones(count), np.ones((count, 24))
    else:  # not copied: a season has many dry-downs
        known, ahead = demand.demand[first : first + count], demand.ahead[first : first + count]
    return Drying(
        hour_s, _means(at, moisture[readings], count), _means(at, temp[readings], count), known, ahead
    )


def _means(at: IntArray, values: FloatArray, count: int) -> FloatArray:
    known = np.isfinite(values)
    number = np.bincount(at[known], minlength=count)
    total = np.bincount(at[known], values[known], count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _why_none(part: HeadSeries, wettings: Sequence[Wetting], now_s: float) -> str:
    """Why the newest readings belong to no dry-down."""
    soil_s, soil = part.used("soil_temp_c")
    if np.any(soil[soil_s > now_s - DAY_S] <= DEFAULT_PARAMS.freezing_c):
        return "it is frozen or thawed less than a day ago, so its moisture cannot be told"
    last = max((w.peak_s for w in wettings), default=None)
    if last is not None and last > now_s - DAY_S:
        return f"it was watered {span_words(now_s - last)} ago and the surplus still drains"
    return "its newest readings are too few to tell whether it dries"
