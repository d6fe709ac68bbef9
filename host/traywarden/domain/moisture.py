"""Soil moisture: from raw volts to volume fraction, and from volume fraction to what a grower can judge."""

from collections.abc import Sequence

import numpy as np

from traywarden.domain.journal import Calibration
from traywarden.domain.series import BoolArray, FloatArray, IntArray

DEFAULT_CALIBRATION = Calibration(from_ms=0, dry_v=2.6, dry_m3_m3=0.0, wet_v=1.3, wet_m3_m3=0.55)
"""For a sensor that nobody has calibrated yet: 2.6 V in dry mix, 1.3 V at container capacity."""
DEFAULT_CALIBRATION_SOURCE = "common practice, no source: a usual capacitive sensor on 3.3 V"
NOT_CALIBRATED = "not calibrated in your mix"
"""Said beside every answer that rests on DEFAULT_CALIBRATION."""


def m3_m3_from_volts(volts: FloatArray | float, calibration: Calibration) -> FloatArray:
    """Volume fraction of water from raw sensor volts, by a straight line through two points.

    Parameters
    ----------
    volts : array or float [V]
        Raw output of a capacitive sensor; falls as the mix gets wetter.
    calibration : Calibration
        A dry and a wet point, each volts [V] and volume fraction [m³/m³].

    Returns
    -------
    array [m³/m³]
        Not limited to 0…1: a line through two points overshoots, and hiding that would hide a bad
        calibration. NaN stays NaN.

    Notes
    -----
    Two points (dry and container capacity) in the grower's own mix are the accepted minimum. An
    uncalibrated low-cost sensor was found 0.09 m³/m³ off between dry and saturated (RMSE). No
    temperature coefficient is applied: its sign differs from one sensor to the next.

    Raises
    ------
    ValueError
        When both points have the same volts.

    References
    ----------
    Nagahage, Nagahage & Fujino 2019, Agriculture 9(7):141 (RMSE, need of calibration);
    MethodsX 2024, doi 10.1016/j.mex.2024.103100 (sign of the temperature effect).

    Examples
    --------
    >>> round(float(m3_m3_from_volts(1.95, DEFAULT_CALIBRATION)), 3)
    0.275
    """
    span_v = calibration.wet_v - calibration.dry_v
    if span_v == 0:
        raise ValueError("a calibration needs two different voltages")
    slope = (calibration.wet_m3_m3 - calibration.dry_m3_m3) / span_v
    return np.asarray(calibration.dry_m3_m3 + (np.asarray(volts) - calibration.dry_v) * slope, np.float64)


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
        The fractions, and whether each rests on a calibration of the grower's own.

    Notes
    -----
    A calibration whose two points share one voltage is ignored as if it had not been made.

    Examples
    --------
    >>> late = Calibration(1_000, 3.0, 0.0, 1.0, 0.5)
    >>> calibrated(np.array([0, 2_000]), np.array([2.0, 2.0]), [late])
    (array([0.25, 0.25]), array([ True,  True]))
    """
    usable = [c for c in calibrations if c.wet_v != c.dry_v]
    if not usable:
        return m3_m3_from_volts(volts, DEFAULT_CALIBRATION), np.zeros(volts.shape, np.bool_)
    starts = np.array([c.from_ms for c in usable])
    which = np.maximum(np.searchsorted(starts, time_ms, side="right") - 1, 0)
    fractions = np.full(volts.shape, np.nan)
    for number, calibration in enumerate(usable):
        mine = which == number
        fractions[mine] = m3_m3_from_volts(volts[mine], calibration)
    return fractions, np.ones(volts.shape, np.bool_)


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
