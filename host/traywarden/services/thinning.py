"""Long series made short enough to draw: what stands out stays, and a gap stays a gap."""

import numpy as np
from tsdownsample import MinMaxLTTBDownsampler

from traywarden.domain.series import FloatArray, IntArray

MOST_POINTS = 1_000
"""More than a chart of 640 dots across can show."""
_LEAST = 4
_downsampler = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]


def thinned(
    time_s: FloatArray, values: FloatArray, longest_gap_s: float, most: int = MOST_POINTS
) -> list[IntArray]:
    """Which points of a series to draw, unbroken stretch by unbroken stretch.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    values : array, shape (n,); none is NaN
    longest_gap_s : float [s]
        Points farther apart are not joined by a line.
    most : int
        About so many points in all; the lowest and the highest are always among them.

    Returns
    -------
    list of arrays of int
        Positions in the arrays, ascending; one array for each stretch.

    Notes
    -----
    Each stretch is thinned by itself, by MinMaxLTTB, to its share of the points. Where the stretches alone
    are too many, shorter gaps are joined until they fit.

    References
    ----------
    Van Der Donckt et al. 2023, MinMaxLTTB, arXiv:2305.00332.
    """
    if not time_s.size:
        return []
    steps_s = np.diff(time_s)
    gap_s = longest_gap_s
    while (steps_s > gap_s).sum() >= max(most // (2 * _LEAST), 1):
        gap_s *= 2
    parts = np.split(np.arange(time_s.size), np.flatnonzero(steps_s > gap_s) + 1)
    spare = most - _LEAST * len(parts)
    return [_thinned(part, time_s, values, _LEAST + spare * part.size // time_s.size) for part in parts]


def _thinned(part: IntArray, time_s: FloatArray, values: FloatArray, most: int) -> IntArray:
    if part.size <= most:
        return part
    kept = _downsampler.downsample(time_s[part], values[part], n_out=most)
    extremes = (int(values[part].argmin()), int(values[part].argmax()))
    return part[np.union1d(kept.astype(np.int64), extremes)]
