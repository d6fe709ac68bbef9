"""The QARTOD tests as they are published: codes for each value of a series, nothing left out or changed."""

from collections.abc import Sequence

import numpy as np

from traywarden.domain.series import FloatArray, IntArray

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9
"""QARTOD / IODE primary-level codes."""


def gross_range(
    values: FloatArray, fail_span: tuple[float, float], suspect_span: tuple[float, float] | None = None
) -> IntArray:
    """QARTOD gross range test: outside the fail span 4, outside the suspect span 3, limits pass.

    Parameters
    ----------
    values : array, any unit
        NaN where missing.
    fail_span, suspect_span : (lowest, highest) in the same unit

    Returns
    -------
    int array
        PASS, SUSPECT, FAIL, or MISSING where the value is NaN.

    References
    ----------
    US IOOS, Manual for the Use of Real-Time Oceanographic Data Quality Control Flags v1.2 (2020).

    Examples
    --------
    >>> gross_range(np.array([1.0, 2.0, 8.0]), (0, 5), (1, 4)).tolist()
    [1, 1, 4]
    """
    codes = np.full(values.shape, PASS, np.int64)
    if suspect_span is not None:
        codes[(values < suspect_span[0]) | (values > suspect_span[1])] = SUSPECT
    codes[(values < fail_span[0]) | (values > fail_span[1])] = FAIL
    codes[np.isnan(values)] = MISSING
    return codes


def spike(values: FloatArray, suspect: float, fail: float, form: str = "average") -> IntArray:
    """QARTOD spike test: how far a value stands out from the one before and the one after.

    Parameters
    ----------
    values : array, any unit
        NaN where missing.
    suspect, fail : float in the same unit
        A larger spike than this is suspect, or bad.
    form : str
        “average”: distance from the mean of both neighbours (a spike also marks its neighbours);
        “differential”: the smaller of both steps where the value is a local extreme, else 0.

    Returns
    -------
    int array
        PASS, SUSPECT, FAIL; NOT_EVALUATED for the first and last value and beside a missing one; MISSING.

    References
    ----------
    ioos_qc (commit 9c1853a4), spike test; US IOOS QARTOD manuals.

    Examples
    --------
    >>> spike(np.array([10, 12, 999.99, 13, 15.0]), 25, 50).tolist()
    [2, 4, 4, 4, 2]
    """
    codes = np.full(values.shape, NOT_EVALUATED, np.int64)
    if values.size >= 3:
        before, here, after = values[:-2], values[1:-1], values[2:]
        if form == "average":
            size = np.abs(here - (before + after) / 2)
        else:
            size = np.where(
                (here - before) * (here - after) > 0,
                np.minimum(np.abs(here - before), np.abs(here - after)),
                np.where(np.isnan(before + after), np.nan, 0.0),
            )
        inner = np.where(size > fail, FAIL, np.where(size > suspect, SUSPECT, PASS))
        codes[1:-1] = np.where(np.isnan(size), NOT_EVALUATED, inner)
    codes[np.isnan(values)] = MISSING
    return codes


def rate_of_change(time_s: FloatArray, values: FloatArray, threshold_per_s: float) -> IntArray:
    """QARTOD rate of change test: faster than the threshold since the value before is suspect (3).

    Parameters
    ----------
    time_s : array [s], ascending
    values : array, any unit
        NaN where missing.
    threshold_per_s : float in that unit per second

    Returns
    -------
    int array
        PASS, SUSPECT, or MISSING. The first value and one after a missing value pass; so does one at the
        same instant as the last.

    References
    ----------
    ioos_qc (commit 9c1853a4), rate of change test.

    Examples
    --------
    >>> rate_of_change(np.array([0.0, 900, 1800]), np.array([2.0, 10, 7]), 5 / 900).tolist()
    [1, 3, 1]
    """
    codes = np.full(values.shape, PASS, np.int64)
    if values.size >= 2:
        step_s = np.diff(time_s)
        codes[1:][(np.abs(np.diff(values)) > threshold_per_s * step_s) & (step_s > 0)] = SUSPECT
    codes[np.isnan(values)] = MISSING
    return codes


def flat_line(
    time_s: FloatArray, values: FloatArray, suspect_s: float, fail_s: float, tolerance: float
) -> IntArray:
    """QARTOD flat line test: the values of the last so many seconds span less than the tolerance.

    Parameters
    ----------
    time_s : array [s], ascending
    values : array, any unit
        NaN where missing.
    suspect_s, fail_s : float [s]
        Length of the window that makes a value suspect, or bad.
    tolerance : float in the unit of the values
        A window that spans less than this is flat.

    Returns
    -------
    int array
        PASS, SUSPECT, FAIL, or MISSING.

    Notes
    -----
    The window is c + 1 values with c = int(seconds / median step); the first c values pass, and with
    fewer than three values all pass. Missing values inside a window are passed over.

    References
    ----------
    ioos_qc (commit 9c1853a4), flat line test.

    Examples
    --------
    >>> flat_line(np.arange(4.0), np.full(4, 5.0), 3, 5, 0.1).tolist()
    [1, 1, 1, 3]
    """
    codes = np.full(values.shape, PASS, np.int64)
    missing = np.isnan(values)
    if values.size >= 3 and (step_s := float(np.median(np.diff(time_s)))) > 0:
        high, low = np.where(missing, -np.inf, values), np.where(missing, np.inf, values)
        windows = ((suspect_s, SUSPECT), (fail_s, FAIL)) if suspect_s != fail_s else ((fail_s, FAIL),)
        for window_s, code in windows:
            back = int(window_s / step_s)
            if back >= values.size:
                continue
            size = back + 1
            with np.errstate(invalid="ignore"):
                flat = _windows(high, size, np.maximum) - _windows(low, size, np.minimum) < tolerance
            codes[back:][flat] = code
    codes[missing] = MISSING
    return codes


def _windows(values: FloatArray, size: int, which: np.ufunc) -> FloatArray:
    """The highest (or lowest) of every `size` values in a row; by doubling, so that long windows cost little.

    Loading scipy.ndimage for its filters takes every command a tenth of a second.
    """
    found, span = values, 1
    while span * 2 <= size:
        found = which(found[:-span], found[span:])
        span *= 2
    rest = size - span
    return np.asarray(which(found[: found.size - rest], found[rest:]) if rest else found)


def rolled_up(codes: Sequence[IntArray]) -> IntArray:
    """One code for each value from those of several tests: the worst; good outranks not evaluated.

    References
    ----------
    ioos_qc, roll-up priority 4 > 3 > 1 > 2 > 9.

    Examples
    --------
    >>> rolled_up([np.array([1, 2, 9]), np.array([3, 1, 9])]).tolist()
    [3, 1, 9]
    """
    order = np.array([MISSING, NOT_EVALUATED, PASS, SUSPECT, FAIL])
    ranks = np.stack([np.argsort(order)[np.searchsorted(np.sort(order), each)] for each in codes])
    return np.asarray(order[ranks.max(axis=0)], np.int64)
