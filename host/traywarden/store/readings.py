"""Readings: kept once each, however often and in whatever order they arrive."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import repeat
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, bindparam, exists, func, select, tuple_, update

from traywarden.domain.quality import NEWER_THAN_RECEIVED_MS
from traywarden.domain.readings import VALUE_COLUMNS, Reading
from traywarden.domain.series import HeadColumns
from traywarden.store import packed, schema
from traywarden.store.probes import ensure_heads, labels
from traywarden.store.store import Tx
from traywarden.turns import give_way

Row = tuple[Any, ...]
Identity = tuple[int, int, int]
_reading, _head, _probe = schema.reading, schema.head, schema.probe

# Order of Reading's fields after (probe, head), so that a row is one slice of it.
_KEY = ("head_id", "boot", "sequence")
_COLUMNS = (*_KEY, "time_ms", "received_ms", *VALUE_COLUMNS, "extra")
_TIME = len(_KEY)
_FIRST_VALUE = len(_KEY) + 2
_EXTRA = len(_COLUMNS) - 1
_PART = 10_000
"""Rows read at a time."""
_PG_TYPES = ("int", "bigint", "bigint", "bigint", "bigint", *repeat("float8", len(VALUE_COLUMNS)), "text")

_WHOLE = ("head_id", "time_ms", "received_ms", "boot", "sequence")
_COLUMNS_OF = (
    select(*(_reading.c[name] for name in (*_WHOLE, *VALUE_COLUMNS)))
    .where(
        _reading.c.head_id.in_(bindparam("heads", expanding=True)),
        _reading.c.time_ms >= bindparam("start_ms"),
        _reading.c.time_ms < bindparam("end_ms"),
    )
    .order_by(*(_reading.c[name] for name in ("head_id", "time_ms", "boot", "sequence")))
)
_INSERT_SQLITE = (
    f"INSERT INTO reading ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))}) "
    "ON CONFLICT DO NOTHING"
)
_FILL_SQLITE = (
    "UPDATE reading SET "
    + ", ".join(f"{c} = coalesce({c}, ?{n})" for n, c in enumerate(VALUE_COLUMNS, 4))
    + " WHERE head_id = ?1 AND boot = ?2 AND sequence = ?3 AND ("
    + " OR ".join(f"({c} IS NULL AND ?{n} IS NOT NULL)" for n, c in enumerate(VALUE_COLUMNS, 4))
    + ")"
)
_INSERT_POSTGRESQL = (
    f"INSERT INTO reading ({', '.join(_COLUMNS)}) SELECT * FROM unnest("
    + ", ".join(f"%s::{kind}[]" for kind in _PG_TYPES)
    + ") ON CONFLICT DO NOTHING"
)
_FILL_POSTGRESQL = (
    "UPDATE reading SET "
    + ", ".join(f"{c} = coalesce(reading.{c}, fresh.{c})" for c in VALUE_COLUMNS)
    + " FROM unnest("
    + ", ".join(f"%s::{kind}[]" for kind in (*_PG_TYPES[:3], *_PG_TYPES[_FIRST_VALUE:_EXTRA]))
    + f") AS fresh ({', '.join((*_KEY, *VALUE_COLUMNS))}) WHERE "
    + " AND ".join(f"reading.{c} = fresh.{c}" for c in _KEY)
    + " AND ("
    + " OR ".join(f"(reading.{c} IS NULL AND fresh.{c} IS NOT NULL)" for c in VALUE_COLUMNS)
    + ")"
)


def insert(tx: Tx, rows: Sequence[Reading]) -> int:
    """Store readings; returns how many were not known before. Unknown probes and heads are made.

    A reading is known by (probe, head, boot, sequence). Of one that is known already, values it lacked are
    filled in and everything else stays as it first came, its time too: a time relative to “now” comes out
    a little different each time it is delivered.
    """
    if not rows:
        return 0
    ids = ensure_heads(tx, {row[:2] for row in rows}, min(row.received_ms for row in rows))
    keyed: list[Row] = [(ids[row[:2]], *row[2:]) for row in rows]
    if tx.dialect.name == "postgresql":
        new = tx.exec_driver_sql(_INSERT_POSTGRESQL, _arrays(keyed, range(len(_COLUMNS)))).rowcount
    else:
        new = tx.exec_driver_sql(_INSERT_SQLITE, keyed).rowcount
    if new:
        # a batch holds many readings of few slots
        packed.mark(tx, {(row[0], packed.slot_of(row[_TIME])) for row in keyed})
    if new < len(keyed):
        _fill(tx, _folded(keyed))
    return new


def _folded(keyed: Iterable[Row]) -> dict[Identity, Row]:
    """One row per identity; of two in one batch the earlier stands and the later fills its blanks."""
    folded: dict[Identity, Row] = {}
    for row in keyed:
        identity: Identity = row[:3]
        old = folded.get(identity)
        if old is None:
            folded[identity] = row
        elif old != row:
            values = [a if a is not None else b for a, b in zip(old[:_EXTRA], row[:_EXTRA], strict=True)]
            folded[identity] = (*values, _merged(old[_EXTRA], row[_EXTRA]))
    return folded


def _fill(tx: Tx, folded: dict[Identity, Row]) -> None:
    rows = list(folded.values())
    if tx.dialect.name == "postgresql":
        columns = [*range(len(_KEY)), *range(_FIRST_VALUE, _EXTRA)]
        filled = tx.exec_driver_sql(_FILL_POSTGRESQL, _arrays(rows, columns)).rowcount
    else:
        filled = tx.exec_driver_sql(
            _FILL_SQLITE, [(*row[:3], *row[_FIRST_VALUE:_EXTRA]) for row in rows]
        ).rowcount
    if filled:
        _mark_stored(tx, list(folded))
    _fill_extra(tx, {identity: row[_EXTRA] for identity, row in folded.items() if row[_EXTRA] is not None})


def _mark_stored(tx: Tx, identities: Sequence[Identity]) -> None:
    """Mark days by when readings are stored to have been measured: they may come again with another time."""
    key = [_reading.c[name] for name in _KEY]
    for start in range(0, len(identities), 500):
        chosen = select(_reading.c.head_id, _reading.c.time_ms).where(
            tuple_(*key).in_(identities[start : start + 500])
        )
        packed.mark(tx, {(head_id, packed.slot_of(time_ms)) for head_id, time_ms in tx.execute(chosen)})


def _fill_extra(tx: Tx, extras: dict[Identity, str]) -> None:
    identities = list(extras)
    key = [_reading.c[name] for name in _KEY]
    for start in range(0, len(identities), 500):
        chosen = select(*key, _reading.c.extra).where(tuple_(*key).in_(identities[start : start + 500]))
        for *identity, old in tx.execute(chosen).all():
            head_id, boot, sequence = identity
            merged = _merged(old, extras[head_id, boot, sequence])
            if merged != old:
                this = (key[0] == head_id) & (key[1] == boot) & (key[2] == sequence)
                tx.execute(update(_reading).where(this).values(extra=merged))


def _merged(old: str | None, new: str | None) -> str | None:
    """Two JSON objects as one; what the old one says stands. The same text comes out in either order."""
    if old is None or new is None or old == new:
        return new if old is None else old
    kept, fresh = json.loads(old), json.loads(new)
    if fresh.keys() <= kept.keys():
        return old
    return json.dumps(fresh | kept, sort_keys=True, separators=(",", ":"))


def _arrays(rows: Sequence[Row], columns: Iterable[int]) -> tuple[list[Any], ...]:
    turned = list(zip(*rows, strict=True))
    return tuple(
        # psycopg refuses a list that mixes int and float
        [None if v is None else float(v) for v in turned[n]]
        if _FIRST_VALUE <= n < _EXTRA
        else list(turned[n])
        for n in columns
    )


def columns(tx: Tx, head_id: int, start_ms: int, end_ms: int) -> HeadColumns:
    """What a head measured in [start_ms, end_ms), oldest first; NaN where it measured nothing."""
    return columns_of(tx, [head_id], start_ms, end_ms)[head_id]


def columns_of(tx: Tx, head_ids: Sequence[int], start_ms: int, end_ms: int) -> dict[int, HeadColumns]:
    """`columns` of several heads at once."""
    names = labels(tx, head_ids)
    types = [np.int64] * len(_WHOLE) + [np.float64] * len(VALUE_COLUMNS)
    asked = {"heads": list(head_ids), "start_ms": start_ms, "end_ms": end_ms}
    parts: list[list[NDArray[Any]]] = [[np.empty(0, kind)] for kind in types]
    for rows in _parts(tx, asked):
        for part, kind, column in zip(parts, types, zip(*rows, strict=True), strict=True):
            part.append(np.array(column, dtype=kind))
    heads, *arrays = [np.concatenate(part) for part in parts]
    edges = {h: slice(*np.searchsorted(heads, [h, h + 1]).tolist()) for h in head_ids}
    found = {}
    for head_id, cut in edges.items():
        time_ms, received_ms, boot, sequence, *values = [array[cut] for array in arrays]
        named = dict(zip(VALUE_COLUMNS, values, strict=True))
        found[head_id] = HeadColumns(names[head_id], time_ms, received_ms, boot, sequence, named)
    return found


def _parts(tx: Tx, asked: dict[str, Any]) -> Iterator[Sequence[Sequence[Any]]]:
    """The rows a part at a time: the whole answer to a question over a season need not fit into memory."""
    if tx.dialect.name == "sqlite":
        result = tx.execute(_COLUMNS_OF, asked)
        assert result.cursor is not None
        # plain tuples of the driver, as SQLAlchemy's rows take as long again
        while rows := result.cursor.fetchmany(_PART):
            yield rows
            give_way()
    else:
        yield from tx.execute(_COLUMNS_OF, asked, execution_options={"yield_per": _PART}).partitions()


def at_or_below(tx: Tx, head_ids: Sequence[int], since_ms: int, *, soil_temp_c: float) -> set[int]:
    """Those heads that have measured such a soil temperature, or a lower one, since then."""
    chosen = select(_head.c.head_id).where(
        _head.c.head_id.in_(head_ids),
        exists().where(
            _reading.c.head_id == _head.c.head_id,
            _reading.c.time_ms >= since_ms,
            _reading.c.soil_temp_c <= soil_temp_c,
        ),
    )
    return set(tx.scalars(chosen))


def newest(tx: Tx, at_ms: int | None = None) -> dict[int, int]:
    """Newest measured time of each head that has any reading (up to `at_ms`)."""
    mine = _reading.c.head_id == _head.c.head_id
    upto = mine if at_ms is None else mine & (_reading.c.time_ms <= at_ms)
    last = select(func.max(_reading.c.time_ms)).where(upto).scalar_subquery()
    return {head_id: time_ms for head_id, time_ms in tx.execute(select(_head.c.head_id, last)) if time_ms}


def newest_credible(tx: Tx) -> dict[int, int]:
    """The same, passing over readings dated later than their arrival: what a clock may be set by."""
    other = _reading.alias()
    last = (
        select(other.c.time_ms)
        .where(
            other.c.head_id == _head.c.head_id,
            other.c.time_ms <= other.c.received_ms + NEWER_THAN_RECEIVED_MS,
        )
        .order_by(other.c.time_ms.desc())
        .limit(1)
        .scalar_subquery()
    )
    return {head_id: time_ms for head_id, time_ms in tx.execute(select(_head.c.head_id, last)) if time_ms}


def stored_sequences(tx: Tx, probe: str, boot: int, from_sequence: int | None = None) -> list[int]:
    """Sequences of a probe's boot that are stored, ascending; from `from_sequence` on where given."""
    return list(tx.scalars(_sequences(probe, boot, from_sequence)))


