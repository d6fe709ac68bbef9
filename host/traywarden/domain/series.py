"""Readings of one head as arrays: as stored (HeadColumns) and as computed with (HeadSeries)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.flags import LEFT_OUT
from traywarden.domain.kept import Kept

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_NAN, _ZERO = np.float64(np.nan).tobytes(), np.int64(0).tobytes()
SERIES_COLUMNS = ("soil_temp_c", "moisture_m3_m3", "air_temp_c", "rh_pct", "rain_mm", "battery_v")


@dataclass(frozen=True, slots=True)
class HeadColumns:
    """What one head measured, as stored: one array per column, sorted by time, NaN where it measured nothing.

    Times are milliseconds since 1970-01-01T00:00Z; `values` has one float array for every VALUE_COLUMN.
    """

    label: str
    time_ms: IntArray
    received_ms: IntArray
    boot: IntArray
    sequence: IntArray
    values: Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class FlaggedColumns:
    """What one head measured, as stored, with the flags of every VALUE_COLUMN save FROZEN; sorted by time."""

    label: str
    time_ms: IntArray
    values: Mapping[str, FloatArray]
    flags: Mapping[str, IntArray]

    def between(self, start_ms: int, end_ms: int) -> "FlaggedColumns":
        """The part measured from start_ms (inclusive) to end_ms (exclusive)."""
        first, last = (int(i) for i in np.searchsorted(self.time_ms, [start_ms, end_ms]))
        cut = slice(first, last)
        return FlaggedColumns(
            self.label,
            self.time_ms[cut],
            {name: values[cut] for name, values in self.values.items()},
            {name: flags[cut] for name, flags in self.flags.items()},
        )


def absent_values(count: int) -> FloatArray:
    """So many NaN in the memory of one: a column in which nothing was measured. It cannot be written to."""
    return np.ndarray(count, np.float64, _NAN, strides=(0,))


def absent_flags(count: int) -> IntArray:
    """So many zeros in the memory of one: a column in which nothing is flagged. It cannot be written to."""
    return np.ndarray(count, np.int64, _ZERO, strides=(0,))


def is_absent(values: FloatArray | IntArray) -> bool:
    """Whether a column is made by one of the above, so that nothing need be looked for in it."""
    return values.size == 0 or (values.strides == (0,) and not values[0] > 0 and not values[0] < 0)


@dataclass(frozen=True, slots=True, eq=False)
class HeadSeries:
    """What one head measured, calibrated and flagged, sorted by time; NaN where it measured nothing.

    `moisture_calibrated` is false when any moisture here rests on the default calibration.
    `flags` has one integer array per column of SERIES_COLUMNS (see domain/flags.py). `breaks_s` are the
    instants from which its moisture is not to be compared with what it read before: the tray was filled
    anew, the head calibrated anew, or put elsewhere and back. `kept` is what was worked out before from
    readings of this head, if anything remembers it.
    """

    label: str
    time_s: FloatArray
    soil_temp_c: FloatArray
    moisture_m3_m3: FloatArray
    moisture_calibrated: bool
    air_temp_c: FloatArray
    rh_pct: FloatArray
    rain_mm: FloatArray
    battery_v: FloatArray
    flags: Mapping[str, IntArray]
    breaks_s: tuple[float, ...] = ()
    kept: Kept | None = None

    def values(self, column: str) -> FloatArray:
        """Every stored value of a column of SERIES_COLUMNS, faults included."""
        array: FloatArray = getattr(self, column)
        return array

    def clean(self, column: str) -> FloatArray:
        """Every value of a column, NaN where it bears a LEFT_OUT flag; relative humidity capped at 100 %."""
        values, flags = self.values(column), self.flags[column]
        if not is_absent(flags):
            values = np.where((flags & LEFT_OUT) == 0, values, np.nan)
        return np.minimum(values, 100.0) if column == "rh_pct" and not is_absent(values) else values

    def used(self, column: str) -> tuple[FloatArray, FloatArray]:
        """Times [s] and values of one column that computation may use.

        Readings that hold no such value or bear a LEFT_OUT flag are dropped; relative humidity is
        capped at 100 %.
        """
        values = self.clean(column)
        kept = ~np.isnan(values)
        return self.time_s[kept], values[kept]

    def between(self, start_s: float, end_s: float) -> "HeadSeries":
        """The part measured from start_s (inclusive) to end_s (exclusive)."""
        first, last = (int(i) for i in np.searchsorted(self.time_s, [start_s, end_s]))
        cut = slice(first, last)
        return HeadSeries(
            self.label,
            self.time_s[cut],
            self.soil_temp_c[cut],
            self.moisture_m3_m3[cut],
            self.moisture_calibrated,
            self.air_temp_c[cut],
            self.rh_pct[cut],
            self.rain_mm[cut],
            self.battery_v[cut],
            {name: flags[cut] for name, flags in self.flags.items()},
            tuple(at_s for at_s in self.breaks_s if start_s < at_s < end_s),
            self.kept,
        )

    def unbroken(self) -> list["HeadSeries"]:
        """The series cut at its breaks, oldest first; parts without any reading are left out."""
        edges = [-np.inf, *self.breaks_s, np.inf]
        parts = [self.between(start_s, end_s) for start_s, end_s in pairwise(edges)]
        return [part for part in parts if part.time_s.size]


def together(series: Sequence[HeadSeries], column: str) -> tuple[FloatArray, FloatArray]:
    """One series from the heads of one tray or place: the mean of what they measured at a time.

    Parameters
    ----------
    series : sequence of HeadSeries
    column : str
        One of SERIES_COLUMNS.

    Returns
    -------
    (array [s], array)
        Times, increasing, and values in the unit of the column.

    Notes
    -----
    One head comes back as it is. Several are averaged in steps as wide as the slowest head's usual
    interval, each head counting once per step however often it measured; a head that is silent in a step
    does not count in it. Left-out readings are dropped first.
    """
    used = [pair for head in series if (pair := head.used(column))[0].size]
    if not used:
        return np.empty(0), np.empty(0)
    if len(used) == 1:
        return used[0]
    step_s = max((float(np.median(np.diff(t))) for t, _ in used if t.size > 1), default=0.0)
    step_s = max(step_s, 60.0)
    by_head = [_by_step(time_s, values, step_s) for time_s, values in used]
    steps = np.unique(np.concatenate([mine for mine, _, _ in by_head]))
    times, sums, heads = np.zeros(steps.size), np.zeros(steps.size), np.zeros(steps.size)
    for mine, at_s, means in by_head:
        where = np.searchsorted(steps, mine)
        times[where] += at_s
        sums[where] += means
        heads[where] += 1.0
    return times / heads, sums / heads


def _by_step(
    time_s: FloatArray, values: FloatArray, step_s: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    """The steps one head measured in, each once, and its mean time [s] and value in them."""
    steps = (time_s // step_s).astype(np.int64)
    fresh = np.diff(steps, prepend=steps[0] - 1) != 0
    where = np.cumsum(fresh) - 1
    count = np.bincount(where)
    return steps[fresh], np.bincount(where, time_s) / count, np.bincount(where, values) / count
