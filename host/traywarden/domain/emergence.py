"""When the first and half of a sowing's seedlings will be up, each with a band."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.development import RateCurve
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.factors import BAND, Belief
from traywarden.domain.looks import LOG_FACTORS, SEED_LOG_SD, SPREAD_WEIGHTS, SPREADS, Seeds
from traywarden.domain.progress import Progress
from traywarden.domain.series import FloatArray
from traywarden.domain.units import HOUR_S

MEDIAN_SD = 1.2533141373155001
"""Standard error of a median in standard deviations over √n: √(π/2)."""
LATE_FROM = 0.9
"""A sowing is late once this part of its first emergences should have come: the end of the 80 % band."""
EVERY_H = 3
"""The future is looked at every so many hours: finer tells a grower nothing and costs time."""
_STEP = float(LOG_FACTORS[1] - LOG_FACTORS[0])
_LOG_PROGRESS: FloatArray = -3.5 + _STEP * np.arange(481, dtype=np.float64)
_LAGS: FloatArray = (
    _LOG_PROGRESS[0]
    - LOG_FACTORS[-1]
    + _STEP * np.arange(_LOG_PROGRESS.size + LOG_FACTORS.size - 1, dtype=np.float64)
)


@dataclass(frozen=True, slots=True)
class Window:
    """When something is expected: one in ten comes before `low_s`, half before `mid_s`, nine in ten before
    `high_s` [s]; None where that lies beyond what was looked at."""

    low_s: float | None
    mid_s: float | None
    high_s: float | None


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is expected of a sowing now, given what was seen of it.

    `done` is the fraction of the way to half emergence, with its band; `first_by_now` how likely the first
    should have come by now, were nothing seen. `until_s` is how far ahead was looked.
    """

    done: tuple[float, float, float]
    first: Window
    half: Window
    first_by_now: float
    until_s: float

    @property
    def overdue(self) -> bool:
        return self.first_by_now >= LATE_FROM


def expect(
    progress: Progress,
    curve: RateCurve,
    ahead: Ensemble | None,
    beforehand: Belief,
    seen: Belief,
    seeds: Seeds,
    *,
    none_up_s: float | None = None,
    seed_log_sd: float = SEED_LOG_SD,
) -> Expectation:
    """Expected instants of first and of half emergence.

    Parameters
    ----------
    progress : Progress, not blind
    curve : RateCurve
    ahead : Ensemble, optional
        Ensemble of hourly temperatures from now on; None: only the past is looked at.
    beforehand : Belief
        About this sowing's factor before anything was seen of it.
    seen : Belief
        About it, given what was seen.
    seeds : Seeds
    none_up_s : float, optional [s]
        The last look at which none was up.
    seed_log_sd : float
        Spread among seeds of ln(time).

    Returns
    -------
    Expectation

    Notes
    -----
    A seed is up when progress reaches factor · exp(spread · z), z its own normal deviate. The first of n that
    come up is up by D with probability 1 − (1 − g·Φ(ln(D / factor) / spread))ⁿ; the half, the median of those
    that come up, has a standard error of 1.2533·spread / √(g·n) in ln D. Both are averaged over the belief
    about the factor (table error, what was learned, filled gaps), over three spreads, and over the members of
    the ensemble. What was seen to be empty at `none_up_s` cannot have come before: the chances are those
    given that.

    References
    ----------
    Order statistics: David & Nagaraja 2003, Order Statistics, sections 2.1 and 2.5.

    Examples
    --------
    >>> from traywarden.domain.factors import before
    >>> from traywarden.domain.progress import NOTHING
    >>> from traywarden.domain.crops import Crop
    >>> from traywarden.domain.development import curve_for
    >>> ends = 3600.0 * np.arange(1, 481)
    >>> done = Progress(ends, ends / 864000, 1.0, 0.0, 0.0, 0.0, NOTHING, 20.0)
    >>> found = expect(done, curve_for(Crop("x", "")), None, before(0.1), before(0.1), Seeds(100, 0.9))
    >>> [round(s / 86400, 1) for s in (found.half.low_s, found.half.mid_s, found.half.high_s)]
    [8.8, 10.0, 11.4]
    """
    error = float(np.hypot(progress.gap_log_sd, progress.unsure_share * curve.unsure_log_sd))
    first = _chance_first(beforehand.widened(error), seeds, seed_log_sd)
    half = _chance_half(seen.widened(error), seeds, seed_log_sd)
    now_log = np.log(max(progress.now, 1e-9))
    empty_log = np.log(max(progress.at(none_up_s), 1e-9)) if none_up_s is not None else -np.inf
    futures = _futures(progress, curve, ahead)
    time_s = (
        progress.end_s
        if ahead is None
        else np.concatenate([progress.end_s, ahead.time_s[::EVERY_H] + HOUR_S])
    )
    windows = [
        _window(time_s, _chances(table, progress.progress, futures, empty_log), none_up_s)
        for table in (first, half)
    ]
    slow, usual, fast = seen.quantiles((0.9, 0.5, 0.1))
    return Expectation(
        (progress.now / slow, progress.now / usual, progress.now / fast),
        windows[0],
        windows[1],
        float(np.interp(now_log, _LOG_PROGRESS, first)),
        float(time_s[-1]),
    )


