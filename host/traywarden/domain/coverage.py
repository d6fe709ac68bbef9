"""How much of a span of time readings speak for."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def coverage(time_s: npt.ArrayLike, start_s: float, end_s: float, longest_gap_s: float) -> float:
    """Part of [start_s, end_s] that lies between readings close enough to each other.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        Times of the valid readings, ascending. Readings outside the span count for its edges.
    start_s, end_s : float [s]
    longest_gap_s : float [s]
        Two consecutive readings farther apart than this cover nothing between them.

    Returns
    -------
    float [fraction, 0 to 1]

    Notes
    -----
    A lone reading covers nothing: time is covered between two readings. An empty span has coverage 0.
    Leave readings without a value out of `time_s`; a NaN among the times is refused.

    Raises
    ------
    ValueError
        When the times are not ascending.

    References
    ----------
    The rule is this project's own: readings are joined by straight lines (see `daily_degree_days`), and a
    line across a longer gap is a guess.

    Examples
    --------
    >>> coverage([0.0, 600.0, 1200.0, 7800.0], 0.0, 2400.0, longest_gap_s=900.0)
    0.5
    """
    return float(coverages(time_s, [start_s], [end_s], longest_gap_s)[0])


def coverages(
    time_s: npt.ArrayLike, starts_s: npt.ArrayLike, ends_s: npt.ArrayLike, longest_gap_s: float
) -> FloatArray:
    """`coverage` of many spans at once.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        Times of the valid readings, ascending.
    starts_s, ends_s : array, shape (m,) [s]
    longest_gap_s : float [s]

    Returns
    -------
    array, shape (m,) [fraction, 0 to 1]

    Notes
    -----
    As for `coverage`.

    Raises
    ------
    ValueError
        When the times are not ascending.

    References
    ----------
    As for `coverage`.

    Examples
    --------
    >>> coverages([0.0, 600.0, 1200.0], [0.0, 600.0], [1200.0, 1800.0], 900.0).tolist()
    [1.0, 0.5]
    """
    times = np.asarray(time_s, dtype=np.float64)
    starts, ends = np.asarray(starts_s, dtype=np.float64), np.asarray(ends_s, dtype=np.float64)
    if times.size < 2:
        return np.zeros(starts.shape)
    gaps = np.diff(times)
    if not (gaps >= 0.0).all():
        raise ValueError("time_s must be ascending and without NaN; sort the readings first.")
    counted = np.where(gaps <= longest_gap_s, gaps, 0.0)
    covered_until = np.concatenate([[0.0], np.cumsum(counted)])  # flat across gaps that are too long
    inside = np.interp(ends, times, covered_until) - np.interp(starts, times, covered_until)
    spans = ends - starts
    fraction = np.divide(inside, spans, out=np.zeros(spans.shape), where=spans > 0.0)
    bounded: FloatArray = np.clip(fraction, 0.0, 1.0)
    return bounded
