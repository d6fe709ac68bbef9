"""Frost: when a mix is, or may still be, frozen, by its own thermometer."""

from collections.abc import Mapping

import numpy as np

from traywarden.domain.flags import Flag
from traywarden.domain.series import BoolArray, FloatArray, IntArray, is_absent
from traywarden.domain.units import HOUR_S

LONGEST_STEP_S = 2 * HOUR_S
"""A longer stretch without a soil temperature gathers no degree-hours."""
FREEZES_C = 0.0
THAWED_C_H = 12.0
"""Degree-hours above 0 °C, since the last reading at or below it, after which the mix counts as thawed:
12 h at 1 °C or 2 h at 6 °C. No source; chosen so that it spans the January thaw of the Bondville record."""


def frozen(time_s: FloatArray, soil_temp_c: FloatArray) -> BoolArray:
    """Readings during which the mix is, or may still be, frozen.

    Parameters
    ----------
    time_s : array [s]
        Increasing.
    soil_temp_c : array [°C]
        NaN where unknown.

    Returns
    -------
    bool array

    Notes
    -----
    Frozen from a reading at or below 0 °C until THAWED_C_H degree-hours above 0 °C have gathered since
    the last such reading: the thermometer shows plus degrees long before the ice around the moisture
    sensor is gone, and a warm day thaws a tray sooner than a cool one. A reading without soil temperature
    keeps the state; a stretch of over two hours without one gathers no degree-hours.

    Examples
    --------
    >>> hours = np.arange(6.0) * 3600
    >>> frozen(hours, np.array([2.0, -1.0, 4.0, 6.0, 6.0, 6.0])).tolist()
    [False, True, True, True, False, False]
    """
    known = np.flatnonzero(~np.isnan(soil_temp_c))
    temp_c, at_s = soil_temp_c[known], time_s[known]
    cold = temp_c <= FREEZES_C
    if not cold.any():
        return np.zeros(time_s.shape, np.bool_)
    step_h = np.diff(at_s, prepend=at_s[0]) / HOUR_S
    step_h[step_h * HOUR_S > LONGEST_STEP_S] = 0.0
    warmth_c_h = np.maximum(temp_c, 0.0) * step_h
    gathered = np.cumsum(warmth_c_h)
    last_cold = np.maximum.accumulate(np.where(cold, np.arange(known.size), -1))
    since = gathered - gathered[np.maximum(last_cold, 0)]
    # Once thawed it stays thawed: `since` only grows until the next cold reading.
    state = (last_cold >= 0) & (since < THAWED_C_H)
    if known.size == time_s.size:
        return np.asarray(state)
    last_known = np.cumsum(~np.isnan(soil_temp_c)) - 1
    return np.asarray(np.where(last_known >= 0, state[np.maximum(last_known, 0)], False), np.bool_)


def with_frost(
    time_ms: IntArray, values: Mapping[str, FloatArray], flags: Mapping[str, IntArray]
) -> dict[str, IntArray]:
    """The flags of `local_flags` with FROZEN on moisture where the soil temperature says so.

    Parameters
    ----------
    time_ms : int array [ms since 1970], ascending
    values, flags : by VALUE_COLUMNS, arrays of the same length

    Returns
    -------
    dict of column name → int array of Flag
    """
    found = dict(flags)
    soil_c = values["soil_temp_c"]
    if is_absent(soil_c):
        return found
    faults = Flag.DISCONNECTED | Flag.POWER_UP_VALUE | Flag.OUT_OF_RANGE | Flag.SPIKE | Flag.CLOCK_IMPOSSIBLE
    trusted_c = soil_c
    if not is_absent(flags["soil_temp_c"]):
        trusted_c = np.where(flags["soil_temp_c"] & faults, np.nan, soil_c)
    cold = np.flatnonzero(trusted_c <= FREEZES_C)
    if not cold.size:
        return found
    near = slice(int(cold[0]), _thawed_by(time_ms, trusted_c, int(cold[-1])))
    usable = near.start + np.flatnonzero(~_impossible({name: mine[near] for name, mine in flags.items()}))
    icy = usable[frozen(time_ms[usable] / 1000.0, trusted_c[usable])]
    for name in ("moisture_v", "moisture_m3_m3"):
        wet = icy[~np.isnan(values[name][icy])]
        if wet.size:
            found[name] = found[name].copy()
            found[name][wet] |= Flag.FROZEN
    return found


def _thawed_by(time_ms: IntArray, soil_temp_c: FloatArray, cold: int) -> int:
    """Up to which reading to look for frost after the last cold one; there it has thawed beyond doubt."""
    ahead = 256
    while cold + ahead < time_ms.size:
        some = slice(cold, cold + ahead)
        known = cold + np.flatnonzero(~np.isnan(soil_temp_c[some]))
        step_h = np.diff(time_ms[known]) / (HOUR_S * 1000)
        step_h[step_h * HOUR_S > LONGEST_STEP_S] = 0.0
        warmth_c_h = np.cumsum(np.maximum(soil_temp_c[known[1:]], 0.0) * step_h)
        over = int(np.searchsorted(warmth_c_h, THAWED_C_H + 1.0))
        if over < warmth_c_h.size:
            return int(known[over + 1]) + 1
        ahead *= 8
    return int(time_ms.size)


def _impossible(flags: Mapping[str, IntArray]) -> BoolArray:
    """Readings whose clock is impossible, by the flags of what they measured."""
    found = np.zeros(next(iter(flags.values())).shape, np.bool_)
    for mine in flags.values():
        if not is_absent(mine):
            found |= (mine & Flag.CLOCK_IMPOSSIBLE) > 0
    return found