def stored_stretches(
    tx: Tx, probe: str, boot: int, from_sequence: int | None = None
) -> list[tuple[int, int]]:
    """`stored_sequences` as (first, last) of each stretch without a gap: few where there are millions."""
    known = _sequences(probe, boot, from_sequence).subquery()
    # within a stretch sequence and rank rise together, so their difference names the stretch
    rank = func.row_number().over(order_by=known.c.sequence)
    numbered = select(known.c.sequence, (known.c.sequence - rank).label("stretch")).subquery()
    first, last = func.min(numbered.c.sequence), func.max(numbered.c.sequence)
    rows = tx.execute(select(first, last).group_by(numbered.c.stretch).order_by(first))
    return [(begin, end) for begin, end in rows]


def _sequences(probe: str, boot: int, from_sequence: int | None) -> Select[tuple[int]]:
    chosen = (
        select(_reading.c.sequence)
        .distinct()
        .join(_head, _head.c.head_id == _reading.c.head_id)
        .join(_probe, _probe.c.probe_id == _head.c.probe_id)
        .where(_probe.c.name == probe, _reading.c.boot == boot)
        .order_by(_reading.c.sequence)
    )
    if from_sequence is not None:
        chosen = chosen.where(_reading.c.sequence >= from_sequence)
    return chosen


