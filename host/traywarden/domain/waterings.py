"""Waterings: where water reached a sensor, when it last did, and whether it was rain."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.alignment import interpolated
from traywarden.domain.rain import RainParams, Told, classify, together
from traywarden.domain.rises import Rises
from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import (
    DAY_S,
    DEFAULT_PARAMS,
    Seen,
    Wetting,
    WettingKind,
    WettingParams,
    by_speed,
)

__all__ = [
    "RainParams",
    "Told",
    "Wetting",
    "WettingKind",
    "WettingParams",
    "by_speed",
    "classify",
    "find_wettings",
    "frozen_mask",
    "see_wettings",
    "since_last",
    "together",
]

Floats = NDArray[np.float64]

LOOK_BACK_S = 7 * DAY_S
"""More than the days whose habit is looked at, a day of noise and a day of thaw before them."""
LEAST_BACK = 16
SETTLED_S = 7 * HOUR_S
"""What later readings can still change: temperatures are told from readings up to two windows apart."""


def frozen_mask(
    time_s: ArrayLike, soil_temp_c: ArrayLike, params: WettingParams = DEFAULT_PARAMS
) -> NDArray[np.bool_]:
    """Which instants are frozen or not yet thawed long enough for moisture to be trusted.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    soil_temp_c : array, shape (n,) [°C]; NaN where unknown
    params : `freezing_c` and `thawed_s` are used

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    Unknown temperature neither freezes nor thaws: the state before it goes on for `thawed_s`.

    References
    ----------
    Ice has a permittivity of about 3 against 80 of water, so a frozen sensor reads dry; the limits are ours.

    Examples
    --------
    >>> frozen_mask([0.0, 3600.0, 90000.0, 180000.0], [-1.0, 2.0, 3.0, 3.0]).tolist()
    [True, True, False, False]
    """
    times = np.asarray(time_s, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        cold = np.asarray(soil_temp_c, dtype=np.float64) <= params.freezing_c
    last_cold = np.maximum.accumulate(np.where(cold, times, -np.inf)) if times.size else times
    return np.asarray(times - last_cold < params.thawed_s)


def find_wettings(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    soil_temp_c: ArrayLike | None = None,
    params: WettingParams = DEFAULT_PARAMS,
) -> list[Wetting]:
    """Find where water reached the sensor.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending; spacing may vary, 5 min to 1 h is usual
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing
    soil_temp_c : array, shape (n,) [°C], optional; NaN where missing
    params : thresholds, each with its reason

    Returns
    -------
    list of Wetting, oldest first; kinds are told from speed alone (see `classify` for rain)

    Notes
    -----
    A wetting is a rise within `window_s` beyond what can be explained otherwise: warming of the soil, or a
    rise at the same time on one of the days before (the daily swing). Frozen soil, and soil thawed for less
    than `thawed_s`, is left out, so a thaw is no wetting. A median over three readings keeps out single wrong
    ones; the newest reading counts only once a second one confirms it. Everything is judged from readings up
    to the end of the rise, so later readings do not change what was found before. Without soil temperature
    and without a day of history, a rise must exceed `most_swing_m3_m3` as well; before eight readings have
    shown the sensor's noise, it must be `least_gap_rise_m3_m3`. Rises slower than `least_rise_m3_m3` per
    `window_s` are not seen, nor are small slow ones that come at the same hour every day.

    Raises
    ------
    ValueError if the arrays differ in length or times go backwards.

    References
    ----------
    Temperature effect of capacitive sensors: MethodsX 2024, doi 10.1016/j.mex.2024.103100.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 7200, 300.0)
    >>> wet = find_wettings(time_s, np.where(time_s < 3600, 0.30, 0.50))
    >>> [(w.onset_s, round(w.rise_m3_m3, 2), str(w.kind)) for w in wet]
    [(3300.0, 0.2, 'by hand from above')]
    """
    return [one.wetting for one in see_wettings(time_s, moisture_m3_m3, soil_temp_c, params)]


def see_wettings(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    soil_temp_c: ArrayLike | None = None,
    params: WettingParams = DEFAULT_PARAMS,
    seen: Sequence[Seen] = (),
) -> list[Seen]:
    """`find_wettings` that can go on where it left off.

    Parameters
    ----------
    time_s, moisture_m3_m3, soil_temp_c, params : as in `find_wettings`
    seen : what was seen in the first of these readings, all of it settled `SETTLED_S` before their end

    Returns
    -------
    list of Seen, oldest first, those given among them

    Notes
    -----
    The same comes out as of a pass over all readings: of what lies before the last wetting given, only the
    last `LOOK_BACK_S` is looked at again, which is farther than habit, noise and frost reach.

    Raises
    ------
    ValueError if the arrays differ in length or times go backwards.

    References
    ----------
    As in `find_wettings`.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 20 * 86400, 600.0)
    >>> moisture = np.where(time_s < 864000, 0.30, 0.50) - 0.01 * (time_s % 864000) / 864000
    >>> seen = see_wettings(time_s, moisture)
    >>> see_wettings(time_s, moisture, seen=seen) == seen
    True
    """
    times, moisture, temps = _checked(time_s, moisture_m3_m3, soil_temp_c)
    first = 0
    if seen:
        first = int(np.searchsorted(times, times[seen[-1].after - 1] - LOOK_BACK_S))
    found = _seen_from(first, times, moisture, temps, params, seen)
    if found is None:  # too few readings to know the noise from
        found = _seen_from(0, times, moisture, temps, params, seen)
    assert found is not None
    return [*seen, *found]


def _seen_from(
    first: int,
    times: Floats,
    moisture: Floats,
    temps: Floats | None,
    params: WettingParams,
    seen: Sequence[Seen],
) -> list[Seen] | None:
    """Wettings after those seen, from readings number `first` on; None where those are too few."""
    ever_temps = temps is not None
    times, moisture = times[first:], moisture[first:]
    warm = np.full(times.size, True)
    if temps is not None:
        warm = ~frozen_mask(times, temps[first:], params)
        temps = interpolated(times, temps[first:], times, 2 * params.window_s)
    kept = np.flatnonzero(np.isfinite(moisture) & warm)
    start = int(np.searchsorted(kept, seen[-1].after - first)) if seen else 0
    if first and start < LEAST_BACK:
        return None
    # Frozen stretches part the record: no level before one is compared with a level after it.
    frost_count = np.cumsum(~warm)[kept]
    kept_temps = None if temps is None else temps[kept]
    scan = Rises(times[kept], moisture[kept], kept_temps, frost_count, params, ever_temps=ever_temps)
    return scan.wettings(start, seen, kept + first)


def since_last(events: Sequence[Wetting], now_s: float) -> float | None:
    """How long ago the last wetting began [s]; None if none is known at that instant.

    Parameters
    ----------
    events : sequence of Wetting, any order
    now_s : float [s] since 1970

    Returns
    -------
    float [s] or None

    Notes
    -----
    Wettings after `now_s` are not looked at, so the past can be asked.

    References
    ----------
    None needed: a difference of two times.

    Examples
    --------
    >>> since_last([], 0.0) is None
    True
    """
    past = [e.onset_s for e in events if e.onset_s <= now_s]
    return now_s - max(past) if past else None


def _checked(
    time_s: ArrayLike, moisture_m3_m3: ArrayLike, soil_temp_c: ArrayLike | None
) -> tuple[Floats, Floats, Floats | None]:
    times = np.asarray(time_s, dtype=np.float64)
    moisture = np.asarray(moisture_m3_m3, dtype=np.float64)
    temps = None if soil_temp_c is None else np.asarray(soil_temp_c, dtype=np.float64)
    if times.ndim != 1 or times.shape != moisture.shape or (temps is not None and temps.shape != times.shape):
        raise ValueError("time, moisture and soil temperature must be one-dimensional and equally long")
    if np.any(np.diff(times) < 0):
        raise ValueError("times must ascend")
    if temps is not None and not np.isfinite(temps).any():
        temps = None
    return times, moisture, temps
