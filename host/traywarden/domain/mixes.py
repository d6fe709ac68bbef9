"""What the dry-downs of many trays say about each mix."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from traywarden.domain.bootstrap import RUNS, SEED, Interval, median_interval
from traywarden.domain.dry_down import DryDown

LEAST_VPD_KPA = 0.1
"""Below this the air takes up next to nothing, and dividing by it says nothing (no source)."""


@dataclass(frozen=True, slots=True)
class MixStretch:
    """One dry-down, where it happened, and how thirsty the air was [kPa]; None where not known."""

    mix: str
    tray: Hashable
    dry_down: DryDown
    mean_vpd_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class MixSummary:
    """How fast one mix dries: medians in [s], [% of container capacity per day] and [… per day and kPa].

    `reason` says what is missing; empty where all three medians have an interval.
    """

    mix: str
    stretches: int
    trays: int
    too_short: int
    residual_held: int
    with_vpd: int
    tau_s: Interval
    rate_pct_per_day: Interval
    rate_pct_per_day_kpa: Interval
    reason: str


def by_mix(
    stretches: Iterable[MixStretch], *, level: float = 0.95, runs: int = RUNS, seed: int = SEED
) -> list[MixSummary]:
    """Medians of the dry-downs of each mix, with intervals clustered by tray.

    Parameters
    ----------
    stretches : dry-downs with their mix, tray and (optional) mean vapour-pressure deficit [kPa]
    level, runs, seed : as in `median_interval`

    Returns
    -------
    list of MixSummary, by name of mix

    Notes
    -----
    Stretches that could not tell are counted and left out. A tray is drawn with all its stretches, because
    they resemble each other; fewer than three trays give a median without an interval. The rate per kPa is
    each stretch's rate over its own mean vapour-pressure deficit, so that a hot week does not make a mix
    look thirsty; stretches without one, or below 0.1 kPa, are left out of it. A time constant depends on the
    residual it was fitted with (`residual_held` counts those where it was held); the rate at one moisture
    hardly does, so mixes are better compared by it.

    References
    ----------
    Evaporation in proportion to vapour-pressure deficit: Dalton's law of evaporation.

    Examples
    --------
    >>> time_s = np.arange(0, 5 * 86400, 3600.0)
    >>> from traywarden.domain.dry_down import fit_dry_down
    >>> one = fit_dry_down(time_s, 0.15 + 0.45 * np.exp(-time_s / 216000.0), container_capacity_m3_m3=0.6)
    >>> [summary] = by_mix([MixStretch("peat", tray, one, 0.8) for tray in "abc"])
    >>> round(summary.tau_s.estimate / 86400, 2), summary.trays, summary.stretches
    (2.5, 3, 3)
    """
    mixes: dict[str, list[MixStretch]] = {}
    for stretch in stretches:
        mixes.setdefault(stretch.mix, []).append(stretch)
    return [_summary(mix, mixes[mix], level, runs, seed) for mix in sorted(mixes)]


def mean_over(
    time_s: ArrayLike, values: ArrayLike, start_s: float, end_s: float, longest_gap_s: float = 10800.0
) -> float | None:
    """Mean over time of a series within a span.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    values : array, shape (n,); NaN values are left out
    start_s, end_s : float [s]
    longest_gap_s : float [s]; time between readings farther apart does not count

    Returns
    -------
    float in the unit of the values, or None when no time is covered

    Notes
    -----
    Trapezium rule between the readings inside the span, so that dense readings do not outweigh sparse ones.

    References
    ----------
    Trapezium rule.

    Examples
    --------
    >>> mean_over([0.0, 600.0, 3600.0], [1.0, 1.0, 3.0], 0.0, 3600.0)
    1.8333333333333333
    """
    times, series = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    first, last = np.searchsorted(times, start_s), np.searchsorted(times, end_s, side="right")
    times, series = times[first:last], series[first:last]
    known = np.isfinite(series)
    times, series = times[known], series[known]
    steps = np.diff(times)
    steps = np.where(steps <= longest_gap_s, steps, 0.0)
    if steps.sum() <= 0:
        return None
    return float((steps * (series[1:] + series[:-1]) / 2).sum() / steps.sum())


def _summary(mix: str, stretches: list[MixStretch], level: float, runs: int, seed: int) -> MixSummary:
    told = [s for s in stretches if s.dry_down.told]

    def _median(values: list[float | None]) -> Interval:
        numbers = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
        return median_interval(numbers, [s.tray for s in told], level=level, runs=runs, seed=seed)

    tau = _median([s.dry_down.tau_s for s in told])
    rate = _median([s.dry_down.rate_pct_per_day for s in told])
    per_kpa = _median([_per_kpa(s) for s in told])
    trays = len({s.tray for s in told})
    return MixSummary(
        mix=mix,
        stretches=len(told),
        trays=trays,
        too_short=len(stretches) - len(told),
        residual_held=sum(s.dry_down.residual_held for s in told),
        with_vpd=per_kpa.n,
        tau_s=tau,
        rate_pct_per_day=rate,
        rate_pct_per_day_kpa=per_kpa,
        reason=_missing(len(told), tau, rate, per_kpa),
    )


def _per_kpa(stretch: MixStretch) -> float | None:
    rate, vpd_kpa = stretch.dry_down.rate_pct_per_day, stretch.mean_vpd_kpa
    if rate is None or vpd_kpa is None or not vpd_kpa >= LEAST_VPD_KPA:
        return None
    return rate / vpd_kpa


def _missing(told: int, tau: Interval, rate: Interval, per_kpa: Interval) -> str:
    if not told:
        return "no dry-down is long enough to say"
    if tau.low is None:
        return f"too few trays for an interval: {tau.reason}"
    if rate.low is None:
        return f"too few rates at mid-range for an interval: {rate.reason}"
    if per_kpa.low is None:
        return f"too few stretches with air readings to allow for the weather: {per_kpa.reason}"
    return ""
