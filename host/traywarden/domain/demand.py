"""Evaporative demand by the hour: how much water the air of a place would take from a wet surface.

The hourly form of FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes, Smith 1998) for what a garden
measures: air temperature and humidity. Sun and wind, which no probe measures, are FAO-56's own stand-ins.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.daylight import sun_elevation_deg
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.units import HOUR_S

Floats = NDArray[np.float64]

DAY_H = 24
WIND_M_S = 2.0
"""Wind where none is measured: FAO-56, chapter 3, “Wind speed”, the mean of over 2000 stations."""
PRESSURE_KPA = 101.3
"""Air pressure at sea level (FAO-56, equation 7); at 1000 m the demand comes out about 1 % lower."""
CLOUD_KRS = 0.16
"""Adjustment coefficient of equation 50 for places inland (FAO-56)."""
ASSUMED_LATITUDE_DEG = 45.0
"""Where the garden's own latitude is not written down (no source)."""
STEFAN_BOLTZMANN_MJ = 4.903e-9 / DAY_H
"""MJ/(K⁴·m²·h)."""


def assumed_position(zone: ZoneInfo, at_s: float) -> tuple[float, float]:
    """A latitude and longitude for a garden that has none: 45° north, and the meridian of its clock.

    Parameters
    ----------
    zone : ZoneInfo of the garden
    at_s : float [s] since 1970

    Returns
    -------
    (float [°], float [°])

    Notes
    -----
    15° of longitude for each hour ahead of UTC, so that noon is when the garden's clock says so. The daily
    shape is right to an hour or two; the season's height of the sun is that of 45° north.

    References
    ----------
    The Earth turns 15° an hour.

    Examples
    --------
    >>> assumed_position(ZoneInfo("Etc/GMT-2"), 0.0)
    (45.0, 30.0)
    """
    offset = datetime.fromtimestamp(at_s, zone).utcoffset()
    return ASSUMED_LATITUDE_DEG, offset.total_seconds() / HOUR_S * 15.0 if offset is not None else 0.0


def sky_radiation_mj_m2(hour_s: ArrayLike, latitude_deg: float, longitude_deg: float) -> Floats:
    """Sunlight above the atmosphere on level ground, for each hour.

    Parameters
    ----------
    hour_s : array, shape (n,) [s] since 1970, the starts of hours
    latitude_deg : float [°], north positive
    longitude_deg : float [°], east positive

    Returns
    -------
    array, shape (n,) [MJ/m² in the hour]

    Notes
    -----
    Ra = 60·0.0820·dr·sin β, the mean of the sun's height β over three instants of the hour; nothing while the
    sun is down. dr = 1 + 0.033·cos(2π·J/365), J the day of the year.

    References
    ----------
    FAO-56, equations 23 and 28; the sun's height is that of `sun_elevation_deg`.

    Examples
    --------
    >>> noon_s = 961_070_400.0  # 15 June 2000, 12:00 UTC
    >>> float(np.round(sky_radiation_mj_m2([noon_s], 45.0, 0.0)[0], 1))
    4.4
    """
    starts = np.asarray(hour_s, dtype=np.float64)
    instants = starts[:, None] + HOUR_S * np.array([1 / 6, 1 / 2, 5 / 6])
    height = np.radians(sun_elevation_deg(instants.ravel(), latitude_deg, longitude_deg))
    sine = np.maximum(np.sin(height), 0.0).reshape(instants.shape).mean(axis=1)
    days = np.floor(starts / (DAY_H * HOUR_S)).astype("datetime64[D]")
    day_of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) + 1
    return np.asarray(60 * 0.0820 * (1 + 0.033 * np.cos(2 * np.pi * day_of_year / 365)) * sine)