def horizon_h(progress: Progress, curve: RateCurve, temps_c: FloatArray, most_d: int = 60) -> int:
    """How many hours ahead to look [h]: twice what the rest takes at these temperatures, and three days."""
    known = temps_c[np.isfinite(temps_c)]
    daily = float(curve.rate_per_d(known).mean()) if known.size else 0.0
    rest = max(2.0 - progress.now, 0.3)
    days = most_d if daily <= 0 else min(most_d, 2.0 * rest / daily + 3.0)
    return int(days) * 24


def _chance_first(belief: Belief, seeds: Seeds, seed_log_sd: float) -> FloatArray:
    """Chance that the first is up, by ln(progress) on its grid."""

    total = np.zeros(_LOG_PROGRESS.size)
    for times, weight in zip(SPREADS, SPREAD_WEIGHTS, strict=True):
        up = seeds.germination * special.ndtr(_LAGS / (times * seed_log_sd))
        total += weight * _over(belief, np.asarray(-np.expm1(seeds.count * np.log1p(-up))))
    return total


def _chance_half(belief: Belief, seeds: Seeds, seed_log_sd: float) -> FloatArray:
    """Chance that half of those that come up are up, by ln(progress) on its grid."""
    log_sd = MEDIAN_SD * seed_log_sd / np.sqrt(max(seeds.count * seeds.germination, 1.0))
    return _over(belief, np.asarray(special.ndtr(_LAGS / max(log_sd, 1e-3))))


def _over(belief: Belief, chance_at_lag: FloatArray) -> FloatArray:
    """Average over the belief about the factor of a chance that goes by ln(progress) − ln(factor)."""
    return np.convolve(chance_at_lag, belief.weights, "valid")


def _futures(progress: Progress, curve: RateCurve, ahead: Ensemble | None) -> FloatArray | None:
    """Progress of each member at every third hour to come."""
    if ahead is None:
        return None
    steps = np.cumsum(curve.rate_per_d(ahead.members_c) / 24.0, axis=1)
    return np.asarray(progress.now + steps[:, ::EVERY_H])


def _chances(table: FloatArray, past: FloatArray, futures: FloatArray | None, empty_log: float) -> FloatArray:
    """Chance over time, given that it had not come at `empty_log`."""
    empty = float(np.interp(empty_log, _LOG_PROGRESS, table))
    parts = [np.interp(np.log(np.maximum(past, 1e-9)), _LOG_PROGRESS, table)]
    if futures is not None:
        parts.append(np.interp(np.log(np.maximum(futures, 1e-9)), _LOG_PROGRESS, table).mean(axis=0))
    return np.maximum(np.concatenate(parts) - empty, 0.0) / max(1.0 - empty, 1e-9)


def _window(time_s: FloatArray, chances: FloatArray, not_before_s: float | None) -> Window:
    found: list[float | None] = []
    for level in BAND:
        after = int(np.searchsorted(chances, level))
        if after == chances.size:
            found.append(None)
        elif after == 0:
            found.append(float(time_s[0]))
        else:
            share = (level - chances[after - 1]) / (chances[after] - chances[after - 1])
            found.append(float(time_s[after - 1] + share * (time_s[after] - time_s[after - 1])))
    if not_before_s is not None:
        found = [None if at_s is None else max(at_s, not_before_s) for at_s in found]
    return Window(*found)
