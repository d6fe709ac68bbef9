"""An air sensor that the sun shines on: far warmer than the others by day, and like them by night."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.series import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class SunlitParams:
    """What gives a sunlit sensor away. No published limits were found: common practice."""

    least_excess_c: float = 4.0
    """Warmer than the median of the others by this much in its warmest hour; in screens two agree to 1 °C."""
    most_night_c: float = 1.5
    """By night it agrees this well: a sensor that is always off, or stands under cover, is something else."""
    least_days: int = 3
    """… on this many days, as a lid or a hand also warms a sensor once."""


DEFAULT_SUNLIT = SunlitParams()


@dataclass(frozen=True, slots=True)
class Sunlit:
    """Days on which a sensor was sunlit (first and last warmest hour [s]), and its median excess [°C]."""

    first_s: float
    last_s: float
    days: int
    days_looked_at: int
    excess_c: float


def sunlit(
    hour_s: FloatArray,
    air_temp_c: FloatArray,
    others_c: FloatArray,
    night: BoolArray,
    day: IntArray,
    params: SunlitParams = DEFAULT_SUNLIT,
) -> Sunlit | None:
    """Whether the sun warms an air sensor, told by the others that hang in the open as it does.

    Parameters
    ----------
    hour_s : array, shape (n,) [s]
        Hours, ascending.
    air_temp_c : array, shape (n,) [°C]
        Hourly means of the sensor; NaN where it measured nothing.
    others_c : array, shape (m, n) [°C]
        Those of the others.
    night : bool array, shape (n,)
    day : int array, shape (n,)
        The garden's own day each hour belongs to, counted from any; a day of another clock would part one
        sunny day in two.
    params : SunlitParams

    Returns
    -------
    Sunlit, or None where it is not sunlit, or no other sensor tells

    Notes
    -----
    With one other sensor alone, that one may instead be the cold one: the words of the trouble say so.
    Temperature and humidity of the same sensor cannot tell, as its vapour pressure stays right in the sun.

    References
    ----------
    No publication gives limits for this; see SunlitParams.
    """
    known = ~np.isnan(air_temp_c) & ~np.isnan(others_c).all(axis=0)
    if not known.any():
        return None
    excess = air_temp_c[known] - np.nanmedian(others_c[:, known], axis=0)
    hours, dark, days = hour_s[known], night[known], day[known]
    warmed: list[tuple[float, float]] = []
    looked_at = 0
    for each in np.unique(days).tolist():
        by_day, by_night = (days == each) & ~dark, (np.abs(days - each) <= 1) & dark
        if not by_day.any() or not by_night.any():
            continue
        looked_at += 1
        calm = abs(float(np.median(excess[by_night]))) <= params.most_night_c
        at = int(np.argmax(np.where(by_day, excess, -np.inf)))
        if calm and excess[at] >= params.least_excess_c:
            warmed.append((float(hours[at]), float(excess[at])))
    if len(warmed) < params.least_days:
        return None
    middle = float(np.median([size for _, size in warmed]))
    return Sunlit(warmed[0][0], warmed[-1][0], len(warmed), looked_at, middle)