def count(tx: Tx) -> int:
    return tx.execute(select(func.count()).select_from(_reading)).scalar_one()


def insert_columns(
    tx: Tx,
    probe: str,
    head: int,
    boot: int,
    time_ms: NDArray[np.int64],
    received_ms: int,
    values: Mapping[str, NDArray[np.float64]],
) -> int:
    """Store readings of one head that are known by their time, as `insert` would; NaN is no value.

    For imports: only the columns that hold something are bound, which about doubles the rate on SQLite.
    Returns how many were not known before.
    """
    if len(time_ms) == 0:
        return 0
    columns = {name: _listed(values[name]) for name in VALUE_COLUMNS if name in values}
    times, count = time_ms.tolist(), len(time_ms)
    nothing = [None] * count
    fields = [columns.get(name, nothing) for name in VALUE_COLUMNS]
    fixed = ([boot] * count, times, times, [received_ms] * count)
    if tx.dialect.name != "sqlite":
        return insert(tx, list(map(Reading, [probe] * count, [head] * count, *fixed, *fields)))
    head_id = ensure_heads(tx, [(probe, head)], received_ms)[probe, head]
    names = ", ".join((*_KEY, "time_ms", "received_ms", *columns))
    marks = "".join(f", ?{n}" for n in range(2, len(columns) + 2))
    statement = (
        f"INSERT INTO reading ({names}) VALUES ({head_id:d}, {boot:d}, ?1, ?1, {received_ms:d}{marks}) "
        "ON CONFLICT DO NOTHING"
    )
    new = tx.exec_driver_sql(statement, list(zip(times, *columns.values(), strict=True))).rowcount
    if new:
        packed.mark(tx, {(head_id, slot) for slot in np.unique(packed.slots_of(time_ms)).tolist()})
    if new < count:
        _fill(tx, _folded(zip([head_id] * count, *fixed, *fields, nothing, strict=True)))
    return new


def _listed(values: NDArray[np.float64]) -> list[float | None]:
    listed: list[float | None] = values.tolist()
    for row in np.flatnonzero(np.isnan(values)).tolist():
        listed[row] = None
    return listed


def extras(tx: Tx, head_id: int, start_ms: int, end_ms: int) -> dict[tuple[int, int], str]:
    """What there is no column for of a head's readings in [start_ms, end_ms), by boot and sequence."""
    found = tx.execute(
        select(_reading.c.boot, _reading.c.sequence, _reading.c.extra).where(
            _reading.c.head_id == head_id,
            _reading.c.time_ms >= start_ms,
            _reading.c.time_ms < end_ms,
            _reading.c.extra.is_not(None),
        )
    )
    return {(boot, sequence): extra for boot, sequence, extra in found}


def span(tx: Tx) -> tuple[int, int] | None:
    """The times of the oldest and the newest reading; None where there is none."""
    each = [
        select(kind(_reading.c.time_ms)).where(_reading.c.head_id == _head.c.head_id).scalar_subquery()
        for kind in (func.min, func.max)
    ]
    known = [(low, high) for low, high in tx.execute(select(*each).select_from(_head)) if low is not None]
    return (min(low for low, _ in known), max(high for _, high in known)) if known else None
