"""A first-order body behind an hourly run of temperature: how it follows, and where gaps leave it unknown."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from traywarden.domain.series import BoolArray, FloatArray, IntArray
from traywarden.domain.units import HOUR_S

JOINED_H = 3
"""Gaps up to this long are bridged by straight lines."""


def first_order(values_c: ArrayLike, lag_h: float) -> FloatArray:
    """What a first-order body makes of an hourly run of temperature.

    Parameters
    ----------
    values_c : array, shape (h,) or (n, h) [°C], without NaN
    lag_h : float [h], its time constant

    Returns
    -------
    array, shaped as values_c [°C]

    Notes
    -----
    Exact where the input runs in straight lines from hour to hour:
    y(k) = a·y(k−1) + (1 − φ)·x(k) + (φ − a)·x(k−1), a = e^(−1/τ), φ = (1 − a)·τ. It begins at the mean of
    the first day.

    References
    ----------
    First-order hold equivalent: Franklin, Powell & Workman 1998, Digital Control of Dynamic Systems, ch. 6.

    Examples
    --------
    >>> step = np.r_[np.zeros(24), np.ones(48)]
    >>> [round(float(v), 2) for v in first_order(step, 4.0)[[23, 28, 47]]]
    [0.0, 0.67, 1.0]
    """
    rows = np.atleast_2d(np.asarray(values_c, dtype=np.float64))
    kept = np.exp(-1.0 / lag_h)
    phi = (1.0 - kept) * lag_h
    fed = np.empty_like(rows)
    fed[:, 0] = rows[:, :24].mean(axis=1)
    fed[:, 1:] = ((1 - phi) * rows[:, 1:] + (phi - kept) * rows[:, :-1]) / (1 - kept)
    followed = pd.DataFrame(fed.T).ewm(alpha=1 - kept, adjust=False).mean().to_numpy().T
    return np.asarray(followed.reshape(np.shape(values_c)))


def hour_grid(time_s: ArrayLike) -> tuple[IntArray, FloatArray]:
    """The unbroken run of whole hours that times span, and where each stands on it.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending, one to an hour

    Returns
    -------
    (positions, hours [s]): `hours[positions]` are the hours of time_s

    Raises
    ------
    ValueError where an hour comes twice or before the one before it.

    Examples
    --------
    >>> hour_grid([7200.0, 10800.0, 18000.0])
    (array([0, 1, 3]), array([ 7200., 10800., 14400., 18000.]))
    """
    hours = np.floor(np.asarray(time_s, dtype=np.float64) / HOUR_S).astype(np.int64)
    if hours.size == 0:
        return hours, np.empty(0)
    if (np.diff(hours) <= 0).any():
        raise ValueError("time_s must be ascending whole hours, each once")
    return hours - hours[0], (hours[0] + np.arange(hours[-1] - hours[0] + 1)) * HOUR_S


def bridged(rows_c: FloatArray) -> FloatArray:
    """Rows of hourly temperature without holes: straight lines across gaps, the nearest value at the ends.

    Parameters
    ----------
    rows_c : array, shape (n, h) [°C]

    Returns
    -------
    array, shape (n, h) [°C]; 0 throughout in a row without any value

    Notes
    -----
    Only so that a filter can run on; `unsettled` tells which hours of its answer mean nothing.

    Examples
    --------
    >>> bridged(np.array([[1.0, np.nan, 3.0, np.nan]])).tolist()
    [[1.0, 2.0, 3.0, 3.0]]
    """
    filled = pd.DataFrame(rows_c.T).interpolate(limit_direction="both").to_numpy().T
    return np.asarray(np.nan_to_num(filled))


def unsettled(rows_c: FloatArray, lag_h: float) -> BoolArray:
    """Hours in a gap too long to bridge, and three lags after it.

    Parameters
    ----------
    rows_c : array, shape (n, h) [°C]
    lag_h : float [h]

    Returns
    -------
    bool array, shape (n, h)

    Notes
    -----
    After three lags 5 % of what was wrong is left.

    Examples
    --------
    >>> gap = np.r_[[1.0] * 2, [np.nan] * 4, [1.0] * 5][None, :]
    >>> unsettled(gap, 0.5).astype(int).tolist()
    [[0, 0, 1, 1, 1, 1, 1, 1, 0, 0, 0]]
    """
    missing = np.isnan(rows_c)
    if not missing.any():
        return missing
    frame = pd.DataFrame(missing.T)
    run = frame.apply(lambda column: column.groupby((~column).cumsum()).transform("sum"))
    long = frame & (run > JOINED_H)
    after = 1 + int(np.ceil(3 * lag_h))
    return np.asarray(long.rolling(after, min_periods=1).max().to_numpy().T > 0)
