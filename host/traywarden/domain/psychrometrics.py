"""How dry the air is: saturation and actual vapour pressure, vapour-pressure deficit, dew point.

All four follow FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes, Smith 1998), over water.
"""

from typing import overload

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Numbers = float | npt.ArrayLike


@overload
def saturation_vapour_pressure_kpa(temp_c: float) -> float: ...
@overload
def saturation_vapour_pressure_kpa(temp_c: FloatArray) -> FloatArray: ...
def saturation_vapour_pressure_kpa(temp_c: Numbers) -> float | FloatArray:
    """Vapour pressure of air that holds all the water it can.

    Parameters
    ----------
    temp_c : float or array [°C]
        Air temperature.

    Returns
    -------
    float or array [kPa]

    Notes
    -----
    e0(T) = 0.6108·exp(17.27·T / (T + 237.3)). Within 0.1 % of handbook values from 0 to 45 °C.
    Over water also below 0 °C. NaN stays NaN.

    References
    ----------
    FAO-56, equation 11 and Annex 2 Table 2.3.

    Examples
    --------
    >>> round(saturation_vapour_pressure_kpa(25.0), 3)
    3.168
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    return _plain(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


@overload
def actual_vapour_pressure_kpa(temp_c: float, rh_pct: float) -> float: ...
@overload
def actual_vapour_pressure_kpa(temp_c: FloatArray, rh_pct: FloatArray) -> FloatArray: ...
def actual_vapour_pressure_kpa(temp_c: Numbers, rh_pct: Numbers) -> float | FloatArray:
    """Vapour pressure of the air as it is.

    Parameters
    ----------
    temp_c : float or array [°C]
    rh_pct : float or array [%]
        Relative humidity; above 100 it is used as 100, below 0 as 0 (a sensor's drift, not air).

    Returns
    -------
    float or array [kPa]

    Notes
    -----
    e0(T)·RH/100. NaN in either gives NaN.

    References
    ----------
    FAO-56, equation 10 rearranged for an instant (equations 17–19 are its daily forms).

    Examples
    --------
    >>> round(actual_vapour_pressure_kpa(18.0, 82.0), 2)
    1.69
    """
    saturated = np.asarray(saturation_vapour_pressure_kpa(np.asarray(temp_c, dtype=np.float64)))
    return _plain(saturated * _capped(rh_pct) / 100.0)


@overload
def vpd_kpa(temp_c: float, rh_pct: float) -> float: ...
@overload
def vpd_kpa(temp_c: FloatArray, rh_pct: FloatArray) -> FloatArray: ...
def vpd_kpa(temp_c: Numbers, rh_pct: Numbers) -> float | FloatArray:
    """Vapour-pressure deficit: how strongly the air pulls water from mix and leaf.

    Parameters
    ----------
    temp_c : float or array [°C]
    rh_pct : float or array [%]
        Relative humidity; above 100 it is used as 100, so that the deficit is never negative.

    Returns
    -------
    float or array [kPa]

    Notes
    -----
    e0(T)·(1 − RH/100) for an instant. The deficit of a day is the mean of its instants, not the deficit of
    its mean temperature, which comes out too low. NaN in either gives NaN.

    References
    ----------
    FAO-56, chapter 3, “Vapour pressure deficit”.

    Examples
    --------
    >>> round(vpd_kpa(20.0, 50.0), 3)
    1.169
    """
    saturated = np.asarray(saturation_vapour_pressure_kpa(np.asarray(temp_c, dtype=np.float64)))
    return _plain(saturated * (1.0 - _capped(rh_pct) / 100.0))


@overload
def dew_point_c(temp_c: float, rh_pct: float) -> float: ...
@overload
def dew_point_c(temp_c: FloatArray, rh_pct: FloatArray) -> FloatArray: ...
def dew_point_c(temp_c: Numbers, rh_pct: Numbers) -> float | FloatArray:
    """Temperature at which this air begins to wet what it touches.

    Parameters
    ----------
    temp_c : float or array [°C]
    rh_pct : float or array [%]
        Relative humidity; above 100 it is used as 100.

    Returns
    -------
    float or array [°C]

    Notes
    -----
    Equation 11 solved for T: 237.3·x / (17.27 − x) with x = ln(ea / 0.6108). NaN where the humidity is
    0 % or less (perfectly dry air has no dew point) and where either input is NaN.

    References
    ----------
    FAO-56, equation 11 inverted.

    Examples
    --------
    >>> round(dew_point_c(20.0, 50.0), 2)
    9.27
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    humidity = _capped(rh_pct)
    damp = np.where(humidity > 0.0, humidity, np.nan)
    x = np.log(damp / 100.0) + 17.27 * temp / (temp + 237.3)
    return _plain(237.3 * x / (17.27 - x))


def _capped(rh_pct: Numbers) -> FloatArray:
    return np.clip(np.asarray(rh_pct, dtype=np.float64), 0.0, 100.0)


def _plain(values: npt.ArrayLike) -> float | FloatArray:
    """A number where a number came in, an array where an array did."""
    array = np.asarray(values, dtype=np.float64)
    return float(array) if array.ndim == 0 else array
