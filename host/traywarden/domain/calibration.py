"""Calibration of a moisture head in the grower's own mix: steady volts, and a curve from weighings."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import isotonic_regression

from traywarden.domain.journal import Calibration
from traywarden.domain.moisture import m3_m3_from_volts
from traywarden.domain.series import FloatArray

GRAMS_PER_LITRE = 1000.0
"""Density of water [g/l]."""
NOISE_PER_MAD = 1.4826
"""Standard deviation of normal noise over its median absolute deviation."""
OUTLIER_TIMES = 3.5
LEAST_OUTLIER_M3_M3 = 0.03
"""A weighing that is off by less is not pointed at: 30 ml in a litre, what a drip tray holds (no source)."""
SAME_M3_M3 = 1e-9
LEAST_READINGS = 3
STEADY_SPREAD_V = 0.01
STEADY_DRIFT_V = 0.01
"""Spread, and rise or fall over the window, up to which volts count as steady (no source): of the 1.3 V
between dry and wet it is less than 1 %."""

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Steadiness:
    """Volts of the last minutes: their median, spread [V] and change over the window [V].

    `reason` says what is missing; empty where they are steady.
    """

    readings: int
    median_v: float
    spread_v: float
    drift_v: float
    reason: str

    @property
    def steady(self) -> bool:
        return not self.reason


@dataclass(frozen=True, slots=True)
class CurveFit:
    """A monotone curve through weighings.

    `points` are the curve's own, by rising volts; `residual_m3_m3` measured minus curve and `outlier` have
    one value for each weighing, in the order given. `rmse_m3_m3` counts those that are no outliers. `reason`
    says why there is no curve; empty where there is one.
    """

    points: Points
    residual_m3_m3: tuple[float, ...]
    outlier: tuple[bool, ...]
    rmse_m3_m3: float
    reason: str


def water_m3_m3(wet_grams: float, dry_grams: float, mix_litres: float) -> float:
    """Volumetric water content of a pot from two weights.

    Parameters
    ----------
    wet_grams, dry_grams : float [g]
        The pot now, and with the mix dry. Pot, saucer and head may be on the scale, both times alike.
    mix_litres : float [l]
        Volume of the mix in the pot.

    Returns
    -------
    float [m³/m³]

    Notes
    -----
    θv = (wet − dry) / (ρw·V), with ρw = 1000 g/l. Of a mix that is only air-dry, the water it still holds
    is missing from all values alike.

    Raises
    ------
    ValueError
        When the volume is not above 0.

    References
    ----------
    Gravimetric calibration, θg = (wet − dry)/dry and θv = θg·ρb; container capacity as (wet − dry mass) /
    volume: porometer definitions, Int. J. Agronomy 2012, 978528, footnotes of Table 1.

    Examples
    --------
    >>> water_m3_m3(812.0, 262.0, 1.0)
    0.55
    """
    if not mix_litres > 0:
        raise ValueError("the volume of the mix must be above 0")
    return (wet_grams - dry_grams) / (GRAMS_PER_LITRE * mix_litres)


def steadiness(time_s: ArrayLike, volts: ArrayLike) -> Steadiness:
    """Whether the volts of the last minutes stand still.

    Parameters
    ----------
    time_s : array [s]
    volts : array [V]
        NaN values are left out.

    Returns
    -------
    Steadiness
        With NaN for what cannot be told.

    Notes
    -----
    Median; spread as 1.4826 × median absolute deviation; drift as the median slope between all pairs
    (Theil–Sen) times the span. One stray reading moves none of the three far.

    References
    ----------
    Sen 1968, J. Am. Stat. Assoc. 63:1379 (slope).

    Examples
    --------
    >>> steadiness([0, 60, 120, 180], [1.402, 1.400, 1.401, 1.400]).steady
    True
    >>> steadiness([0, 60, 120, 180], [1.40, 1.45, 1.50, 1.55]).reason
    'still rising: by 0.150 V in 3 min'
    """
    times, values = np.asarray(time_s, np.float64), np.asarray(volts, np.float64)
    kept = np.isfinite(values) & np.isfinite(times)
    times, values = times[kept], values[kept]
    count = int(values.size)
    if count == 0:
        return Steadiness(0, float("nan"), float("nan"), float("nan"), "no volts have arrived yet")
    median_v = float(np.median(values))
    spread_v = NOISE_PER_MAD * float(np.median(np.abs(values - median_v)))
    first, second = np.triu_indices(count, 1)
    apart_s = times[second] - times[first]
    slopes = (values[second] - values[first])[apart_s != 0] / apart_s[apart_s != 0]
    span_s = float(np.ptp(times))
    drift_v = float(np.median(slopes)) * span_s if slopes.size else 0.0
    if count < LEAST_READINGS:
        reason = f"{count} of at least {LEAST_READINGS} readings so far"
    elif abs(drift_v) > STEADY_DRIFT_V:
        way = "rising" if drift_v > 0 else "falling"
        reason = f"still {way}: by {abs(drift_v):.3f} V in {span_s / 60:.0f} min"
    elif spread_v > STEADY_SPREAD_V:
        reason = f"scattered by {spread_v:.3f} V; press the mix to the head"
    else:
        reason = ""
    return Steadiness(count, median_v, spread_v, drift_v, reason)


def monotone_points(volts: ArrayLike, m3_m3: ArrayLike) -> Points:
    """The curve that fits pairs of volts and water content best and only rises, or only falls.

    Parameters
    ----------
    volts : array [V]
    m3_m3 : array [m³/m³]

    Returns
    -------
    pairs of volts [V] and water content [m³/m³], by rising volts
        One for each block of pairs that isotonic regression pools: mean volts, mean water. Between two of
        them the water strictly rises or falls. A single one where the pairs do not tell wet from dry.

    Notes
    -----
    Least squares under a monotone order, by pooling adjacent violators; the direction is the one that fits
    better. Pairs at the same volts count as one with their mean, as heavy as they are many.

    References
    ----------
    Barlow, Bartholomew, Bremner & Brunk 1972, Statistical Inference under Order Restrictions;
    Robertson, Wright & Dykstra 1988, Order Restricted Statistical Inference, section 1.4.

    Examples
    --------
    >>> monotone_points([1.0, 2.0, 3.0, 4.0], [23.0, 27.0, 25.0, 28.0])
    ((1.0, 23.0), (2.5, 26.0), (4.0, 28.0))
    """
    known_v, known_m3_m3 = np.asarray(volts, np.float64), np.asarray(m3_m3, np.float64)
    levels, where, times = np.unique(known_v, return_inverse=True, return_counts=True)
    means = np.bincount(where, known_m3_m3) / times
    fits = [
        isotonic_regression(means, weights=times.astype(np.float64), increasing=way) for way in (False, True)
    ]
    best = min(fits, key=lambda fit: float((times * (fit.x - means) ** 2).sum()))
    # Blocks that come out alike but for rounding are one.
    edges = [0, *(np.flatnonzero(np.abs(np.diff(best.x)) > SAME_M3_M3) + 1).tolist(), levels.size]
    return tuple(
        (
            float(np.average(levels[a:b], weights=times[a:b])),
            float(np.average(means[a:b], weights=times[a:b])),
        )
        for a, b in pairwise(edges)
    )


def curve_from_weighings(volts: ArrayLike, m3_m3: ArrayLike) -> CurveFit:
    """A monotone curve through weighings, without those that contradict the others.

    Parameters
    ----------
    volts : array [V]
    m3_m3 : array [m³/m³]

    Returns
    -------
    CurveFit

    Notes
    -----
    Each weighing but the driest and the wettest is left out in turn, and held against the curve of all the
    others. The one without which the others agree best is an outlier when it is off that curve by more than
    3.5 robust standard deviations of the others and by more than 0.03 m³/m³; then the rest are looked at
    again, up to a third of them in all. An outlier is pointed at and left out of the curve; it is not thrown
    away.

    References
    ----------
    Cook & Weisberg 1982, Residuals and Influence in Regression, section 2.2.2 (residuals by deletion);
    Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers (3.5 modified z-scores).

    Examples
    --------
    >>> curve_from_weighings([1.3, 1.6, 2.0, 2.6], [0.55, 0.40, 0.22, 0.02]).points
    ((1.3, 0.55), (1.6, 0.4), (2.0, 0.22), (2.6, 0.02))
    """
    known_v, known_m3_m3 = np.asarray(volts, np.float64), np.asarray(m3_m3, np.float64)
    count = known_v.size
    kept = np.ones(count, np.bool_)
    if np.unique(known_v).size < 2:
        return _none(count, "two weighings at different volts are the least")
    while kept.sum() > 4 and (~kept).sum() < count // 3:
        worst = _worst(known_v[kept], known_m3_m3[kept])
        if worst is None:
            break
        kept[np.flatnonzero(kept)[worst]] = False
    points = monotone_points(known_v[kept], known_m3_m3[kept])
    if len(points) < 2:
        return _none(count, "the volts do not follow the weights: wet and dry read alike")
    residuals = known_m3_m3 - _on_curve(known_v, points)
    rmse = float(np.sqrt(np.mean(residuals[kept] ** 2)))
    return CurveFit(points, tuple(residuals.tolist()), tuple((~kept).tolist()), rmse, "")


def _none(count: int, reason: str) -> CurveFit:
    return CurveFit((), (float("nan"),) * count, (False,) * count, float("nan"), reason)


def _worst(volts: FloatArray, m3_m3: FloatArray) -> int | None:
    """The weighing that most contradicts the curve of all the others, where one does."""
    inner = np.flatnonzero((volts > volts.min()) & (volts < volts.max()))
    best: tuple[float, int, bool] | None = None
    for i in inner.tolist():
        others = np.arange(volts.size) != i
        points = monotone_points(volts[others], m3_m3[others])
        left = m3_m3[others] - _on_curve(volts[others], points)
        noise = NOISE_PER_MAD * float(np.median(np.abs(left)))
        off = abs(m3_m3[i] - float(_on_curve(volts[i], points)))
        found = (float((left**2).sum()), i, off > max(OUTLIER_TIMES * noise, LEAST_OUTLIER_M3_M3))
        best = found if best is None else min(best, found)
    return best[1] if best is not None and best[2] else None


def _on_curve(volts: FloatArray | float, points: Points) -> FloatArray:
    """Water content as the curve will tell it, also beyond its ends."""
    if len(points) < 2:
        return np.full(np.shape(volts), points[0][1])
    return m3_m3_from_volts(volts, Calibration(0, points))
