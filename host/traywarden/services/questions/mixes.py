"""Which of two mixes dries faster under equal demand, and by how much."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.drying import USUAL_DEMAND_MM
from traywarden.domain.mix_advice import MixDrying, median_duration
from traywarden.domain.mix_comparison import LEAST_STRETCHES, MixRate, RateRatio, Side, rate_ratio
from traywarden.domain.mix_drying import DryingParams
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.errors import UsageError
from traywarden.services.mix_drying import (
    DayLoss,
    Demand,
    GardenDrying,
    garden_drying,
    reference_demand,
)
from traywarden.services.position import position_of
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store import garden as garden_store
from traywarden.store.engine import once

DEFAULT_DAYS = 120.0
BY_DEMAND = "reference evapotranspiration (FAO-56, hourly)"
BY_HOUR = "hours alone"


@dataclass(frozen=True, slots=True)
class MixHours:
    """One mix: what tells of it, and how long it stays soaked after a watering [h].

    `soaked_low_h` and `soaked_high_h` None where there is no interval or no end was seen; `reason` says why.
    `loss_pct_per_day` in % of container capacity on a usual day of 3.6 mm of demand (or on any day where no
    demand was known): both mixes in the same places, as the comparison allows for; where nothing can be
    compared, the median over the mix's stretches.
    """

    mix: str
    stretches: int
    trays: int
    loss_pct_per_day: float | None
    soaked_h: float | None
    soaked_low_h: float | None
    soaked_high_h: float | None
    waterings: int
    reason: str


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Both mixes in the same place on the same days: what all of `a` lost over what all of `b` lost.

    The interval is over days; it takes the trays as they are, where the comparison allows for other trays.
    """

    ratio: float | None
    low: float | None
    high: float | None
    days: int
    places: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class MixCompareAnswer:
    garden: str
    start: datetime
    end: datetime
    sentence: str
    a: MixHours
    b: MixHours
    equal: str
    comparison: RateRatio
    alike: bool
    side_by_side: SideBySide
    remarks: tuple[str, ...]


def ask_mix_compare(
    ground: Ground,
    a: str,
    b: str,
    days: float = DEFAULT_DAYS,
    demand: Demand | None = None,
    demand_says: str = BY_DEMAND,
) -> MixCompareAnswer:
    """Two mixes against each other over the last so many days.

    `demand` may be another measure of what the air asks for, told by `demand_says`; by default FAO-56's.

    Raises UnknownNameError, UsageError (one mix against itself; a span of nothing), ShortOfDataError.
    """
    mix_a, mix_b = garden_store.mix_named(ground.tx, a), garden_store.mix_named(ground.tx, b)
    if mix_a == mix_b:
        raise UsageError(f"“{mix_a.name}” cannot be compared with itself; name two mixes.")
    found, (start_ms, end_ms) = gathered(ground, days, demand)
    names = (mix_a.name, mix_b.name)
    rates, equal = _rates(found.stretches, names, demand_says)
    worth: float = ground.settings["mix.worth_knowing"]
    comparison = rate_ratio(rates, *names, worth_knowing=worth)
    alike = comparison.alike(worth)
    remarks = uncalibrated(found, names)
    if equal == BY_HOUR:
        remarks.append(
            "no air was measured where they stood, so the weather is not allowed for; the days side "
            "by side are under equal demand all the same"
        )
    elif demand is None and (stand_in := position_of(ground).stand_in):
        remarks.append(stand_in)
    per_day = 24.0 if equal == BY_HOUR else 24 * USUAL_DEMAND_MM
    hours = [_hours(found.stretches, rates, side, per_day) for side in (comparison.a, comparison.b)]
    return MixCompareAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(end_ms),
        _sentence(comparison, worth, alike=alike),
        hours[0],
        hours[1],
        equal,
        comparison,
        alike,
        _side_by_side(found.days, names),
        tuple(remarks),
    )


def gathered(
    ground: Ground, days: float, demand: Demand | None = None
) -> tuple[GardenDrying, tuple[int, int]]:
    """The drying of all trays over the last so many days, and that span; worked out once in a snapshot."""
    if days <= 0:
        raise UsageError(f"A span of {days:g} days holds nothing; give --days {DEFAULT_DAYS:g}.")
    ground.need_readings()
    start_ms, end_ms = ground.now_ms - round(days * DAY_MS), ground.now_ms + 1
    params = DryingParams(soaked_above=ground.settings["mix.soaked_above"])
    if demand is not None:
        return garden_drying(ground, start_ms, end_ms, params, demand), (start_ms, ground.now_ms)
    found = once(
        ground.tx,
        (gathered, start_ms, end_ms),
        lambda: garden_drying(ground, start_ms, end_ms, params, reference_demand(ground)),
    )
    return found, (start_ms, ground.now_ms)


