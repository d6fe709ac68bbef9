"""Day and night at a place on Earth, from the height of the sun."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

RISEN_DEG = -0.833
"""Height of the sun's centre at sunrise and sunset: refraction and half its disc (NOAA: zenith 90.833°)."""
J2000_S = 946_728_000.0
"""2000-01-01T12:00Z in seconds since 1970."""
CENTURY_S = 36525 * 86400.0


def sun_elevation_deg(time_s: ArrayLike, latitude_deg: float, longitude_deg: float) -> Floats:
    """Height of the sun's centre above the horizon, without refraction.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, UTC
    latitude_deg : float [°], north positive
    longitude_deg : float [°], east positive

    Returns
    -------
    array, shape (n,) [°], −90 … 90

    Notes
    -----
    Equations of the NOAA solar calculator (Meeus' low-accuracy sun), good to about 0.01° from 1900 to 2100.
    NaN times give NaN.

    References
    ----------
    NOAA Global Monitoring Laboratory, Solar Calculation Details; Meeus 1998, Astronomical Algorithms, ch. 25.

    Examples
    --------
    >>> # 17 October 2003, 12:30:30 at UTC−7, the worked example of NREL's solar position algorithm
    >>> float(np.round(sun_elevation_deg([1066419030.0], 39.742476, -105.1786), 1)[0])
    39.9
    """
    since_s = np.asarray(time_s, dtype=np.float64) - J2000_S
    century = since_s / CENTURY_S
    mean_longitude = 280.46646 + century * (36000.76983 + century * 0.0003032)
    anomaly = np.radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    centre = (
        np.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + np.sin(2 * anomaly) * (0.019993 - 0.000101 * century)
        + np.sin(3 * anomaly) * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * century)
    longitude = np.radians(mean_longitude + centre - 0.00569 - 0.00478 * np.sin(node))
    seconds = 21.448 - century * (46.815 + century * (0.00059 - century * 0.001813))
    obliquity = np.radians(23 + (26 + seconds / 60) / 60 + 0.00256 * np.cos(node))
    declination = np.arcsin(np.sin(obliquity) * np.sin(longitude))
    right_ascension = np.degrees(np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude)))
    # Hour angle: the mean sun's, moved by how far the true sun runs ahead of it (the equation of time).
    ahead = (mean_longitude - 0.0057183 - right_ascension + 180) % 360 - 180
    hour_angle = np.radians(since_s / 240 + longitude_deg + ahead)  # the sun moves 1° in 240 s
    latitude = np.radians(latitude_deg)
    height = np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(height, -1.0, 1.0))))


def is_night(
    time_s: ArrayLike, zone: ZoneInfo, latitude_deg: float | None = None, longitude_deg: float | None = None
) -> NDArray[np.bool_]:
    """Whether it is night at each instant.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, UTC
    zone : ZoneInfo of the garden
    latitude_deg, longitude_deg : float [°], optional

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    From sunset to sunrise where latitude and longitude are known, else from 18 to 6 o'clock local time.
    Beyond the polar circles a day can be all night or have none.

    References
    ----------
    Sunrise at zenith 90.833°: NOAA, Solar Calculation Details.

    Examples
    --------
    >>> is_night([0.0, 43200.0], ZoneInfo("UTC")).tolist()
    [True, False]
    """
    if latitude_deg is not None and longitude_deg is not None:
        return np.asarray(sun_elevation_deg(time_s, latitude_deg, longitude_deg) < RISEN_DEG)
    # By quarters of an hour, which all time zones differ by; loading pandas takes every command 0.2 s.
    quarters, which = np.unique(np.floor(np.asarray(time_s, dtype=np.float64) / 900.0), return_inverse=True)
    hours = np.array([datetime.fromtimestamp(n * 900.0, zone).hour for n in quarters.tolist()], np.int64)
    return np.asarray((hours < 6) | (hours >= 18))[which]


def next_dark_s(now_s: float, zone: ZoneInfo, latitude_deg: float, longitude_deg: float) -> float | None:
    """When the sun goes down today.

    Parameters
    ----------
    now_s : float [s] since 1970, UTC
    zone : ZoneInfo of the garden
    latitude_deg, longitude_deg : float [°]

    Returns
    -------
    float [s] or None
        To the minute, rounded down; None while it is night, or where the sun does not go down within a day.

    References
    ----------
    As `is_night`.

    Examples
    --------
    >>> noon_s = 1772971200.0  # 8 March 2026, 12:00 UTC, at Greenwich
    >>> f"{datetime.fromtimestamp(next_dark_s(noon_s, ZoneInfo('UTC'), 51.48, 0.0), ZoneInfo('UTC')):%H:%M}"
    '17:52'
    """
    minutes_s = np.floor(now_s / 60.0) * 60.0 + np.arange(0.0, 86_460.0, 60.0)
    night = is_night(minutes_s, zone, latitude_deg, longitude_deg)
    return None if night[0] or not night.any() else float(minutes_s[int(np.argmax(night)) - 1])


def night_words(latitude_deg: float | None, longitude_deg: float | None) -> str:
    """How night was told from day, in words.

    Parameters
    ----------
    latitude_deg, longitude_deg : float [°] or None

    Returns
    -------
    str

    Notes
    -----
    Says what `is_night` does with the same arguments.

    References
    ----------
    As `is_night`.

    Examples
    --------
    >>> night_words(None, None)
    'night from 18 to 6 o’clock, as the garden’s latitude and longitude are not known'
    """
    if latitude_deg is None or longitude_deg is None:
        return "night from 18 to 6 o’clock, as the garden’s latitude and longitude are not known"
    return "night from sunset to sunrise"


def standard_offset_h(zone: ZoneInfo) -> float:
    """Hours that standard time lies ahead of UTC.

    Parameters
    ----------
    zone : ZoneInfo

    Returns
    -------
    float [h]

    Notes
    -----
    The smaller of the offsets in January and July: clocks are put forward in summer.

    Examples
    --------
    >>> standard_offset_h(ZoneInfo("Europe/Lisbon")), standard_offset_h(ZoneInfo("Australia/Sydney"))
    (0.0, 10.0)
    """
    offsets = (datetime(2025, month, 15, 12, tzinfo=zone).utcoffset() or timedelta(0) for month in (1, 7))
    return min(offset.total_seconds() for offset in offsets) / 3600
