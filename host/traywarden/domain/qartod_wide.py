"""The QARTOD tests that look farther than at the values next to one: at a season, a day, or a neighbour.

Apart from the others because pandas, which one of them rolls its windows with, takes long to load.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from traywarden.domain.qartod import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT, gross_range
from traywarden.domain.series import FloatArray, IntArray


def climatology(
    period: IntArray,
    values: FloatArray,
    suspect_spans: Mapping[int, tuple[float, float]],
    fail_spans: Mapping[int, tuple[float, float]] | None = None,
) -> IntArray:
    """QARTOD climatology test: a gross range test whose limits depend on the time of year (or of day).

    Parameters
    ----------
    period : int array, shape of `values`
        Which part of the year each value belongs to: month, day of year, or an hour of the day.
    values : array, any unit
        NaN where missing.
    suspect_spans : mapping of period → (lowest, highest) in that unit
        Outside is suspect; limits pass.
    fail_spans : the same, optional
        Outside is bad. A period without one has none.

    Returns
    -------
    int array
        PASS, SUSPECT, FAIL; NOT_EVALUATED where no suspect span is known for the period; MISSING.

    References
    ----------
    ioos_qc 3.0, climatology test (one member per period, without depth); US IOOS QARTOD manuals.

    Examples
    --------
    >>> climatology(np.array([1, 1, 7, 9]), np.array([2.0, 25, 25, 25]), {1: (-10, 15), 7: (5, 40)}).tolist()
    [1, 3, 1, 2]
    """
    codes = np.full(values.shape, NOT_EVALUATED, np.int64)
    for part, span in suspect_spans.items():
        mine = period == part
        codes[mine] = gross_range(values[mine], (fail_spans or {}).get(part, (-np.inf, np.inf)), span)
    codes[np.isnan(values)] = MISSING
    return codes


def attenuated_signal(
    time_s: FloatArray, values: FloatArray, suspect: float, fail: float, window_s: float, least_count: int = 1
) -> IntArray:
    """QARTOD attenuated signal test: the standard deviation of the last so many seconds is too small.

    Parameters
    ----------
    time_s : array [s], ascending
    values : array, any unit
        NaN where missing.
    suspect, fail : float in the unit of the values
        A smaller standard deviation than this is suspect, or bad.
    window_s : float [s]
        The window ends at the value that is judged and leaves out one that is exactly this old.
    least_count : int
        Fewer values in the window judge nothing.

    Returns
    -------
    int array
        PASS, SUSPECT, FAIL; NOT_EVALUATED where the window holds too few values; MISSING.

    Notes
    -----
    Unlike the flat line test it also finds a signal that still moves, but less than its own kind does: a
    probe that lies deep in a heap, a sensor under ice. Standard deviation over n, not n − 1.

    References
    ----------
    ioos_qc 3.0, attenuated signal test with a test period; US IOOS QARTOD manuals.

    Examples
    --------
    >>> attenuated_signal(np.arange(4.0), np.array([1.0, 3, 3, 3]), 0.5, 0.1, 2.5, 2).tolist()
    [2, 1, 1, 4]
    """
    rolling = pd.Series(values, index=pd.to_datetime(time_s * 1e9)).rolling(
        pd.Timedelta(seconds=window_s), min_periods=least_count
    )
    spread = rolling.std(ddof=0).to_numpy(np.float64)
    codes = np.where(spread >= suspect, PASS, SUSPECT)
    codes[np.isnan(spread)] = NOT_EVALUATED
    codes[spread < fail] = FAIL
    codes[np.isnan(values)] = MISSING
    return np.asarray(codes, np.int64)


def neighbours(values: FloatArray, others: FloatArray, suspect: float, fail: float) -> IntArray:
    """QARTOD neighbour test: how far a value lies from the median of others that measure the same thing.

    Parameters
    ----------
    values : array, shape (n,), any unit
        NaN where missing.
    others : array, shape (m, n), in the same unit
        What the neighbours measured at the same instants; NaN where one did not.
    suspect, fail : float in the same unit
        A larger distance than this is suspect, or bad.

    Returns
    -------
    int array, shape (n,)
        PASS, SUSPECT, FAIL; NOT_EVALUATED where no neighbour measured; MISSING.

    Notes
    -----
    QARTOD asks for the comparison and leaves the rule to the operator. The median makes one bad neighbour
    among three harmless; with one neighbour alone it cannot tell which of the two is wrong.

    References
    ----------
    US IOOS QARTOD manuals, “neighbour or forward prediction test” (operator-defined).

    Examples
    --------
    >>> neighbours(np.array([10.0, 16.0]), np.array([[10.5, 10.0], [9.0, 10.2], [40.0, 10.1]]), 3, 5).tolist()
    [1, 4]
    """
    known = ~np.isnan(others).all(axis=0)
    away = np.full(values.shape, np.nan)
    away[known] = np.abs(values[known] - np.nanmedian(others[:, known], axis=0))
    codes = np.where(away > fail, FAIL, np.where(away > suspect, SUSPECT, PASS))
    codes[np.isnan(away)] = NOT_EVALUATED
    codes[np.isnan(values)] = MISSING
    return np.asarray(codes, np.int64)
