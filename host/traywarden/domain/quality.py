"""Finding faults in readings: our flags, built on the QARTOD tests with our own limits and conditions."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from traywarden.domain.flags import Flag
from traywarden.domain.frost import with_frost
from traywarden.domain.qartod import FAIL, SUSPECT, flat_line, gross_range, rate_of_change, spike
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS
from traywarden.domain.series import (
    BoolArray,
    FloatArray,
    HeadColumns,
    IntArray,
    absent_flags,
    is_absent,
)
from traywarden.domain.units import HOUR_S


@dataclass(frozen=True, slots=True)
class Limits:
    """What one column may do. None: not tested for that column."""

    column: str
    lowest: float
    highest: float
    spike: float | None = None
    change_per_min: float | None = None
    stuck_s: float | None = None
    stuck_span: float | None = None
    source: str = ""


# fmt: off
LIMITS: tuple[Limits, ...] = (
    Limits(
        "soil_temp_c", -50.0, 80.0, 5.0, 0.5, 24 * HOUR_S, 0.02,
        "−50 °C: WMO soil range; 80 °C: WMO ground surface (from memory of WMO-No. 8), for bare dry soil was "
        "recorded at 63 °C (NEON SJER, June 2022). 0.5 °C/min: suspect change at 5–20 cm, same. "
        "Spike and stuck: common practice, no source.",
    ),
    Limits(
        "air_temp_c", -50.0, 70.0, 8.0, 3.0, 6 * HOUR_S, 0.05,
        "−50 °C and 3 °C/min: WMO guideline on QC of automatic stations (Zahumenský 2004). Its +50 °C is for "
        "a screen in the open; a shut frame in the sun goes above, so 70 °C. Spike, stuck: no source.",
    ),
    Limits(
        "rh_pct", 0.0, 120.0, 25.0, 15.0, 6 * HOUR_S, 0.5,
        "0 % and 15 %/min: same guideline. Above 100 % is kept and used as 100 (as ZAMG does up to 104 %); "
        "120 % is as far as an SHT4x can read (119 %). Spike, stuck: no source.",
    ),
    Limits(
        "moisture_m3_m3", -0.2, 1.2, 0.10, None, None, None,
        "0…1 by nature; 0.2 beyond for a two-point line that overshoots, as a dry tray must not go blind. "
        "Spike: 10 % jump, research practice (Sci. Data 2025). No change test: watering is faster than any; "
        "no stuck test: sensors that report in 0.01 rest on one step for days.",
    ),
    Limits(
        "moisture_v", 0.1, 5.0, 0.25, None, 24 * HOUR_S, 0.001,
        "0 V is a loose wire, 5 V the highest supply; 0.25 V is about 0.10 m³/m³ by the default calibration. "
        "An ADC that repeats itself to the millivolt for a day is not measuring. No source.",
    ),
    Limits("battery_v", 0.0, 30.0, source="a 24 V lead-acid battery on charge is the highest; no source"),
    Limits("rain_mm", 0.0, 310.0, source="the most ever recorded in an hour was about 305 mm; from memory"),
)
# fmt: on
LIMITS_OF = {row.column: row for row in LIMITS}

NEWER_THAN_RECEIVED_MS = 10 * 60 * 1000
"""How far a probe's clock may run ahead of ours before its time is called impossible."""
SPIKE_NEIGHBOUR_S = 2 * HOUR_S
"""A neighbour farther away than this proves no spike: the weather had time to change and change back."""
POWER_UP_C, POWER_UP_NEAR_C = 85.0, 5.0
DISCONNECTED_C = -127.0
LEAST_STUCK = 3
"""Readings that a stuck sensor's window must hold: fewer repeat themselves by chance, and one always does (no
source; the flat line test by itself takes a window shorter than the readings' step as one flat reading)."""
_SAME = 0.005  # sensors report 85 and −127 exactly; half a hundredth allows for text rounding


