"""Packed days on disk, and which days are to be packed (again). A day without either has no readings."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import BindParameter, Column, Select, bindparam, delete, func, insert, select, union, update

from traywarden.domain.flags import LOOK_AHEAD_MS, LOOK_BACK_MS
from traywarden.domain.packing import DAY_MS, PackedDay
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.store import schema
from traywarden.store.store import Tx

Spans = Mapping[int, tuple[int, int]]
_packed, _stale, _packing = schema.packed_day, schema.stale_day, schema.packing

_SLOT_MS = 7_200_000
_MARK_SQLITE = "INSERT OR IGNORE INTO stale_day (head_id, day) VALUES (?, ?)"
_MARK_POSTGRESQL = (
    "INSERT INTO stale_day (head_id, day) SELECT * FROM unnest(%s::int[], %s::int[]) ON CONFLICT DO NOTHING"
)
_COLUMNS = [_packed.c[name] for name in ("head_id", "day", "count", "times", "flags", *VALUE_COLUMNS)]


# Made once: the smallest questions are asked several times a second, and making a statement takes as long as
# asking it.
def _in_span(*columns: Column[Any]) -> Select[Any]:
    """Columns of a table, a head and a day first, of the heads and days asked about."""
    head_id, day, *_ = columns
    heads: BindParameter[Any] = bindparam("heads", expanding=True)
    first: BindParameter[int] = bindparam("first")
    last: BindParameter[int] = bindparam("last")
    return select(*columns).where(head_id.in_(heads), day >= first, day <= last)


_DAYS = _in_span(*_COLUMNS).order_by(_packed.c.head_id, _packed.c.day)
_STALE = _in_span(_stale.c.head_id, _stale.c.day)
_STALE_OR_PACKED = union(_STALE, _in_span(*_COLUMNS[:2]))
_RULES = select(_packing.c.rules)


def slot_of(time_ms: int) -> int:
    """Readings of one slot of time touch the same days; see `mark`."""
    return time_ms // _SLOT_MS


def slots_of(time_ms: NDArray[np.int64]) -> NDArray[np.int64]:
    """`slot_of` of many."""
    return np.asarray(time_ms) // _SLOT_MS


def mark(tx: Tx, slots: Iterable[tuple[int, int]]) -> None:
    """Mark the days that new readings touch as stale; in the transaction that stores them.

    `slots` are pairs of head_id and `slot_of` a reading's time. Touched are the day of the reading and those
    whose flags look back or ahead at it.
    """
    touched = {
        (head_id, day)
        for head_id, slot in slots
        for day in range(
            (slot * _SLOT_MS - LOOK_AHEAD_MS) // DAY_MS,
            ((slot + 1) * _SLOT_MS - 1 + LOOK_BACK_MS) // DAY_MS + 1,
        )
    }
    _mark_days(tx, sorted(touched))


def _mark_days(tx: Tx, pairs: Sequence[tuple[int, int]]) -> None:
    if not pairs:
        return
    if tx.dialect.name == "postgresql":
        tx.exec_driver_sql(_MARK_POSTGRESQL, ([p[0] for p in pairs], [p[1] for p in pairs]))
    else:
        tx.exec_driver_sql(_MARK_SQLITE, list(pairs))


def rules(tx: Tx) -> str:
    """By which rules the packed days were flagged; empty before any were."""
    return tx.scalar(_RULES) or ""


def keep_rules(tx: Tx, now: str) -> None:
    """From now on days are flagged by these rules; what was packed by others becomes stale."""
    if rules(tx) == now:
        return
    others = select(_packed.c.head_id, _packed.c.day).where(
        ~select(_stale.c.day)
        .where(_stale.c.head_id == _packed.c.head_id, _stale.c.day == _packed.c.day)
        .exists()
    )
    tx.execute(insert(_stale).from_select(["head_id", "day"], others))
    if tx.scalar(select(func.count()).select_from(_packing)):
        tx.execute(update(_packing).values(rules=now))
    else:
        tx.execute(insert(_packing).values(rules=now))


def days(tx: Tx, spans: Spans) -> dict[int, list[PackedDay]]:
    """Packed days of each head from its first to its last day (both included), oldest first."""
    found: dict[int, list[PackedDay]] = {head_id: [] for head_id in spans}
    for heads, (first, last) in _alike(spans):
        asked = {"heads": heads, "first": first, "last": last}
        for head_id, day, count, times, flags, *columns in tx.execute(_DAYS, asked).all():
            found[head_id].append(PackedDay(day, count, times, tuple(columns), flags))
    return found


def stale_days(tx: Tx, spans: Spans, *, rules_hold: bool) -> dict[int, list[int]]:
    """Days of each head that must be read from single readings; all of them where other rules hold now."""
    found: dict[int, list[int]] = {head_id: [] for head_id in spans}
    for heads, (first, last) in _alike(spans):
        asked = {"heads": heads, "first": first, "last": last}
        for head_id, day in tx.execute(_STALE if rules_hold else _STALE_OR_PACKED, asked).all():
            found[head_id].append(day)
    return {head_id: sorted(listed) for head_id, listed in found.items()}


def _alike(spans: Spans) -> list[tuple[list[int], tuple[int, int]]]:
    """Heads by the span asked for."""
    heads: dict[tuple[int, int], list[int]] = {}
    for head_id, span in spans.items():
        heads.setdefault(span, []).append(head_id)
    return [(ids, span) for span, ids in heads.items()]


def waiting(
    tx: Tx, before_day: int, most: int, *, leaving_out: Collection[tuple[int, int]] = ()
) -> list[tuple[int, int]]:
    """(head_id, day) of up to so many stale days before a day, a head's days together and oldest first."""
    chosen = (
        select(_stale.c.head_id, _stale.c.day)
        .where(_stale.c.day < before_day)
        .order_by(_stale.c.head_id, _stale.c.day)
        .limit(most + len(leaving_out))
    )
    found = [(head_id, day) for head_id, day in tx.execute(chosen)]
    return [pair for pair in found if pair not in leaving_out][:most]


def count_waiting(tx: Tx, before_day: int) -> int:
    """How many days before a day are stale."""
    return tx.scalar(select(func.count()).select_from(_stale).where(_stale.c.day < before_day)) or 0


def count(tx: Tx) -> int:
    """How many days are packed."""
    return tx.scalar(select(func.count()).select_from(_packed)) or 0


def put(tx: Tx, head_id: int, made: Sequence[PackedDay], days: Sequence[int]) -> None:
    """Keep the packed days of a head in place of what was kept for `days`, which are stale no longer.

    A day among `days` that is not in `made` has no readings.
    """
    for table in (_packed, _stale):
        gone = delete(table).where(table.c.head_id == head_id, table.c.day == bindparam("this_day"))
        tx.execute(gone, [{"this_day": day} for day in days])
    if made:
        rows = [
            {"head_id": head_id, "day": one.day, "count": one.count, "times": one.times, "flags": one.flags}
            | dict(zip(VALUE_COLUMNS, one.values, strict=True))
            for one in made
        ]
        tx.execute(insert(_packed), rows)
