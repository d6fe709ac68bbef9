"""Readings of one head as arrays: as stored (HeadColumns) and as computed with (HeadSeries)."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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