def clock_impossible(columns: HeadColumns, earliest_ms: int) -> BoolArray:
    """Readings dated later than ten minutes after they were received, or before earliest_ms.

    Parameters
    ----------
    columns : HeadColumns
    earliest_ms : int [ms since 1970]

    Returns
    -------
    bool array

    Notes
    -----
    Readings from files (boot == BOOT_IMPORTED) may be as old as they like. The host's own clock is taken to
    have been right when the reading arrived.
    """
    ahead = columns.time_ms > columns.received_ms + NEWER_THAN_RECEIVED_MS
    before = (columns.time_ms < earliest_ms) & (columns.boot != BOOT_IMPORTED)
    return np.asarray(ahead | before)


def power_up_values(temp_c: FloatArray) -> BoolArray:
    """Readings of exactly 85 °C whose nearest other readings, if any, are all over 5 °C away.

    Parameters
    ----------
    temp_c : array [°C]
        In order of time; NaN is passed over.

    Returns
    -------
    bool array

    Notes
    -----
    The DS18B20 holds +85.0 °C until its first conversion. A mix that truly passes 85 °C passes 84 too; the
    hottest soil in the records these flags were tried on is at 63 °C.

    References
    ----------
    DS18B20 datasheet, table “Temperature/Data Relationship”: 0x0550, power-on value.
    """
    suspects = np.abs(temp_c - POWER_UP_C) < _SAME
    others = np.flatnonzero(~suspects & ~np.isnan(temp_c))
    if not suspects.any() or others.size == 0:
        return np.asarray(suspects)
    place = np.searchsorted(others, np.flatnonzero(suspects))
    nearest = np.full(place.shape, np.inf)
    for side, exists in ((place - 1, place > 0), (place, place < others.size)):
        away = np.abs(temp_c[others[np.clip(side, 0, others.size - 1)]] - POWER_UP_C)
        nearest = np.where(exists, np.minimum(nearest, away), nearest)
    found = suspects.copy()
    found[suspects] = nearest > POWER_UP_NEAR_C
    return found


def lone_spikes(time_s: FloatArray, values: FloatArray, limit: float) -> BoolArray:
    """Values that jump by more than the limit and come back at the next reading.

    Parameters
    ----------
    time_s : array [s], ascending
    values : array, any unit, without NaN
    limit : float in the unit of the values

    Returns
    -------
    bool array

    Notes
    -----
    The QARTOD differential spike test, with two conditions more: both neighbours lie within
    SPIKE_NEIGHBOUR_S, and they differ by less than half the jump. So the first reading after a watering,
    before the surplus drains, is no spike: what follows it stays higher than what went before.
    """
    if not (np.abs(np.diff(values)) > limit).any():  # as a rule: nothing jumps, and it costs a fifth
        return np.zeros(values.shape, np.bool_)
    found = spike(values, limit, limit, "differential") == FAIL
    if values.size >= 3:
        before, here, after = values[:-2], values[1:-1], values[2:]
        jump = np.minimum(np.abs(here - before), np.abs(here - after))
        close = np.maximum(np.diff(time_s)[:-1], np.diff(time_s)[1:]) <= SPIKE_NEIGHBOUR_S
        found[1:-1] &= close & (np.abs(after - before) < jump / 2)
    return np.asarray(found)


