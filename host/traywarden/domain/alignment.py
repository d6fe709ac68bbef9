"""Two series that do not share stamps, brought onto the same instants."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Aligned:
    """Both series at the same instants, each standing for `step_s` around it; NaN where one has a gap."""

    time_s: Floats
    a_c: Floats
    b_c: Floats
    step_s: float

    @property
    def common(self) -> NDArray[np.bool_]:
        """Instants at which both sides are known."""
        return np.isfinite(self.a_c) & np.isfinite(self.b_c)


def interpolated(time_s: ArrayLike, values: ArrayLike, at_s: ArrayLike, longest_gap_s: float) -> Floats:
    """A series read off at other instants, without inventing data over gaps.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    values : array, shape (n,); NaN values are left out
    at_s : array, shape (m,) [s]
    longest_gap_s : float [s]

    Returns
    -------
    array, shape (m,) in the unit of the values; NaN where unknown

    Notes
    -----
    Straight line between the readings on either side, if they are at most `longest_gap_s` apart; NaN
    otherwise, and before the first and after the last reading.

    References
    ----------
    Linear interpolation, as numpy.interp.

    Examples
    --------
    >>> interpolated([0.0, 600.0, 9000.0], [1.0, 2.0, 5.0], [300.0, 3000.0, 9000.0], 3600.0).tolist()
    [1.5, nan, 5.0]
    """
    times, series = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    at = np.asarray(at_s, dtype=np.float64)
    known = np.isfinite(series)
    times, series = times[known], series[known]
    if times.size == 0:
        return np.full(at.shape, np.nan)
    line = np.interp(at, times, series, left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(times, at, side="left"), 0, times.size - 1)
    exact = times[after] == at
    gap = times[after] - times[np.maximum(after - 1, 0)]
    return np.where(exact | (gap <= longest_gap_s), line, np.nan)


def align(
    a_time_s: ArrayLike,
    a_c: ArrayLike,
    b_time_s: ArrayLike,
    b_c: ArrayLike,
    *,
    start_s: float,
    end_s: float,
    longest_gap_s: float,
    step_s: float = 300.0,
) -> Aligned:
    """Bring two series onto the same evenly spaced instants within a span.

    Parameters
    ----------
    a_time_s, b_time_s : arrays [s] since 1970, ascending
    a_c, b_c : arrays of the same lengths [°C]; NaN where missing
    start_s, end_s : float [s]
    longest_gap_s : float [s]; as in `interpolated`
    step_s : float [s]

    Returns
    -------
    Aligned

    Notes
    -----
    The instants are the middles of steps counted from 1970, so every one lies within one local day (all
    time zones differ from UTC by whole quarters of an hour) and sums over them are sums over time.

    Raises
    ------
    ValueError if the span is empty.

    References
    ----------
    As `interpolated`.

    Examples
    --------
    >>> pair = align([0.0, 600.0], [1.0, 3.0], [0.0, 600.0], [0.0, 0.0], start_s=0.0, end_s=600.0,
    ...              longest_gap_s=3600.0)
    >>> (pair.a_c - pair.b_c).tolist()
    [1.5, 2.5]
    """
    if not end_s > start_s:
        raise ValueError("the span to compare must end after it starts")
    first, last = int(np.ceil(start_s / step_s)), int(np.floor(end_s / step_s))
    middles = (np.arange(first, last, dtype=np.float64) + 0.5) * step_s
    return Aligned(
        time_s=middles,
        a_c=interpolated(a_time_s, a_c, middles, longest_gap_s),
        b_c=interpolated(b_time_s, b_c, middles, longest_gap_s),
        step_s=step_s,
    )
