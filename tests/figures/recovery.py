"""Truth put into the simulator, and how much of it comes out again: recovery only, never realism."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.services.season import holding
from traywarden.demo.season import START_S, HeadPlan, Season, grown
from traywarden.demo.sensors import drawn_sensors
from traywarden.demo.weather import Climate
from traywarden.domain.demand import reference_demand_mm
from traywarden.domain.dry_down import dry_downs, fit_dry_down
from traywarden.domain.mix_comparison import MixRate, rate_ratio
from traywarden.domain.mix_drying import dried_stretches
from traywarden.domain.plateaus import WEEK_S, Capacity, drifts, learned_capacity, plateaus
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_effect import TemperatureEffect, temperature_effect, without_temperature
from traywarden.domain.waterings import find_wettings
from traywarden.domain.wetting import Wetting

HOUR_S, DAY_S = 3600.0, 86_400.0
DAYS, HEADS, SEEDS = 120, 18, (21, 22)
SPRING_S = START_S + 30 * 86_400
"""From early March: past the frosts, through the season in which seedlings are raised."""
BEFORE_S, AFTER_S = 1200.0, 2.5 * HOUR_S
"""A wetting is found when one begins so long before (the last reading) or after (a bath is slow)."""
LEAST_RISE_M3_M3 = 0.02


@cache
def season(seed: int, drift_v_per_week: float = 0.0) -> Season:
    capacities = grown(days=0.1, heads=HEADS, seed=seed).sensors.capacity_m3_m3
    sensors = drawn_sensors(capacities, np.random.default_rng([seed, 5]), drift_v_per_week=drift_v_per_week)
    return grown(days=DAYS, heads=HEADS, seed=seed, start_s=SPRING_S, sensors=sensors)


def hours(made: Season, values: FloatArray) -> FloatArray:
    per = round(HOUR_S / made.step_s)
    return np.asarray(values[: values.size // per * per].reshape(-1, per).mean(axis=1))


@dataclass(frozen=True, slots=True)
class Head:
    """What one head's hours show, beside nothing but its own readings."""

    hour_s: FloatArray
    effect: TemperatureEffect
    capacity: Capacity


def shown(made: Season, head: int) -> Head:
    hour_s = made.time_s[:: round(HOUR_S / made.step_s)]
    warm_c = hours(made, made.soil_temp_c[:, head])
    wet = np.where(warm_c > 0.6, hours(made, made.moisture_m3_m3(head)), np.nan)
    wettings = find_wettings(hour_s, wet, warm_c)
    effect = temperature_effect(hour_s, wet, warm_c, wettings)
    at_20_c = without_temperature(hour_s, wet, warm_c, effect)
    return Head(hour_s, effect, learned_capacity(plateaus(hour_s, at_20_c, wettings), at_20_c=effect.used))


@dataclass(frozen=True, slots=True)
class Waterings:
    true: int
    found: int
    reported: int
    real: int
    late_s: tuple[float, ...]

    @property
    def recall(self) -> float:
        return self.found / self.true

    @property
    def precision(self) -> float:
        return self.real / self.reported


def true_wettings(made: Season, head: int) -> list[tuple[float, float, float]]:
    """(begin, end, rise of the true water) of everything that wetted a head: cans, baths and rain."""
    water = made.truth.water_m3_m3[:, head]
    spans = []
    for wetted in made.truth.wetted:
        if head in wetted.heads:
            lasts_s = 2 * HOUR_S if wetted.how == "below" else made.step_s
            spans.append((wetted.at_s, wetted.at_s + lasts_s))
    falls = np.flatnonzero(made.airs[made.plans[head].place].rain_mm > 0)
    for part in np.split(falls, np.flatnonzero(np.diff(falls) > 2 * HOUR_S / made.step_s) + 1):
        if part.size:
            spans.append((float(made.time_s[part[0]]), float(made.time_s[part[-1]]) + made.step_s))
    rises = []
    for begin_s, end_s in sorted(spans):
        first, last = np.searchsorted(made.time_s, [begin_s - 1, end_s + 1])
        around = water[max(first - 1, 0) : last + 1]
        rises.append((begin_s, end_s, float(around.max() - around[0])))
    return rises


def found_wettings(made: Season, head: int) -> list[Wetting]:
    return find_wettings(made.time_s, made.moisture_m3_m3(head), made.soil_temp_c[:, head])


@cache
def waterings(seed: int) -> Waterings:
    made, true, found, reported, real, late_s = season(seed), 0, 0, 0, 0, []
    for head in range(HEADS):
        spans = true_wettings(made, head)
        onsets = np.array([w.onset_s for w in found_wettings(made, head)])
        for begin_s, end_s, rise in spans:
            if rise >= LEAST_RISE_M3_M3 and begin_s > made.time_s[0] + DAY_S:
                true += 1
                hits = onsets[(onsets >= begin_s - BEFORE_S) & (onsets <= end_s + AFTER_S)]
                found += hits.size > 0
                late_s += [float(hits[0] - begin_s)] if hits.size else []
        reported += onsets.size
        real += sum(any(b - BEFORE_S <= o <= e + AFTER_S for b, e, _ in spans) for o in onsets)
    return Waterings(true, found, reported, real, tuple(late_s))


