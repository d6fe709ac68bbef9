"""Where a series of moisture dries: the stretches between wettings, frost and gaps."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.units import HOUR_S
from traywarden.domain.waterings import frozen_mask
from traywarden.domain.wetting import Wetting

END_OF_READINGS = "end of readings"


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Which readings of a series make up one stretch, and what came right after it."""

    readings: NDArray[np.int64]
    ended_by: str


def stretches(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    wettings: Sequence[Wetting],
    soil_temp_c: ArrayLike | None = None,
    *,
    drain_s: float = HOUR_S,
    longest_gap_s: float = 12 * HOUR_S,
) -> list[Stretch]:
    """Every stretch between wettings, frost and gaps.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing
    wettings : as `find_wettings` gave them
    soil_temp_c : array, shape (n,) [°C], optional; frozen soil and a day after it end a stretch
    drain_s : float [s], as `DryDownParams.drain_s`
    longest_gap_s : float [s], as `DryDownParams.longest_gap_s`

    Returns
    -------
    list of Stretch, oldest first

    Notes
    -----
    A stretch begins `drain_s` after a wetting's peak (or with the first trusted reading) and ends with the
    last reading before the next onset, before frost, or before a gap longer than `longest_gap_s`.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    As in `DryDownParams`.

    Examples
    --------
    >>> [one] = stretches(np.arange(0, 5 * 86400, 3600.0), np.linspace(0.6, 0.2, 120), [])
    >>> one.readings.size, one.ended_by
    (120, 'end of readings')
    """
    times, moisture = np.asarray(time_s, dtype=np.float64), np.asarray(moisture_m3_m3, dtype=np.float64)
    if times.shape != moisture.shape or times.ndim != 1:
        raise ValueError("time and moisture must be one-dimensional and equally long")
    warm = np.full(times.size, True) if soil_temp_c is None else ~frozen_mask(times, soil_temp_c)
    # A reading belongs to a stretch by how many wettings have peaked and begun before it.
    onsets = np.array(sorted(w.onset_s for w in wettings))
    drained = np.array(sorted(w.peak_s for w in wettings)) + drain_s
    begun = np.searchsorted(onsets, times, side="left")
    over = np.searchsorted(drained, times, side="right")
    kept = np.flatnonzero(np.isfinite(moisture) & warm & (begun == over))
    if kept.size == 0:
        return []
    frost = np.cumsum(~warm)[kept]
    apart = (np.diff(begun[kept]) != 0) | (np.diff(frost) != 0) | (np.diff(times[kept]) > longest_gap_s)
    edges = np.concatenate(([0], np.flatnonzero(apart) + 1, [kept.size]))
    return [
        Stretch(kept[first:last], _ended_by(kept, last, begun, warm))
        for first, last in pairwise(edges.tolist())
    ]


def _ended_by(kept: NDArray[np.int64], last: int, begun: NDArray[np.int64], warm: NDArray[np.bool_]) -> str:
    """What came right after the stretch whose end is `kept[last - 1]`."""
    at = kept[last - 1]
    if not warm[at : (kept[last] if last < kept.size else warm.size)].all():
        return "frost"
    if np.any(begun[at:] > begun[at]):
        if last == kept.size or begun[kept[last]] > begun[at]:
            return "wetting"
        return "gap"
    return END_OF_READINGS if last == kept.size else "gap"
