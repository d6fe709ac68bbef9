"""Hours of a day made from its lowest and highest temperature: half a sine wave up, half a sine wave down."""

import numpy as np
from numpy.typing import ArrayLike

from traywarden.domain.series import FloatArray

PEAK_H = 14.0
"""Solar hour of the highest temperature (de Wit et al. 1978)."""
RISE_H = 6.0
"""Solar hour of the lowest where the garden's latitude is not known: sunrise of the equinox."""


def day_curve(
    min_c: ArrayLike,
    max_c: ArrayLike,
    rise_h: ArrayLike = RISE_H,
    peak_h: float = PEAK_H,
    *,
    steps_a_day: int = 24,
) -> FloatArray:
    """Temperature through days of which only the lowest and the highest are known.

    Parameters
    ----------
    min_c, max_c : array, shape (d,) [°C], of days that follow one another; NaN where not known
    rise_h : array, shape (d,), or float [h]; when each day is coldest
    peak_h : float [h]; when each day is warmest
    steps_a_day : int; values are those at the middle of each step

    Returns
    -------
    array, shape (d · steps_a_day,) [°C]

    Notes
    -----
    From each lowest to the day's highest and on to the next day's lowest the temperature runs along half a
    cosine wave: the double sine of degree-days, with lowest and highest where the sun puts them instead of
    twelve hours apart. Before the first lowest and after the last highest the same day's other end is taken.
    Over a year at two recorded fields the hours so made missed the measured ones by 1.4 and 1.3 °C on average
    (`python -m tests.figures day-curve`): fronts do not keep to the sun. A day not known leaves its hours,
    and those that lead to and from it, NaN.

    References
    ----------
    Double sine: Zalom, Goodell, Wilson, Barnett & Bentley 1983, UC Leaflet 21373; lowest at sunrise, highest
    at 14 h: de Wit, Goudriaan & van Laar 1978, Simulation of Assimilation, Respiration and Transpiration of
    Crops; compared with others by Reicosky et al. 1989, Agric. For. Meteorol. 46:193.

    Examples
    --------
    >>> day_curve([10.0, 10.0], [20.0, 20.0], 6.0, 14.0, steps_a_day=6).round(1).tolist()
    [11.5, 10.0, 15.0, 20.0, 18.5, 15.0, 11.5, 10.0, 15.0, 20.0, 18.5, 15.0]
    """
    low, high = np.asarray(min_c, dtype=np.float64), np.asarray(max_c, dtype=np.float64)
    days = low.size
    starts = 24.0 * np.arange(days)
    rise = starts + np.broadcast_to(np.asarray(rise_h, dtype=np.float64), (days,))
    knots_h, knots_c = np.empty(2 * days + 2), np.empty(2 * days + 2)
    knots_h[1:-1:2], knots_h[2:-1:2] = rise, starts + peak_h
    knots_c[1:-1:2], knots_c[2:-1:2] = low, high
    knots_h[0], knots_c[0] = peak_h - 24.0, high[0]
    knots_h[-1], knots_c[-1] = rise[-1] + 24.0, low[-1]
    at_h = (np.arange(days * steps_a_day) + 0.5) * 24.0 / steps_a_day
    left = np.clip(np.searchsorted(knots_h, at_h, side="right") - 1, 0, knots_h.size - 2)
    part = (at_h - knots_h[left]) / (knots_h[left + 1] - knots_h[left])
    return np.asarray(knots_c[left] + (knots_c[left + 1] - knots_c[left]) * (1 - np.cos(np.pi * part)) / 2)


def sunrise_h(day_of_year: ArrayLike, latitude_deg: float) -> FloatArray:
    """Solar hour of sunrise.

    Parameters
    ----------
    day_of_year : array [d], 1 … 366
    latitude_deg : float [°], north positive

    Returns
    -------
    array [h of solar time]

    Notes
    -----
    ωs = arccos(−tan φ · tan δ), δ = 0.409·sin(2πJ/365 − 1.39); sunrise at 12 − 12·ωs/π. Where the sun does
    not rise it is noon, where it does not set midnight.

    References
    ----------
    Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eqs. 24 and 25.

    Examples
    --------
    >>> sunrise_h([246], -20.0).round(2).tolist()
    [6.17]
    """
    day = np.asarray(day_of_year, dtype=np.float64)
    declination = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    sunset = np.arccos(np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination), -1.0, 1.0))
    return np.asarray(12.0 - sunset * 12.0 / np.pi)