def _rates(
    stretches: Sequence[MixDrying], names: tuple[str, str], demand_says: str
) -> tuple[list[MixRate], str]:
    """Rates by demand, or by the hour where too few stretches know what the air asked for."""
    mine = [s for s in stretches if s.mix in names]
    by_demand = [
        MixRate(s.mix, s.tray, s.place, s.drying.loss_pct_per_mm, s.drying.mean_demand_mm, s.drying.mean_pct)
        for s in mine
        if s.drying.loss_pct_per_mm is not None
    ]
    by_hour = [
        MixRate(s.mix, s.tray, s.place, s.drying.loss_pct_per_h, None, s.drying.mean_pct)
        for s in mine
        if s.drying.loss_pct_per_h is not None
    ]
    known = [sum(r.mix == name for r in by_demand) for name in names]
    had = [sum(r.mix == name for r in by_hour) for name in names]
    if all(k >= min(LEAST_STRETCHES, h) for k, h in zip(known, had, strict=True)):
        return by_demand, demand_says
    return by_hour, BY_HOUR


def _hours(stretches: Sequence[MixDrying], rates: Sequence[MixRate], side: Side, per_day: float) -> MixHours:
    mix, rate = side.mix, side.rate
    mine = [s for s in stretches if s.mix == mix and s.drying.soaked_h is not None]
    soaked = median_duration(
        [s.drying.soaked_h or 0.0 for s in mine],
        [s.drying.soaked_over for s in mine],
        [s.tray for s in mine],
    )
    told = [r.rate for r in rates if r.mix == mix]
    if rate is None and told:
        rate = float(np.median(told))
    reason = soaked.reason or ("" if mine else "no watering brought it near container capacity")
    return MixHours(
        mix,
        side.stretches,
        side.trays,
        None if rate is None else round(rate * per_day, 2),
        finite(soaked.estimate),
        finite(soaked.low),
        finite(soaked.high),
        len(mine),
        reason,
    )


def _sentence(found: RateRatio, worth: float, *, alike: bool) -> str:
    a, b = found.a, found.b
    if found.ratio is None or found.low is None or found.high is None:
        return f"Cannot tell whether {a.mix} or {b.mix} dries faster: {found.reason}."
    counts = (
        f"{a.stretches} stretches in {a.trays} trays against {b.stretches} in {b.trays}"
        if a.stretches != b.stretches
        else f"{a.stretches} stretches each, in {a.trays} and {b.trays} trays"
    )
    if found.told:
        fast, slow = (a.mix, b.mix) if found.ratio > 1 else (b.mix, a.mix)
        ratio, low, high = found.ratio, found.low, found.high
        if ratio < 1:
            ratio, low, high = 1 / ratio, 1 / high, 1 / low
        small = f", which makes no difference at the bench (below {worth:g})" if alike else ""
        digits = 1 if high - low >= 0.2 and low >= 1.1 else 2
        span = f"{low:.{digits}f}–{high:.{digits}f}"
        return f"{fast} dries {ratio:.{digits}f} times as fast as {slow} ({span}; {counts}){small}."
    if alike:
        span = f"{found.low:.2f}–{found.high:.2f}"
        return f"{a.mix} and {b.mix} dry alike: {found.ratio:.2f} times as fast, {span} ({counts})."
    return (
        f"Cannot tell yet whether {a.mix} or {b.mix} dries faster: {found.ratio:.2f} times as fast, "
        f"{found.low:.2f}–{found.high:.2f} ({counts}); {_more(found)}."
    )


def _more(found: RateRatio) -> str:
    if found.more_waterings is not None:
        n = found.more_waterings
        return f"about {n} more watering{'' if n == 1 else 's'} of each would tell"
    if found.more_trays is not None:
        n = found.more_trays
        return (
            f"trays of one mix differ too much: about {n} more tray{'' if n == 1 else 's'} of each would tell"
        )
    return "by the spread so far, more of the same would hardly tell"


def _side_by_side(days: Sequence[DayLoss], names: tuple[str, str]) -> SideBySide:
    cells: dict[tuple[str, int], dict[str, list[float]]] = {}
    for row in days:
        if row.mix in names:
            cells.setdefault((row.place, row.day), {}).setdefault(row.mix, []).append(row.loss_pct)
    both = {key: mixes for key, mixes in cells.items() if len(mixes) == 2}
    places = tuple(sorted({place for place, _ in both}))
    count = len({day for _, day in both})
    if not both:
        return SideBySide(None, None, None, 0, (), "never in the same place on the same whole day")
    sums = np.array([[np.mean(mixes[name]) for name in names] for mixes in both.values()])
    total = sums.sum(axis=0)
    if not (total > 0).all():
        return SideBySide(None, None, None, count, places, "one of them lost nothing on those days")
    ratio = round(float(total[0] / total[1]), 3)
    if count < 5:
        return SideBySide(ratio, None, None, count, places, f"{count} of the 5 days an interval needs")
    of_day = np.unique([day for _, day in both], return_inverse=True)[1]
    by_day = np.column_stack([np.bincount(of_day, sums[:, side]) for side in (0, 1)])
    drawn = np.random.default_rng(1).multinomial(count, np.full(count, 1 / count), size=2000) @ by_day
    usable = drawn[(drawn > 0).all(axis=1)]
    low, high = np.quantile(usable[:, 0] / usable[:, 1], [0.025, 0.975])
    return SideBySide(ratio, round(float(low), 3), round(float(high), 3), count, places, "")


def uncalibrated(found: GardenDrying, names: Sequence[str]) -> list[str]:
    raw = sorted({str(s.tray) for s in found.stretches if s.mix in names} & found.uncalibrated)
    return [f"{NOT_CALIBRATED}: {', '.join(raw)}; their rates may be off by much"] if raw else []


def finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 1)
