"""Arrivals: which trays have readings that nobody has judged yet."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from traywarden.services.knowledge import Knowledge
from traywarden.store import episodes as episode_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Tx

JudgedTo = Callable[[int], int]
"""Up to when a tray has been judged [ms since 1970]."""


class Arrived(Protocol):
    """What the watch needs to know of a commit (services/ingest.py: Committed)."""

    @property
    def head_times(self) -> Mapping[int, int]: ...
    @property
    def head_oldest(self) -> Mapping[int, int]: ...
    @property
    def at_s(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Covered:
    """A tray was judged on all that had been committed by `by_s` and was measured after `after_ms`."""

    by_s: float
    after_ms: int


class Arrivals:
    """Heads whose readings were stored since they were last taken; many threads may note, one takes.

    A commit may be noted when its readings have already been judged: they were in the store, and somebody
    looked. Those are no news. Taken for late they would have their tray judged again from hours before.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._commits: dict[int, list[tuple[float, int]]] = {}
        self._covered: dict[int, Covered] = {}

    def __bool__(self) -> bool:
        return bool(self._commits)

    def note(self, arrived: Arrived) -> None:
        with self._lock:
            for head_id, newest_ms in arrived.head_times.items():
                oldest_ms = arrived.head_oldest.get(head_id, newest_ms)
                self._commits.setdefault(head_id, []).append((arrived.at_s, oldest_ms))

    def cover(self, tray_ids: Mapping[int, int], by_s: float) -> None:
        """These trays have been judged, each on all that it measured after an instant."""
        self._covered |= {tray_id: Covered(by_s, after_ms) for tray_id, after_ms in tray_ids.items()}

    def taken(self, knowledge: Knowledge) -> dict[int, int]:
        """Trays that readings have come in for, each with the earliest time measured; none the next time."""
        with self._lock:
            commits, self._commits = self._commits, {}
        touched: dict[int, int] = {}
        for head_id, mine in commits.items():
            for at_s, oldest_ms in mine:
                for tray_id in knowledge.trays_of_head(head_id, oldest_ms):
                    seen = self._covered.get(tray_id)
                    if seen is None or at_s > seen.by_s or oldest_ms <= seen.after_ms:
                        touched[tray_id] = min(oldest_ms, touched.get(tray_id, oldest_ms))
        return touched


def came_in_late(
    tx: Tx, knowledge: Knowledge, judged_to_ms: JudgedTo, *, from_ms: int, since_ms: int
) -> dict[int, int]:
    """Per tray, the earliest reading after `from_ms` that came in after it had been judged past that time.

    Looked for among what was received since `since_ms`.
    """
    late: dict[int, int] = {}
    for tray_id in knowledge.trays:
        to_ms = judged_to_ms(tray_id)
        if to_ms > from_ms:
            heads = knowledge.heads_of_tray(tray_id)
            found = episode_store.earliest_received_since(tx, heads, since_ms, from_ms, to_ms)
            if found is not None:
                late[tray_id] = found
    return late


def behind(tx: Tx, knowledge: Knowledge, judged_to_ms: JudgedTo) -> set[int]:
    """Trays with a reading newer than they have been judged to."""
    return {
        tray_id
        for head_id, newest_ms in reading_store.newest(tx).items()
        for tray_id in knowledge.trays_of_head(head_id, newest_ms)
        if newest_ms > judged_to_ms(tray_id)
    }
