"""Which stamps of a series a file has given already, and with which values; kept on disk, not in memory."""

import tempfile
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class Split(NamedTuple):
    """Rows of a chunk by what they bring: `fresh` ones are kept; the others' stamp came before."""

    fresh: NDArray[np.bool_]
    same: NDArray[np.int64]
    other: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Part:
    first_ms: int
    last_ms: int
    start: int
    rows: int


class SeenRows:
    """Stamps and values of the rows kept so far.

    A file that runs forward never asks back, and is only noted (8 bytes for the stamp and 8 for each value,
    in a temporary file); memory holds one small entry for each chunk.
    """

    def __init__(self, width: int) -> None:
        self._width = width
        self._parts: list[_Part] = []
        self._file = tempfile.TemporaryFile(prefix="traywarden-import-")  # noqa: SIM115  closed in close()

    def close(self) -> None:
        self._file.close()

    def split(self, time_ms: IntArray, values: FloatArray) -> Split:
        """Tell rows (`values` has one row each, NaN = missing) that repeat an earlier stamp from fresh ones.

        A row that only fills what the earlier one lacked is fresh; one that says the same, or nothing, is
        `same`; one that says otherwise is `other`.
        """
        fresh = np.ones(len(time_ms), dtype=bool)
        if len(time_ms) == 0:
            return Split(fresh, np.empty(0, np.int64), np.empty(0, np.int64))
        steps = np.diff(time_ms)
        low, high = int(time_ms.min()), int(time_ms.max())
        overlapping = [part for part in self._parts if part.first_ms <= high and part.last_ms >= low]
        same: list[int] = []
        other: list[int] = []
        if overlapping or not ((steps > 0).all() or (steps < 0).all()):
            known = self._known(overlapping, time_ms)
            for row, (stamp, now) in enumerate(zip(time_ms.tolist(), values, strict=True)):
                before = known.get(stamp)
                if before is None:
                    known[stamp] = now.copy()
                    continue
                both = ~np.isnan(before) & ~np.isnan(now)
                if (before[both] != now[both]).any():
                    other.append(row)
                elif not (np.isnan(before) & ~np.isnan(now)).any():
                    same.append(row)
                else:
                    known[stamp] = np.where(np.isnan(before), now, before)
            fresh[same + other] = False
        self._note(time_ms[fresh], values[fresh])
        return Split(fresh, np.array(same, dtype=np.int64), np.array(other, dtype=np.int64))

    def _note(self, time_ms: IntArray, values: FloatArray) -> None:
        if len(time_ms) == 0:
            return
        start = self._file.seek(0, 2)
        self._file.write(np.ascontiguousarray(time_ms).tobytes())
        self._file.write(np.ascontiguousarray(values).tobytes())
        self._parts.append(_Part(int(time_ms.min()), int(time_ms.max()), start, len(time_ms)))

    def _known(self, parts: list[_Part], wanted_ms: IntArray) -> dict[int, FloatArray]:
        """Values noted for any of the wanted stamps; of several notes the earlier stands."""
        wanted = np.unique(wanted_ms)
        known: dict[int, FloatArray] = {}
        for part in parts:
            self._file.seek(part.start)
            times = np.frombuffer(self._file.read(8 * part.rows), dtype=np.int64)
            values = np.frombuffer(self._file.read(8 * part.rows * self._width), dtype=np.float64)
            values = values.reshape(part.rows, self._width)
            for row in np.flatnonzero(np.isin(times, wanted)):
                stamp = int(times[row])
                before = known.get(stamp)
                known[stamp] = (
                    values[row] if before is None else np.where(np.isnan(before), values[row], before)
                )
        return known