def reference_demand_mm(
    hour_s: ArrayLike,
    air_temp_c: ArrayLike,
    vpd_kpa: ArrayLike | None = None,
    *,
    latitude_deg: float,
    longitude_deg: float,
) -> Floats:
    """Reference evapotranspiration of each hour.

    Parameters
    ----------
    hour_s : array, shape (n,) [s] since 1970, the starts of hours, one after the other without a gap
    air_temp_c : array, shape (n,) [°C]; NaN where unknown
    vpd_kpa : array, shape (n,) [kPa], optional; where it is NaN the lowest temperature of the day before
        stands for the dew point
    latitude_deg, longitude_deg : float [°]

    Returns
    -------
    array, shape (n,) [mm in the hour]; NaN where the temperature is not known

    Notes
    -----
    ETo = (0.408·Δ·(Rn − G) + γ·37/(T + 273)·u2·VPD) / (Δ + γ·(1 + 0.34·u2)), never below zero. Sun: Rs =
    0.16·√(Tmax − Tmin)·Ra, never above the clear sky's 0.75·Ra; equation 50 is meant for a day, so the range
    is that of the 24 h up to the hour. G is 0.1·Rn by day and 0.5·Rn by night. Wind 2 m/s. Every hour is
    computed from itself and the 23 hours before it, never from later ones. Under cover wind and sun are less:
    as a measure of one hour against another it serves there too.

    References
    ----------
    FAO-56, equations 53 (hourly ETo), 45–46 (G), 50 (Rs), 37 (Rso), 38–40 (Rn), 13 (Δ), 8 (γ), 48 (dew
    point).

    Examples
    --------
    >>> hours = 961_027_200.0 + 3600.0 * np.arange(48)  # from 15 June 2000, 0:00
    >>> warm = 18 + 6 * np.sin((np.arange(48) - 9) / 24 * 2 * np.pi)
    >>> found = reference_demand_mm(hours, warm, np.full(48, 1.0), latitude_deg=45.0, longitude_deg=0.0)
    >>> round(float(found[24:].sum()), 1)
    4.7
    """
    temps = np.asarray(air_temp_c, dtype=np.float64)
    lowest, highest = _day_before(temps)
    sky = sky_radiation_mj_m2(hour_s, latitude_deg, longitude_deg)
    clearness = np.minimum(CLOUD_KRS * np.sqrt(np.maximum(highest - lowest, 0.0)), 0.75)
    saturated_kpa = saturation_vapour_pressure_kpa(temps)
    at_dew_kpa = saturation_vapour_pressure_kpa(np.minimum(lowest, temps))
    deficit = saturated_kpa - at_dew_kpa
    if vpd_kpa is not None:
        measured = np.asarray(vpd_kpa, dtype=np.float64)
        deficit = np.where(np.isnan(measured), deficit, measured)
    actual_kpa = np.maximum(saturated_kpa - deficit, 0.0)
    net_mj = net_radiation_mj_m2(sky, clearness, temps, actual_kpa)
    into_ground_mj = np.where(sky > 0, 0.1, 0.5) * net_mj
    slope = 4098 * saturated_kpa / (temps + 237.3) ** 2
    gamma = 0.665e-3 * PRESSURE_KPA
    driven = 0.408 * slope * (net_mj - into_ground_mj) + gamma * 37 / (temps + 273) * WIND_M_S * deficit
    return np.asarray(np.maximum(driven / (slope + gamma * (1 + 0.34 * WIND_M_S)), 0.0))


def net_radiation_mj_m2(
    sky_mj_m2: ArrayLike, clearness: ArrayLike, air_temp_c: ArrayLike, actual_kpa: ArrayLike
) -> Floats:
    """What a grass surface keeps of sun and sky in each hour.

    Parameters
    ----------
    sky_mj_m2 : array, shape (n,) [MJ/m² in the hour], sunlight above the atmosphere
    clearness : array, shape (n,), the part of it that reaches the ground, 0 to 0.75
    air_temp_c : array, shape (n,) [°C]
    actual_kpa : array, shape (n,) [kPa], vapour pressure of the air

    Returns
    -------
    array, shape (n,) [MJ/m² in the hour]; below zero in most nights

    Notes
    -----
    Rn = 0.77·Rs − σ·T⁴·(0.34 − 0.14·√ea)·(1.35·Rs/Rso − 0.35), with Rs/Rso = clearness / 0.75, at least 0.3,
    for the night as well.

    References
    ----------
    FAO-56, equations 38–40; σ by the hour as below equation 39. The limit of 0.3: ASCE-EWRI 2005, eq. 45.

    Examples
    --------
    >>> net_radiation_mj_m2([0.0, 3.0], [0.75, 0.75], [10.0, 20.0], [1.0, 1.0]).round(2).tolist()
    [-0.26, 1.43]
    """
    clear = np.asarray(clearness, dtype=np.float64)
    sun = 0.77 * clear * np.asarray(sky_mj_m2, dtype=np.float64)
    warmth = STEFAN_BOLTZMANN_MJ * (np.asarray(air_temp_c, dtype=np.float64) + 273.16) ** 4
    vapour = 0.34 - 0.14 * np.sqrt(np.asarray(actual_kpa, dtype=np.float64))
    return np.asarray(sun - warmth * vapour * (1.35 * np.clip(clear / 0.75, 0.3, 1.0) - 0.35))


def _day_before(temps: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest of the 24 hours up to each hour; NaN where fewer than 8 of them are known."""
    if not temps.size:
        return temps, temps
    padded = np.concatenate((np.full(DAY_H - 1, np.nan), temps))
    days = np.lib.stride_tricks.sliding_window_view(padded, DAY_H)
    known = np.isfinite(days).sum(axis=1) >= 8
    lowest = np.where(known, np.fmin.reduce(days, axis=1), np.nan)
    highest = np.where(known, np.fmax.reduce(days, axis=1), np.nan)
    return lowest, highest
