"""How often the band of emergence holds simulated sowings: table error, spread of seeds and weather known."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from traywarden.domain.development import RateCurve, curve_for
from traywarden.domain.emergence import expect
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.factors import LOT_LOG_SD, SOWING_LOG_SD, before
from traywarden.domain.looks import SPREAD_WEIGHTS, SPREADS, Look, Seeds, log_likelihood
from traywarden.domain.progress import Progress, progress_since
from traywarden.domain.series import FloatArray
from traywarden.store.crops import load_crops

HOUR_S = 3600.0
POLICY = {"least_coverage": 0.8, "longest_gap_s": 7200.0}
TOMATO = curve_for(load_crops()["tomato"])
ALL_SD = float(np.sqrt(TOMATO.log_sd**2 + LOT_LOG_SD**2 + SOWING_LOG_SD**2))
SOWINGS, DRAWS = 400, (11, 12, 13)


@dataclass(frozen=True)
class Sown:
    """A simulated sowing: what is known of it when it is asked about, and when its seeds come up [s]."""

    progress: Progress
    ahead: Ensemble
    first_s: float
    half_s: float
    up: FloatArray
    seeds: Seeds


def simulated(rng: np.random.Generator, curve: RateCurve) -> Sown:
    """Weather from a red-noise of days; the outlook is drawn from the same law from today on."""
    seeds, hours = Seeds(int(rng.integers(20, 150)), float(rng.uniform(0.5, 0.95))), 70 * 24
    clock = np.arange(hours) / 24.0
    shape = 16.0 + 5.0 * np.sin(2 * np.pi * clock)

    def weather(start: float | None = None) -> FloatArray:
        level, steps = (rng.normal(0, 2.5) if start is None else start), []
        for _ in range(70):
            steps.append(level)
            level = 0.85 * level + rng.normal(0, 2.5 * np.sqrt(1 - 0.85**2))
        return np.asarray(np.repeat(steps, 24))

    anomaly = weather()
    temps = shape + anomaly
    now_h = int(rng.integers(24, 9 * 24)) // 24 * 24
    factor = np.exp(rng.normal(0, np.sqrt(curve.log_sd**2 + LOT_LOG_SD**2 + SOWING_LOG_SD**2)))
    spread = 0.2 * rng.choice(SPREADS, p=SPREAD_WEIGHTS)
    needs = factor * np.exp(spread * rng.standard_normal(rng.binomial(seeds.count, seeds.germination)))
    gathered = np.cumsum(curve.rate_per_d(temps) / 24.0)
    up = np.sort(np.interp(needs, gathered, HOUR_S * np.arange(1, hours + 1), right=np.inf))
    start = anomaly[now_h - 1]
    members = np.array([shape[now_h:] + weather(start * 0.85)[: hours - now_h] for _ in range(60)])
    ahead = Ensemble(HOUR_S * np.arange(now_h, hours, dtype=np.float64), members, 7, "the law itself")
    hour_s = HOUR_S * np.arange(now_h, dtype=np.float64)
    made = progress_since(hour_s, temps[:now_h], 0.0, now_h * HOUR_S, curve, **POLICY)
    return Sown(made, ahead, float(up[0]), float(np.median(up)), up, seeds)


@dataclass(frozen=True, slots=True)
class Held:
    """Sowings asked about, none of them up yet, and the share of bands that held the first and the half."""

    asked: int
    first: float
    half: float


@cache
def held(seed: int) -> Held:
    """Each look before the question empty or not known."""
    rng = np.random.default_rng(seed)
    belief = before(ALL_SD)
    inside = {"first": 0, "half": 0}
    asked = 0
    for _ in range(SOWINGS):
        sown = simulated(rng, TOMATO)
        now_s = float(sown.progress.end_s[-1])
        if sown.first_s <= now_s:
            continue  # seen to be up: nothing is foretold of its first
        seen = belief.given(log_likelihood([Look(sown.progress.now, 0)], sown.seeds))
        found = expect(sown.progress, TOMATO, sown.ahead, belief, seen, sown.seeds, none_up_s=now_s)
        asked += 1
        for name, window, truth in (("first", found.first, sown.first_s), ("half", found.half, sown.half_s)):
            low = window.low_s or np.inf
            high = np.inf if window.high_s is None else window.high_s
            inside[name] += low <= truth <= high
    return Held(asked, inside["first"] / asked, inside["half"] / asked)


def lines() -> Iterator[str]:
    yield f"The whole band on simulated sowings, 80 % meant, {SOWINGS} in each draw"
    for seed in DRAWS:
        found = held(seed)
        yield (
            f"  {found.asked} not yet up when asked: held the first {found.first * 100:.0f} %, the half "
            f"{found.half * 100:.0f} %"
        )