@cache
def time_constants(seed: int) -> tuple[tuple[float, float, float], ...]:
    """Every dry-down that was told: error against the same fit to the true water, that over its standard
    error, and error against the two ends of the true water; the first and the last as parts of the truth."""
    made, rows = season(seed), []
    for head in range(HEADS):
        wet, water = made.moisture_m3_m3(head), made.truth.water_m3_m3[:, head]
        for down in dry_downs(made.time_s, wet, found_wettings(made, head), made.soil_temp_c[:, head]):
            if down.tau_s is None or down.tau_error_s is None or down.residual_m3_m3 is None:
                continue
            first, last = (int(i) for i in np.searchsorted(made.time_s, [down.start_s, down.end_s]))
            part = slice(first, last + 1)
            same = fit_dry_down(made.time_s[part], water[part], residual_m3_m3=down.residual_m3_m3)
            if same.tau_s is None or not water[first] > water[last] > down.residual_m3_m3:
                continue
            ends_s = made.truth.tau_s(head, first, last, down.residual_m3_m3, made.step_s)
            off_s = down.tau_s - same.tau_s
            rows.append((off_s / same.tau_s, abs(off_s) / down.tau_error_s, (down.tau_s - ends_s) / ends_s))
    return tuple(rows)


@cache
def capacities(seed: int) -> tuple[tuple[float, bool], ...]:
    """(error, interval holds the truth) for every head that tells its container capacity."""
    made, rows = season(seed), []
    for head in range(HEADS):
        found, true = shown(made, head).capacity.m3_m3, made.spots[head].substrate.capacity_m3_m3
        if found.estimate is not None and found.low is not None and found.high is not None:
            rows.append((found.estimate - true, found.low <= true <= found.high))
    return tuple(rows)


@cache
def coefficients(seed: int) -> tuple[tuple[float, float, bool], ...]:
    """(true, estimated, taken out) for every head with an estimate [m³/m³ per °C]."""
    made, rows = season(seed), []
    for head in range(HEADS):
        effect = shown(made, head).effect
        if effect.m3_m3_per_c is not None:
            rows.append((float(made.sensors.m3_m3_per_c[head]), effect.m3_m3_per_c, effect.used))
    return tuple(rows)


TRUE_RATIO = 1.5
MIX_TRAYS = 4
LATITUDE_DEG, LONGITUDE_DEG = Climate().latitude_deg, Climate().longitude_deg


@dataclass(frozen=True, slots=True)
class Ratio:
    """What a comparison of a mix with its thirstier twin (true: 1.5), or with itself (true: 1), came to."""

    ratio: float
    low: float
    high: float
    told: bool


@cache
def mixes(seed: int, true_ratio: float = TRUE_RATIO) -> Ratio:
    """Two mixes, four trays each, unevenly spread over bench and frame, for 40 days of early summer."""
    places = ("open bench", "open bench", "open bench", "cold frame")
    plans = [HeadPlan(f"fast {n}", "fast", place) for n, place in enumerate(places)]
    plans += [HeadPlan(f"slow {n}", "slow", place) for n, place in enumerate(places[::-1][:2] + places[2:])]
    made = grown(
        days=40,
        plans=plans,
        mixes={"fast": holding(0.8), "slow": holding(0.8 * true_ratio)},
        seed=seed,
        start_s=SPRING_S + 60 * 86_400,
    )
    hour_s, rates = made.time_s[:: round(HOUR_S / made.step_s)], []
    for head, plan in enumerate(made.plans):
        wet, warm_c = hours(made, made.moisture_m3_m3(head)), hours(made, made.soil_temp_c[:, head])
        capacity = made.spots[head].substrate.capacity_m3_m3
        air_c, rh_pct = made.air_temp_c[plan.place], made.rh_pct[plan.place]
        asked = reference_demand_mm(
            hour_s,
            hours(made, air_c),
            hours(made, vpd_kpa(air_c, rh_pct)),
            latitude_deg=LATITUDE_DEG,
            longitude_deg=LONGITUDE_DEG,
        )
        for stretch in dried_stretches(
            hour_s,
            wet,
            find_wettings(hour_s, wet, warm_c),
            container_capacity_m3_m3=capacity,
            dry_line_m3_m3=capacity / 2,
            demand_mm=asked,
        ):
            if stretch.loss_pct_per_mm is not None:
                rates.append(
                    MixRate(
                        plan.mix,
                        plan.tray,
                        plan.place,
                        stretch.loss_pct_per_mm,
                        stretch.mean_demand_mm,
                        stretch.mean_pct,
                    )
                )
    found = rate_ratio(rates, "fast", "slow")
    assert found.ratio is not None
    assert found.low is not None
    assert found.high is not None
    return Ratio(found.ratio, found.low, found.high, found.told)


