"""Drying power of a place beyond what its air explains: wind and sun, read off how trays dry there."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.bootstrap import LEAST_CLUSTERS, Interval
from traywarden.domain.mixes import LEAST_VPD_KPA
from traywarden.domain.series import FloatArray

HUBER, MAD_OF_NORMAL, ROUNDS = 1.345, 0.6745, 20
"""Residuals beyond 1.345 of their scale count less: 95 % as good as least squares on normal errors."""
LEAST_STRETCHES = 3
"""Fewer dry-downs of a place say nothing about how they scatter (no source)."""


@dataclass(frozen=True, slots=True)
class PlaceStretch:
    """One dry-down: where it was, in which tray and mix, how fast, and how thirsty the air there was."""

    place: str
    tray: Hashable
    mix: str
    rate_pct_per_day: float | None
    mean_vpd_kpa: float | None


@dataclass(frozen=True, slots=True)
class Exposure:
    """How fast trays of a place dry, as a multiple of what the reference's trays would in the same air.

    `held_alike` says what the comparison rests on: “tray” (the same trays stood in both places) or “mix”.
    `reason` says why there is no interval, or what cannot be separated; empty where neither holds.
    """

    place: str
    reference: str
    ratio: Interval
    stretches: int
    trays: int
    held_alike: str
    reason: str


def exposures(
    stretches: Sequence[PlaceStretch],
    reference: str,
    *,
    level: float = 0.95,
) -> list[Exposure]:
    """Drying power of each place against a reference place, with the air and the mix allowed for.

    Parameters
    ----------
    stretches : dry-downs with their place, tray, mix, rate [% of container capacity per day] and the mean
        vapour-pressure deficit of that place's own air [kPa]
    reference : name of the place whose trays say what the air alone does
    level : float, 0 … 1

    Returns
    -------
    list of Exposure, one for each other place with a usable stretch, by name

    Notes
    -----
    ln(rate / vapour-pressure deficit) = factor + place, over the two places at a time; exp(place) is the
    ratio. Fitted by Huber's estimator, as a dry-down that ended too soon to show where it levels off can be
    off by a factor of three. The factor is the tray where at least three trays stood in both places, so that
    neither mix nor plants nor sensor differ; else it is the mix, over the mixes that both places have. Where
    they share none, place and mix cannot be separated and there is no ratio. The interval takes the standard
    error of a jackknife that leaves out one tray at a time, and the t-quantile for as many trays as are left
    after mixes and place are fitted. With fewer than three trays on one side it leaves out stretches, and
    says that the tray may be what differs. Stretches without a rate, or in air below 0.1 kPa, are left out.
    A ratio of 1.4 is 40 % more than the air explains: sun on the leaves and the mix, and wind. Plants that
    grow drink more: trays of different age must not be compared.

    References
    ----------
    Evaporation in proportion to the vapour-pressure deficit times a function of the wind: Dalton 1802;
    Penman 1948, Proc. R. Soc. A 193:120. Jackknife of clusters: Efron & Tibshirani 1993, ch. 11.
    Huber 1964, Ann. Math. Stat. 35:73, with the median absolute deviation for scale.

    Examples
    --------
    >>> rows = [PlaceStretch(place, place + str(n), "peat", rate + n, 1.0)
    ...         for place, rate in (("bench", 14.0), ("frame", 9.0)) for n in (0, 1, 2)]
    >>> [found] = exposures(rows, "frame")
    >>> found.place, round(found.ratio.estimate, 2), found.held_alike
    ('bench', 1.5, 'mix')
    """
    usable = [s for s in stretches if _log_rate(s) is not None]
    others = sorted({s.place for s in usable} - {reference})
    return [
        _exposure([s for s in usable if s.place in (place, reference)], place, reference, level)
        for place in others
    ]


def _log_rate(stretch: PlaceStretch) -> float | None:
    rate, vpd_kpa = stretch.rate_pct_per_day, stretch.mean_vpd_kpa
    if rate is None or vpd_kpa is None or not (rate > 0 and vpd_kpa >= LEAST_VPD_KPA):
        return None
    return float(np.log(rate / vpd_kpa))


def _exposure(rows: list[PlaceStretch], place: str, reference: str, level: float) -> Exposure:
    held = "tray" if len(_shared(rows, "tray")) >= LEAST_CLUSTERS else "mix"
    shared = _shared(rows, held)
    mine = [row for row in rows if getattr(row, held) in shared]
    here = [row for row in mine if row.place == place]
    there = [row for row in mine if row.place != place]
    trays = min(len({row.tray for row in side}) for side in (here, there))
    method = f"Huber's estimator with the {held} as a factor, jackknife of trays"

    def _untold(reason: str, estimate: float | None = None) -> Exposure:
        interval = Interval(estimate, None, None, level, len(mine), method, reason)
        return Exposure(place, reference, interval, len(here), len({r.tray for r in here}), held, reason)

    if not shared:
        few = "no mix was in both places, so the place and the mix cannot be told apart"
        return _untold(few if any(row.place == reference for row in rows) else "nothing to hold it against")
    logs = np.array([_log_rate(row) for row in mine], np.float64)
    factor = _numbered([getattr(row, held) for row in mine])
    at_place = np.array([row.place == place for row in mine], np.float64)
    estimate = float(np.exp(_effect(logs, factor, at_place)))
    if min(len(here), len(there)) < LEAST_STRETCHES:
        return _untold(
            f"{min(len(here), len(there))} of the {LEAST_STRETCHES} dry-downs it takes on each side", estimate
        )
    by_tray = trays >= LEAST_CLUSTERS
    labels = [row.tray if held == "tray" else (row.place, row.tray) for row in mine]
    clusters = _numbered(labels if by_tray else range(len(mine)))
    side = np.zeros(len(mine)) if by_tray and held == "tray" else at_place
    free = int(clusters.max()) + 1 - (1 if held == "tray" and by_tray else int(factor.max()) + 2)
    error = _error(logs, factor, at_place, clusters, side)
    if free < 1 or error is None:
        return _untold("too few trays for so many mixes", estimate)
    half = float(special.stdtrit(free, (1 + level) / 2)) * error
    low, high = float(estimate * np.exp(-half)), float(estimate * np.exp(half))
    reason = ""
    if not by_tray:
        count = "one tray" if trays == 1 else f"{trays} trays"
        reason = f"{count} on one side: that may be the tray, its plants or its sensor, not the place"
    interval = Interval(estimate, low, high, level, len(mine), method, reason)
    return Exposure(place, reference, interval, len(here), len({r.tray for r in here}), held, reason)


def _shared(rows: Sequence[PlaceStretch], what: str) -> set[Hashable]:
    """Trays or mixes that have stretches in both places."""
    of_places: dict[str, set[Hashable]] = {}
    for row in rows:
        of_places.setdefault(row.place, set()).add(getattr(row, what))
    return set.intersection(*of_places.values()) if len(of_places) == 2 else set()


def _numbered(labels: Sequence[Hashable]) -> np.ndarray:
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(label, len(numbers)) for label in labels], np.int64)


def _effect(logs: FloatArray, factor: np.ndarray, at_place: FloatArray) -> float:
    """Huber's estimate of the place effect, each level of the factor with a mean of its own; NaN for none."""
    weights = np.ones(logs.size)
    slope = 0.0
    for _ in range(ROUNDS):
        within = _less_means(at_place, factor, weights)
        spread = float(weights @ within**2)
        if spread <= 1e-9:
            return float("nan")
        before, slope = slope, float((weights * within) @ logs) / spread
        residuals = np.abs(_less_means(logs - slope * at_place, factor, weights))
        scale = float(np.median(residuals)) / MAD_OF_NORMAL
        if scale <= 1e-9 or abs(slope - before) < 1e-6:
            break
        weights = np.minimum(1.0, HUBER * scale / np.maximum(residuals, 1e-12))
    return slope


def _less_means(values: FloatArray, factor: np.ndarray, weights: FloatArray) -> FloatArray:
    """Values less the weighted mean of their level of the factor."""
    seen = np.maximum(np.bincount(factor, weights), 1e-12)
    return np.asarray(values - (np.bincount(factor, weights * values) / seen)[factor], np.float64)


def _error(
    logs: FloatArray, factor: np.ndarray, at_place: FloatArray, clusters: np.ndarray, side: FloatArray
) -> float | None:
    """Standard error of the place effect: a jackknife that leaves out a cluster at a time, side by side.

    None where the effect hangs on a single cluster.
    """
    variance = 0.0
    for value in np.unique(side):
        without = []
        for cluster in np.unique(clusters[side == value]):
            kept = clusters != cluster
            without.append(_effect(logs[kept], factor[kept], at_place[kept]))
        left = np.array(without)
        if left.size < 2 or not np.isfinite(left).all():
            return None
        variance += (left.size - 1) / left.size * float(((left - left.mean()) ** 2).sum())
    return float(np.sqrt(variance))
