"""How strongly the sun may have shone, told from the hour, the season and the swing of the air alone."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from traywarden.domain.daylight import standard_offset_h, sun_elevation_deg
from traywarden.domain.series import FloatArray

SWING_C = 10.0
"""Daily swing of the air at which the sun of a day counts in full."""
_DAY_H = 25
_LEAST_H = 12


def sun_shares(
    time_s: ArrayLike,
    air_c: ArrayLike,
    zone: ZoneInfo,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Sun of the morning and of the afternoon, as shares of an overhead sun on a day of 10 K swing.

    Parameters
    ----------
    time_s : array, shape (h,) [s] since 1970, hourly: the start of each hour
    air_c : array, shape (h,) or (n, h) [°C], the outside air of those hours
    zone : ZoneInfo of the garden
    latitude_deg, longitude_deg : float [°], optional

    Returns
    -------
    (morning, afternoon), arrays shaped as air_c [share, 0 and up]

    Notes
    -----
    sin(height of the sun) at the middle of the hour, 0 below the horizon, times the square root of the swing
    of the air over the 25 hours around (at the ends of the series over those there are) by 10 K: radiation on
    the ground grows with the sun's height, and clear days swing more. It is a stand-in, not a measurement:
    wind and cold fronts swing the air too. Where latitude and longitude are not known the sun is taken to
    rise at 6 and set at 18 o'clock standard time all year. NaN in the air is left out of the swing; where
    fewer than 12 hours are known, the swing is taken as that of all.

    References
    ----------
    Hargreaves & Samani 1982, J. Irrig. Drain. Div. ASCE 108:225; Allen et al. 1998, FAO Irrigation and
    Drainage Paper 56, eq. 50 (Rs = k·√(Tmax − Tmin)·Ra).

    Examples
    --------
    >>> hours = np.arange(72) * 3600.0
    >>> air = 15 + 5 * np.sin((np.arange(72) - 9) / 24 * 2 * np.pi)
    >>> morning, afternoon = sun_shares(hours, air, ZoneInfo("UTC"))
    >>> round(float(morning[11]), 2), float(afternoon[11]), float(morning[2])
    (0.99, 0.0, 0.0)
    """
    times, air = np.asarray(time_s, dtype=np.float64), np.asarray(air_c, dtype=np.float64)
    middle_s = times + 1800.0
    if latitude_deg is not None and longitude_deg is not None:
        height = np.sin(np.radians(sun_elevation_deg(middle_s, latitude_deg, longitude_deg)))
        noon_h = 12 - longitude_deg / 15  # of UTC; the equation of time moves it by a quarter of an hour
        morning = (middle_s / 3600 - noon_h + 12) % 24 < 12
    else:
        hour_h = middle_s / 3600 % 24 + standard_offset_h(zone)
        height = np.sin((hour_h - 6) / 12 * np.pi)
        morning = hour_h % 24 < 12
    clear = np.maximum(height, 0.0) * np.sqrt(np.maximum(_swing_c(air), 0.0) / SWING_C)
    return np.where(morning, clear, 0.0), np.where(morning, 0.0, clear)


def _swing_c(air_c: FloatArray) -> FloatArray:
    columns = pd.DataFrame(np.atleast_2d(air_c).T)
    window = columns.rolling(_DAY_H, center=True, min_periods=_LEAST_H)
    swing = (window.max() - window.min()).to_numpy().T
    whole = (columns.max() - columns.min()).to_numpy()[:, None]
    filled = np.where(np.isnan(swing), np.nan_to_num(whole), swing)
    return np.asarray(filled.reshape(air_c.shape))