@cache
def drift(seed: int, volts_per_week: float) -> tuple[tuple[float, float, bool], ...]:
    """(true, estimated, called a drift) in four weeks [m³/m³] for every head with enough plateaus."""
    made, rows = season(seed, volts_per_week), []
    for head in range(HEADS):
        capacity = shown(made, head).capacity
        if capacity.drift is not None:
            true = float(made.sensors.drift_m3_m3_per_week[head]) * 4
            rows.append((true, capacity.drift.per_s * 4 * WEEK_S, drifts(capacity)))
    return tuple(rows)


def lines() -> Iterator[str]:
    began_s = time.perf_counter()
    grown(days=270, heads=50, step_s=600, seed=1)
    yield f"A season of 270 days, 50 heads, every 10 minutes: made in {time.perf_counter() - began_s:.1f} s"
    yield f"{len(SEEDS)} gardens of {HEADS} heads over {DAYS} days from March; recovery only, not realism"
    yield from _watering_lines()
    yield from _tau_lines()
    held = [row for seed in SEEDS for row in capacities(seed)]
    off = np.abs([error for error, _ in held])
    yield (
        f"  container capacity, told by {len(held)} of {HEADS * len(SEEDS)} heads: median error "
        f"{np.median(off):.4f} m³/m³, largest {off.max():.4f}; "
        f"the 95 % interval holds in {np.mean([i for _, i in held]) * 100:.0f} %"
    )
    yield from _effect_lines()
    yield from _drift_lines()
    yield from _mix_lines()


def _watering_lines() -> Iterator[str]:
    w = [waterings(seed) for seed in SEEDS]
    true, found = sum(x.true for x in w), sum(x.found for x in w)
    reported, real = sum(x.reported for x in w), sum(x.real for x in w)
    late = np.abs(np.concatenate([x.late_s for x in w])) / 60
    yield f"  wettings that raise the true water by {LEAST_RISE_M3_M3:g} or more: {found} of {true} found"
    yield f"    recall {found / true:.3f}; begun within {np.quantile(late, 0.9):.0f} min in nine of ten"
    yield f"    precision {real / reported:.3f}: {real} of {reported} reported are real"


def _tau_lines() -> Iterator[str]:
    tau = np.array([row for seed in SEEDS for row in time_constants(seed)])
    by_fit, by_ends = np.abs(tau[:, 0]), np.abs(tau[:, 2])
    yield (
        f"  time constants of {len(tau)} dry-downs against the same fit to the true water: median error "
        f"{np.median(by_fit) * 100:.1f} %, nine of ten within {np.quantile(by_fit, 0.9) * 100:.0f} %"
    )
    yield f"    {(tau[:, 1] <= 2).mean() * 100:.0f} % within two of their standard errors"
    yield f"    against the true loss from end to end (no pure exponential): {np.median(by_ends) * 100:.1f} %"


def _effect_lines() -> Iterator[str]:
    found = [row for seed in SEEDS for row in coefficients(seed)]
    used = np.array([(true, estimate) for true, estimate, taken_out in found if taken_out])
    off = np.abs(used[:, 0] - used[:, 1])
    yield (
        f"  temperature effect, taken out of {len(used)} of {HEADS * len(SEEDS)} heads: median error "
        f"{np.median(off):.1e} m³/m³ per °C, largest {off.max():.1e}, of {np.median(np.abs(used[:, 0])):.1e}"
    )
    yield f"    of the right sign in {(used[:, 0] * used[:, 1] > 0).sum()} of {len(used)}"


def _mix_lines(seeds: range = range(51, 71)) -> Iterator[str]:
    for true in (TRUE_RATIO, 1.0):
        found = [mixes(seed, true) for seed in seeds]
        off = np.abs([f.ratio / true - 1 for f in found]) * 100
        holds = sum(f.low <= true <= f.high for f in found)
        yield (
            f"  a mix that truly dries {true:g} times as fast, {len(found)} gardens of {MIX_TRAYS} trays of "
            f"each: median error {np.median(off):.0f} %"
        )
        yield f"    the 95 % interval holds in {holds}; told apart in {sum(f.told for f in found)}"


def _drift_lines() -> Iterator[str]:
    for volts in (0.0, 0.02):
        rows = np.array([row for seed in SEEDS for row in drift(seed, volts)], np.float64)
        called, size = rows[:, 2] > 0, np.abs(rows[:, 0])
        yield (
            f"  drift of {volts:g} V a week (standard deviation over heads): median error "
            f"{np.median(np.abs(rows[:, 0] - rows[:, 1])):.4f} m³/m³ in four weeks"
        )
        for words, which in (("above 0.03", size > 0.03), ("below 0.01", size < 0.01)):
            if which.any():
                count = f"{int((called & which).sum())} of {int(which.sum())}"
                yield f"    {words} in four weeks: {count} called a drift"
