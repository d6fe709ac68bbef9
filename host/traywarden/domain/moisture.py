"""Soil moisture: from raw volts to volume fraction, and from volume fraction to what a grower can judge."""

from collections.abc import Sequence

import numpy as np

from traywarden.domain.journal import Calibration
from traywarden.domain.series import BoolArray, FloatArray, IntArray

DEFAULT_CALIBRATION = Calibration(from_ms=0, points=((1.3, 0.55), (2.6, 0.0)))
"""For a sensor that nobody has calibrated yet: 2.6 V in dry mix, 1.3 V at container capacity."""
DEFAULT_CALIBRATION_SOURCE = "common practice, no source: a usual capacitive sensor on 3.3 V"
NOT_CALIBRATED = "not calibrated in your mix"
"""Said beside every answer that rests on DEFAULT_CALIBRATION, or on a calibration made in another mix."""


def m3_m3_from_volts(volts: FloatArray | float, calibration: Calibration) -> FloatArray:
    """Volume fraction of water from raw sensor volts, by a straight line through two points.

    Parameters
    ----------
    volts : array or float [V]
        Raw output of a capacitive sensor; falls as the mix gets wetter.
    calibration : Calibration
        Points of volts [V] and volume fraction [m³/m³], by rising volts.

    Returns
    -------
    array [m³/m³]
        Not limited to 0…1: a line through two points overshoots, and hiding that would hide a bad
        calibration. NaN stays NaN.

    Notes
    -----
    Two points (dry and container capacity) in the grower's own mix are the accepted minimum. An
    uncalibrated low-cost sensor was found 0.09 m³/m³ off between dry and saturated (RMSE). Between two
    points the curve is straight; beyond the outermost it goes on with the slope of the whole curve, since
    the last piece alone may rest on two weighings that lie close together. No temperature coefficient is
    applied: its sign differs from one sensor to the next.

    Raises
    ------
    ValueError
        When all points have the same volts.

    References
    ----------
    Nagahage, Nagahage & Fujino 2019, Agriculture 9(7):141 (RMSE, need of calibration);
    MethodsX 2024, doi 10.1016/j.mex.2024.103100 (sign of the temperature effect).

    Examples
    --------
    >>> round(float(m3_m3_from_volts(1.95, DEFAULT_CALIBRATION)), 3)
    0.275
    """
    if not calibration.usable:
        raise ValueError("a calibration needs two different voltages")
    known_v, known_m3_m3 = np.array(calibration.points, np.float64).T
    return _along(np.asarray(volts, np.float64), known_v, known_m3_m3)


def volts_from_m3_m3(m3_m3: float, calibration: Calibration) -> float:
    """The volts at which a head in this mix holds so much water: the calibration read backwards.

    Parameters
    ----------
    m3_m3 : float [m³/m³]
    calibration : Calibration
        Points of volts [V] and volume fraction [m³/m³], by rising volts.

    Returns
    -------
    float [V]
        Beyond the outermost points it goes on with the slope of the whole curve, as `m3_m3_from_volts` does.

    Notes
    -----
    Where several volts mean the same water (a flat piece), the middle of them.

    Raises
    ------
    ValueError
        When the calibration does not tell wet from dry.

    References
    ----------
    The inverse of `m3_m3_from_volts`.

    Examples
    --------
    >>> round(volts_from_m3_m3(0.275, DEFAULT_CALIBRATION), 3)
    1.95
    """
    if not calibration.usable:
        raise ValueError("a calibration needs two different voltages")
    known_v, known_m3_m3 = np.array(calibration.points, np.float64).T
    levels, where = np.unique(known_m3_m3, return_inverse=True)
    if levels.size < 2:
        raise ValueError("a calibration needs two different water contents")
    middles_v = np.array([known_v[where == n].mean() for n in range(levels.size)])
    return float(_along(np.asarray(m3_m3, np.float64), levels, middles_v))


