"""Recorded readings played through a broker as a probe would send them, from a file or from the store."""

import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.readings import VALUE_COLUMNS, Reading
from traywarden.errors import BrokerError, ShortOfDataError, UnknownNameError
from traywarden.links.publisher import ProbePublisher
from traywarden.services.feeds import Tally, head_chunks
from traywarden.services.findings import Findings
from traywarden.services.mapping import Mapping
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_SLAB_INSTANTS = 600
_MOST_HELD = 6_000


@dataclass(frozen=True, slots=True)
class Recording:
    """What one probe measured: `heads[number][column]` has a value (or NaN) for each of `time_ms`.

    Instants are sorted and unique; `sequence` numbers them within the whole recording, so that a part of it
    that is played again is known again.
    """

    time_ms: IntArray
    sequence: IntArray
    heads: dict[int, dict[str, FloatArray]]
    boot: int

    def between(self, start_ms: int | None, end_ms: int | None) -> "Recording":
        """The part measured from start_ms (inclusive) to end_ms (exclusive); None leaves that side open."""
        first = 0 if start_ms is None else int(np.searchsorted(self.time_ms, start_ms))
        last = len(self.time_ms) if end_ms is None else int(np.searchsorted(self.time_ms, end_ms))
        cut = slice(first, last)
        heads = {n: {name: array[cut] for name, array in c.items()} for n, c in self.heads.items()}
        return Recording(self.time_ms[cut], self.sequence[cut], heads, self.boot)

    def ending_at(self, end_ms: int) -> "Recording":
        """The same readings moved in time, so that the last one falls on `end_ms`."""
        moved_ms = self.time_ms + (end_ms - int(self.time_ms[-1])) if len(self.time_ms) else self.time_ms
        return Recording(moved_ms, self.sequence, self.heads, _boot(moved_ms))

    def instants(self, probe: str, start: int, end: int) -> list[Reading]:
        """Readings of the instants numbered [start, end) here, in order of time and head."""
        rows: list[Reading] = []
        times = self.time_ms[start:end].tolist()
        sequences = self.sequence[start:end].tolist()
        for head, columns in sorted(self.heads.items()):
            arrays = [
                columns[name][start:end].tolist() if name in columns else None for name in VALUE_COLUMNS
            ]
            for row, (time_ms, sequence) in enumerate(zip(times, sequences, strict=True)):
                values = [None if a is None or a[row] != a[row] else a[row] for a in arrays]
                if any(value is not None for value in values):
                    rows.append(Reading(probe, head, self.boot, sequence, time_ms, time_ms, *values))
        return sorted(rows, key=lambda reading: (reading.sequence, reading.head))


@dataclass(frozen=True, slots=True)
class ReplayResult:
    """What was played; every instant counted here is stored, by the host's own receipt."""

    probe: str
    boot: int
    instants: int
    readings: int
    packs: int
    first_ms: int
    last_ms: int
    seconds: float


def recording_from_file(path: Path, mapping: Mapping, findings: Findings, tally: Tally) -> Recording:
    """All readings of a logger file. Raises as `feeds.head_chunks` does; ShortOfDataError for none."""
    parts: dict[int, list[tuple[IntArray, dict[str, FloatArray]]]] = {}
    with closing(head_chunks(path, mapping, findings, tally)) as chunks:
        for chunk in chunks:
            parts.setdefault(chunk.head, []).append((chunk.time_ms, chunk.values))
    return _joined(parts, f"{path} holds no reading that its mapping takes")


def recording_from_store(tx: Tx, probe: str, start_ms: int, end_ms: int) -> Recording:
    """What the store holds of a probe in [start_ms, end_ms). Of two values at one time the first stands.

    Raises UnknownNameError for a probe never heard of, ShortOfDataError when there is nothing in the span.
    """
    heads = [head for head in probe_store.heads(tx) if head.probe == probe]
    if not heads:
        raise UnknownNameError("probe", probe, [known.name for known in probe_store.probes(tx)])
    parts: dict[int, list[tuple[IntArray, dict[str, FloatArray]]]] = {}
    for head in heads:
        found = reading_store.columns(tx, head.head_id, start_ms, end_ms)
        values = {name: array for name, array in found.values.items() if not np.isnan(array).all()}
        if values:
            parts[head.number] = [(found.time_ms, values)]
    return _joined(parts, f"The store holds no reading of {probe} in that span")


