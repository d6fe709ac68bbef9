"""A straight trend that single outliers do not bend."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

LEAST_VALUES = 5
"""Fewer give a slope without an interval (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A line through values over time: slope a second, its interval, and the value in the middle of the time.

    `low_per_s` and `high_per_s` are None where too few values are known.
    """

    per_s: float
    low_per_s: float | None
    high_per_s: float | None
    middle_s: float
    at_middle: float
    n: int

    def at(self, time_s: float) -> float:
        """The line at an instant, in the unit of the values."""
        return self.at_middle + self.per_s * (time_s - self.middle_s)


def trend(time_s: ArrayLike, values: ArrayLike, *, level: float = 0.95) -> Trend | None:
    """The median slope between all pairs of values, with an interval.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
    values : array, shape (n,), in any unit; NaN values are left out
    level : float, 0 … 1

    Returns
    -------
    Trend, or None with fewer than two different times

    Notes
    -----
    Theil–Sen slope; the interval takes the pair slopes at the ranks that Kendall's statistic gives in the
    normal approximation, ties in the values counted. The line runs through the median of values − slope·time.
    Values are taken as independent of each other; neighbours that resemble each other make it too narrow.

    Raises
    ------
    ValueError if there is not one time for each value.

    References
    ----------
    Sen 1968, J. Am. Stat. Assoc. 63:1379.

    Examples
    --------
    >>> line = trend([0, 1, 2, 3, 4, 5], [1.0, 1.1, 1.2, 9.0, 1.4, 1.5])
    >>> round(line.per_s, 3), round(line.at(10.0), 2)
    (0.1, 2.0)
    """
    times, series = np.asarray(time_s, np.float64), np.asarray(values, np.float64)
    if times.ndim != 1 or times.shape != series.shape:
        raise ValueError("one time is needed for each value")
    known = np.isfinite(series) & np.isfinite(times)
    times, series = times[known], series[known]
    first, second = np.triu_indices(series.size, 1)
    apart_s = times[second] - times[first]
    usable = apart_s != 0
    if not usable.any():
        return None
    slopes = np.sort((series[second] - series[first])[usable] / apart_s[usable])
    middle_s = float(np.median(times))
    slope = float(np.median(slopes))
    at_middle = float(np.median(series - slope * (times - middle_s)))
    low, high = _interval(slopes, series, level) if series.size >= LEAST_VALUES else (None, None)
    return Trend(slope, low, high, middle_s, at_middle, int(series.size))


def _interval(slopes: Floats, series: Floats, level: float) -> tuple[float, float]:
    n = series.size
    ties = np.unique(series, return_counts=True)[1]
    spread = np.sqrt((n * (n - 1) * (2 * n + 5) - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18)
    reach = float(special.ndtri(0.5 + level / 2)) * spread
    low = max(round((slopes.size - reach) / 2) - 1, 0)
    high = min(round((slopes.size + reach) / 2), slopes.size - 1)
    return float(slopes[low]), float(slopes[high])
