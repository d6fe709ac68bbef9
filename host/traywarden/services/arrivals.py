"""Arrivals: which trays have readings that nobody has judged yet."""

import threading
from collections.abc import Callable, Mapping
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


class Arrivals:
    """Heads whose readings were stored since they were last taken; many threads may note, one takes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._oldest_ms: dict[int, int] = {}

    def __bool__(self) -> bool:
        return bool(self._oldest_ms)

    def note(self, arrived: Arrived) -> None:
        with self._lock:
            for head_id, newest_ms in arrived.head_times.items():
                oldest_ms = arrived.head_oldest.get(head_id, newest_ms)
                self._oldest_ms[head_id] = min(oldest_ms, self._oldest_ms.get(head_id, oldest_ms))

    def taken(self, knowledge: Knowledge) -> dict[int, int]:
        """Trays that readings have come in for, each with the earliest time measured; none the next time."""
        with self._lock:
            arrived, self._oldest_ms = self._oldest_ms, {}
        touched: dict[int, int] = {}
        for head_id, oldest_ms in arrived.items():
            for tray_id in knowledge.trays_of_head(head_id, oldest_ms):
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