def _joined(parts: dict[int, list[tuple[IntArray, dict[str, FloatArray]]]], nothing: str) -> Recording:
    stamps = [times for pieces in parts.values() for times, _ in pieces]
    time_ms = np.unique(np.concatenate(stamps)) if stamps else np.empty(0, dtype=np.int64)
    if len(time_ms) == 0:
        raise ShortOfDataError(f"{nothing}; there is nothing to replay.")
    heads: dict[int, dict[str, FloatArray]] = {}
    for number, pieces in parts.items():
        columns = heads.setdefault(number, {})
        for times, values in pieces:
            places = np.searchsorted(time_ms, times)
            for name, array in values.items():
                target = columns.setdefault(name, np.full(len(time_ms), np.nan))
                # From the last to the first, so that of two values at one time the first stands.
                free = np.isnan(target[places]) & ~np.isnan(array)
                target[places[free][::-1]] = array[free][::-1]
    return Recording(time_ms, np.arange(1, len(time_ms) + 1), heads, _boot(time_ms))


def _boot(time_ms: IntArray) -> int:
    """A boot number that the same recording gets each time, and another recording hardly ever."""
    return zlib.crc32(str(int(time_ms[0])).encode()) if len(time_ms) else 0


def play(
    recording: Recording,
    publisher: ProbePublisher,
    probe: str,
    *,
    speed: float,
    clock_s: Callable[[], float],
    sleep: Callable[[float], None],
    patience_s: float = 60.0,
    progress: Callable[[int], None] | None = None,
) -> ReplayResult:
    """Publish a recording through a connected publisher and wait until the host has receipted all of it.

    `speed` 0 goes as fast as receipts come; otherwise so many times faster than it was measured. `clock_s`
    and `sleep` are the real ones or a test's. `progress` is told how many instants are receipted.

    Raises BrokerError when no receipt comes for `patience_s`.
    """
    total = len(recording.time_ms)
    if total == 0:
        raise ShortOfDataError("There is no reading in that span; there is nothing to replay.")
    began_s, readings = clock_s(), 0
    for start, end in _slabs(recording.time_ms, speed):
        if speed > 0:
            due_s = began_s + (int(recording.time_ms[start]) - int(recording.time_ms[0])) / 1000 / speed
            sleep(max(0.0, due_s - clock_s()))
        rows = recording.instants(probe, start, end)
        readings += len(rows)
        publisher.send(rows)
        _receipted(publisher, _MOST_HELD, patience_s, progress)
    _receipted(publisher, 1, patience_s, progress)
    return ReplayResult(
        probe,
        recording.boot,
        total,
        readings,
        publisher.packs_sent,
        int(recording.time_ms[0]),
        int(recording.time_ms[-1]),
        clock_s() - began_s,
    )


def _slabs(time_ms: IntArray, speed: float) -> Iterator[tuple[int, int]]:
    """Stretches of instants to hand over together: at a given speed those due within 50 ms."""
    start, total = 0, len(time_ms)
    while start < total:
        end = start + _SLAB_INSTANTS
        if speed > 0:
            end = min(end, int(np.searchsorted(time_ms, time_ms[start] + max(1, round(50 * speed)))))
        yield start, min(end, total)
        start = end


def _receipted(
    publisher: ProbePublisher, most_held: int, patience_s: float, progress: Callable[[int], None] | None
) -> None:
    """Wait until fewer than `most_held` instants lack their receipt; each receipt renews the patience."""
    freed, waited_s = publisher.instants_freed, 0.0
    while not publisher.wait_below(most_held, 0.25):
        waited_s += 0.25
        if publisher.instants_freed > freed:
            freed, waited_s = publisher.instants_freed, 0.0
        if progress is not None:
            progress(freed)
        if waited_s >= patience_s:
            why = f" ({publisher.trouble})" if publisher.trouble else "; is the host running?"
            raise BrokerError(
                f"{publisher.unreceipted} instants were not receipted within {patience_s:g} s{why} "
                "Run the replay again when it is: nothing is stored twice."
            )
    if progress is not None:
        progress(publisher.instants_freed)
