"""A UTC day of one head as a few bytes per column: thousands of them are read in a tenth of a second."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import FloatArray, IntArray, absent_flags, absent_values

DAY_MS = 86_400_000
STEPS_PER_UNIT = 10_000.0
"""Sensors report four decimals or fewer: then a value is a whole number of these steps, in half the space."""

_NOTHING = -(2**31)
_MOST = 2**31 - 1
_TIME, _STEP, _FLOAT = np.dtype("<i4"), np.dtype("<i4"), np.dtype("<f8")
_FLAGGED = np.dtype([("row", "<i4"), ("column", "<i4"), ("flags", "<i4")])


@dataclass(frozen=True, slots=True)
class PackedDay:
    """One UTC day (numbered from 1970-01-01) of a head; None for a column in which nothing was measured.

    `times` are milliseconds since the day began. `values` are by VALUE_COLUMNS: whole steps where every value
    comes back to the last bit, else the values themselves; their length tells which. `flags` name the flagged
    only.
    """

    day: int
    count: int
    times: bytes
    values: tuple[bytes | None, ...]
    flags: bytes | None


def day_of(time_ms: int) -> int:
    """The UTC day an instant lies in, counted from 1970-01-01."""
    return time_ms // DAY_MS


def packed(
    day: int, time_ms: IntArray, values: Mapping[str, FloatArray], flags: Mapping[str, IntArray]
) -> PackedDay:
    """Pack one day's readings.

    Parameters
    ----------
    day : int
        As `day_of` numbers it; every time lies in it.
    time_ms : int array [ms since 1970], ascending
    values, flags : by VALUE_COLUMNS, arrays of the same length
        NaN where nothing was measured; flags without FROZEN, which depends on the span asked about.

    Returns
    -------
    PackedDay

    Notes
    -----
    Nothing is rounded: what does not come back exactly from steps is kept as it is.

    Examples
    --------
    >>> blank = dict.fromkeys(VALUE_COLUMNS, np.full(2, np.nan))
    >>> none = dict.fromkeys(VALUE_COLUMNS, np.zeros(2, np.int64))
    >>> air = blank | {"rh_pct": np.array([40.5, np.nan])}
    >>> one = packed(1, np.array([86_400_000, 86_400_500]), air, none)
    >>> time_ms, values, flags = unpacked([one])
    >>> time_ms.tolist(), values["rh_pct"].tolist(), one.count
    ([86400000, 86400500], [40.5, nan], 2)
    """
    flagged = [
        (row, column, int(flags[name][row]))
        for column, name in enumerate(VALUE_COLUMNS)
        for row in np.flatnonzero(flags[name]).tolist()
    ]
    return PackedDay(
        day,
        int(time_ms.size),
        (time_ms - day * DAY_MS).astype(_TIME).tobytes(),
        tuple(None if np.isnan(values[name]).all() else _bytes(values[name]) for name in VALUE_COLUMNS),
        np.array(flagged, _FLAGGED).tobytes() if flagged else None,
    )


def unpacked(days: Sequence[PackedDay]) -> tuple[IntArray, dict[str, FloatArray], dict[str, IntArray]]:
    """The days' readings one after another: times [ms since 1970], values and flags by VALUE_COLUMNS.

    Columns in which nothing was measured, or nothing is flagged, take up no memory and cannot be written to.
    """
    counts = np.array([day.count for day in days], np.int64)
    total = int(counts.sum())
    starts_ms = np.repeat(np.array([day.day for day in days], np.int64) * DAY_MS, counts)
    time_ms = np.frombuffer(b"".join([day.times for day in days]), _TIME) + starts_ms
    values = {name: _column(days, n, total) for n, name in enumerate(VALUE_COLUMNS)}
    flags = dict.fromkeys(VALUE_COLUMNS, absent_flags(total))
    if any(day.flags for day in days):
        firsts = np.cumsum(counts) - counts
        for day, first in zip(days, firsts.tolist(), strict=True):
            if day.flags:
                _set_flags(flags, np.frombuffer(day.flags, _FLAGGED), first, total)
    return time_ms, values, flags


def _bytes(values: FloatArray) -> bytes:
    known = ~np.isnan(values)
    with np.errstate(invalid="ignore", over="ignore"):
        steps = np.rint(values * STEPS_PER_UNIT)
    if (np.abs(steps[known]) <= _MOST).all():
        whole = np.where(known, steps, _NOTHING).astype(_STEP)
        # by their bits, as −0.0 equals 0.0
        if np.array_equal(_from_steps(whole)[known].view(np.int64), values[known].view(np.int64)):
            return whole.tobytes()
    return values.astype(_FLOAT).tobytes()


def _from_steps(steps: NDArray[np.int32]) -> FloatArray:
    found = steps / STEPS_PER_UNIT
    found[steps == _NOTHING] = np.nan
    return np.asarray(found, np.float64)


def _column(days: Sequence[PackedDay], number: int, total: int) -> FloatArray:
    parts = [day.values[number] for day in days]
    there = [part for part in parts if part is not None]
    if not there:
        return absent_values(total)
    if len(there) == len(parts):
        joined = b"".join(there)
        if len(joined) == total * _STEP.itemsize:
            return _from_steps(np.frombuffer(joined, _STEP))
        if len(joined) == total * _FLOAT.itemsize:
            return np.frombuffer(joined, _FLOAT).astype(np.float64)
    return np.concatenate([_part(part, day.count) for part, day in zip(parts, days, strict=True)])


def _part(part: bytes | None, count: int) -> FloatArray:
    if part is None:
        return absent_values(count)
    if len(part) == count * _STEP.itemsize:
        return _from_steps(np.frombuffer(part, _STEP))
    return np.frombuffer(part, _FLOAT)


def _set_flags(flags: dict[str, IntArray], flagged: np.ndarray, first: int, total: int) -> None:
    for column in np.unique(flagged["column"]).tolist():
        name, mine = VALUE_COLUMNS[column], flagged[flagged["column"] == column]
        if not flags[name].flags.writeable:
            flags[name] = np.zeros(total, np.int64)
        flags[name][first + mine["row"]] = mine["flags"]