def flag_values(column: str, time_s: FloatArray, values: FloatArray) -> IntArray:
    """Flags of one column from its values alone (no clock, no frost); 0 for NaN.

    Parameters
    ----------
    column : str
        One of VALUE_COLUMNS.
    time_s : array [s], ascending
    values : array in the unit of the column
        NaN where nothing was measured.

    Returns
    -------
    int array of Flag

    Notes
    -----
    Faults are found in this order, and a value already out of the question is no neighbour to the next
    test: a disconnected sensor does not make spikes of the readings around it.
    """
    limits = LIMITS_OF[column]
    flags = np.zeros(values.shape, np.int64)
    good = ~np.isnan(values)
    if column in ("soil_temp_c", "air_temp_c"):
        gone = good & (np.abs(values - DISCONNECTED_C) < _SAME)
        flags[gone] |= Flag.DISCONNECTED
        good &= ~gone
        fresh = power_up_values(np.where(good, values, np.nan))
        flags[fresh] |= Flag.POWER_UP_VALUE
        good &= ~fresh
    out = good & (gross_range(values, (limits.lowest, limits.highest)) == FAIL)
    flags[out] |= Flag.OUT_OF_RANGE
    good &= ~out
    if column == "rh_pct":
        flags[good & (values > 100.0)] |= Flag.HUMIDITY_ABOVE_100

    def _mark(flag: Flag, find: Callable[[FloatArray, FloatArray], BoolArray]) -> None:
        where = np.flatnonzero(good)
        flags[where[find(time_s[where], values[where])]] |= flag

    if limits.spike is not None:
        size = limits.spike
        _mark(Flag.SPIKE, lambda t, v: lone_spikes(t, v, size))
        good &= (flags & Flag.SPIKE) == 0
    if limits.change_per_min is not None:
        per_s = limits.change_per_min / 60.0
        _mark(Flag.FAST_CHANGE, lambda t, v: rate_of_change(t, v, per_s) == SUSPECT)
    if limits.stuck_s is not None and limits.stuck_span is not None:
        long_s, span = limits.stuck_s, limits.stuck_span
        _mark(Flag.STUCK, lambda t, v: _stuck(t, v, long_s, span))
    return flags


def _stuck(time_s: FloatArray, values: FloatArray, long_s: float, span: float) -> BoolArray:
    if time_s.size < LEAST_STUCK or long_s < (LEAST_STUCK - 1) * float(np.median(np.diff(time_s))):
        return np.zeros(values.shape, np.bool_)
    return np.asarray(flat_line(time_s, values, long_s, long_s, span) == FAIL)


def flag_columns(columns: HeadColumns, *, earliest_ms: int) -> dict[str, IntArray]:
    """Flags of every value column of a head.

    Parameters
    ----------
    columns : HeadColumns
        Sorted by time; give some hours before the span of interest, as frost and stuck look back.
    earliest_ms : int [ms since 1970]
        An earlier time is impossible, save for readings from files.

    Returns
    -------
    dict of column name → int array of Flag
        0 where nothing is wrong or nothing was measured.

    Notes
    -----
    A reading whose clock is impossible is no neighbour to any test. FROZEN is set on the moisture columns
    where the same head's soil temperature says so; a head without soil temperature is never called frozen.
    """
    impossible = clock_impossible(columns, earliest_ms)
    return with_frost(
        columns.time_ms, columns.values, local_flags(columns.time_ms, columns.values, impossible)
    )


def local_flags(
    time_ms: IntArray, values: Mapping[str, FloatArray], impossible: BoolArray
) -> dict[str, IntArray]:
    """Flags that hang on the readings near by alone: all but FROZEN, which may hold for days.

    Parameters
    ----------
    time_ms : int array [ms since 1970], ascending
    values : by VALUE_COLUMNS, arrays of the same length
    impossible : bool array
        As `clock_impossible` found them.

    Returns
    -------
    dict of column name → int array of Flag

    Notes
    -----
    Of a day, they are found from that day, LOOK_BACK_MS before it and LOOK_AHEAD_MS after it.
    """
    usable = slice(None) if not impossible.any() else np.flatnonzero(~impossible)
    time_s = time_ms[usable] / 1000.0
    flags: dict[str, IntArray] = {}
    for name in VALUE_COLUMNS:
        column = values[name]
        if is_absent(column) or np.isnan(column).all():
            flags[name] = absent_flags(column.size)
            continue
        mine = np.zeros(column.shape, np.int64)
        mine[usable] = flag_values(name, time_s, column[usable])
        mine[impossible & ~np.isnan(column)] = Flag.CLOCK_IMPOSSIBLE
        flags[name] = mine
    return flags
