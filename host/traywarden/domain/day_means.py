"""Means of the garden's days, from hours."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from traywarden.domain.series import FloatArray

HOUR_S = 3600.0


def day_means(
    hour_s: FloatArray, values: FloatArray, bounds: Sequence[tuple[date, int, int]], *, least_coverage: float
) -> tuple[FloatArray, FloatArray]:
    """The mean of each day over its known hours, and how much of the day they are.

    Parameters
    ----------
    hour_s : array [s since 1970], ascending, the starts of hours
    values : array, in any unit, NaN where an hour is not known
    bounds : for each day its date, first instant and end [ms since 1970], as `local_day_bounds` gives them
    least_coverage : float, 0 … 1; a day of which fewer hours are known is blank

    Returns
    -------
    means, in the unit of the values, NaN on a blank day; coverage, 0 … 1

    Notes
    -----
    An hour belongs to the day its middle falls in.

    Examples
    --------
    >>> hours = np.arange(24) * 3600.0
    >>> values = np.where(hours < 18 * 3600, 2.0, np.nan)
    >>> day_means(hours, values, [(date(1970, 1, 1), 0, 86_400_000)], least_coverage=0.7)
    (array([2.]), array([0.75]))
    """
    middle_ms = (hour_s + HOUR_S / 2) * 1000
    means, coverage = np.full(len(bounds), np.nan), np.zeros(len(bounds))
    for n, (_, start_ms, end_ms) in enumerate(bounds):
        first, last = np.searchsorted(middle_ms, [start_ms, end_ms])
        known = values[first:last][np.isfinite(values[first:last])]
        coverage[n] = min(1.0, known.size * HOUR_S * 1000 / (end_ms - start_ms))
        if known.size and coverage[n] >= least_coverage - 1e-9:
            means[n] = known.mean()
    return means, coverage