def _along(x: FloatArray, known_x: FloatArray, known_y: FloatArray) -> FloatArray:
    """Straight between known points (by rising x), beyond them with the slope of the whole."""
    slope = (known_y[-1] - known_y[0]) / (known_x[-1] - known_x[0])
    inside = np.clip(x, known_x[0], known_x[-1])
    return np.asarray(np.interp(inside, known_x, known_y) + (x - inside) * slope, np.float64)


def calibrated(
    time_ms: IntArray, volts: FloatArray, calibrations: Sequence[Calibration]
) -> tuple[FloatArray, BoolArray]:
    """Volume fractions, each by the calibration in force when it was measured.

    Parameters
    ----------
    time_ms : int array [ms since 1970]
    volts : array [V]
    calibrations : sequence of Calibration, oldest first
        The first also holds for the time before it. Empty: DEFAULT_CALIBRATION.

    Returns
    -------
    (array [m³/m³], bool array)
        The fractions, and whether each rests on a calibration of the grower's own, made in this mix.

    Notes
    -----
    A calibration whose points share one voltage is ignored as if it had not been made.

    Examples
    --------
    >>> late = Calibration(1_000, ((1.0, 0.5), (3.0, 0.0)))
    >>> calibrated(np.array([0, 2_000]), np.array([2.0, 2.0]), [late])
    (array([0.25, 0.25]), array([ True,  True]))
    """
    usable = [c for c in calibrations if c.usable]
    if not usable:
        return m3_m3_from_volts(volts, DEFAULT_CALIBRATION), np.zeros(volts.shape, np.bool_)
    starts = np.array([c.from_ms for c in usable])
    which = np.maximum(np.searchsorted(starts, time_ms, side="right") - 1, 0)
    fractions = np.full(volts.shape, np.nan)
    for number, calibration in enumerate(usable):
        mine = which == number
        fractions[mine] = m3_m3_from_volts(volts[mine], calibration)
    own = np.array([not calibration.elsewhere for calibration in usable])
    return fractions, own[which]


def fraction(m3_m3: FloatArray | float, dry_line_m3_m3: float, container_capacity_m3_m3: float) -> FloatArray:
    """Where a moisture lies between the dry line (0) and container capacity (1).

    Parameters
    ----------
    m3_m3 : array or float [m³/m³]
    dry_line_m3_m3 : float [m³/m³]
        Moisture at which the tray must be watered.
    container_capacity_m3_m3 : float [m³/m³]
        Moisture after a thorough watering has drained.

    Returns
    -------
    array [1]
        Below 0 under the dry line, above 1 in undrained mix; NaN stays NaN.

    Raises
    ------
    ValueError
        When container capacity is not above the dry line.

    Examples
    --------
    >>> float(fraction(0.40, 0.25, 0.55))
    0.5
    """
    span = container_capacity_m3_m3 - dry_line_m3_m3
    if not span > 0:
        raise ValueError("container capacity must be above the dry line")
    # Rounded to 1e-12 so that a moisture exactly on a line does not read −0.0000000000000001.
    return np.asarray(np.round((np.asarray(m3_m3) - dry_line_m3_m3) / span, 12), np.float64)


def percent_of_container_capacity(m3_m3: FloatArray | float, container_capacity_m3_m3: float) -> FloatArray:
    """Moisture as a percentage of container capacity.

    Parameters
    ----------
    m3_m3 : array or float [m³/m³]
    container_capacity_m3_m3 : float [m³/m³]

    Returns
    -------
    array [%]
        100 at container capacity; NaN stays NaN.

    Raises
    ------
    ValueError
        When container capacity is not above 0.

    References
    ----------
    Container capacity as (wet − dry mass)/volume after drainage: porometer definition, Int. J. Agronomy
    2012, 978528, footnotes of Table 1.

    Examples
    --------
    >>> float(percent_of_container_capacity(0.435, 0.87))
    50.0
    """
    if not container_capacity_m3_m3 > 0:
        raise ValueError("container capacity must be above 0")
    return np.asarray(np.asarray(m3_m3) / container_capacity_m3_m3 * 100.0, np.float64)
