"""Probes and their heads, as they make themselves known."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from traywarden.domain.garden import Head, Probe
from traywarden.errors import UnknownNameError
from traywarden.store import schema
from traywarden.store.engine import HEADS_OPTION, after_commit
from traywarden.store.store import Tx

_probe, _head = schema.probe, schema.head
_LABELS = (
    select(_head.c.head_id, _probe.c.name, _head.c.number)
    .join(_probe, _probe.c.probe_id == _head.c.probe_id)
    .where(_head.c.head_id.in_(bindparam("heads", expanding=True)))
)


def probes(tx: Tx) -> list[Probe]:
    rows = tx.execute(select(_probe).order_by(_probe.c.name))
    return [Probe(r.probe_id, r.name, r.first_seen_ms, r.last_seen_ms, r.state or {}, r.note) for r in rows]


def probe_named(tx: Tx, name: str) -> Probe:
    known = probes(tx)
    for probe in known:
        if probe.name == name:
            return probe
    raise UnknownNameError("probe", name, [p.name for p in known])


def call(tx: Tx, probe_id: int, label: str) -> None:
    """Keep what the grower calls a probe; empty: by the name under which it reports."""
    tx.execute(update(_probe).where(_probe.c.probe_id == probe_id).values(note=label))


def heads(tx: Tx) -> list[Head]:
    rows = tx.execute(
        select(_head.c.head_id, _probe.c.name, _head.c.number)
        .join(_probe, _probe.c.probe_id == _head.c.probe_id)
        .order_by(_probe.c.name, _head.c.number)
    )
    return [Head(head_id, name, number) for head_id, name, number in rows]


def labels(tx: Tx, head_ids: Collection[int]) -> dict[int, str]:
    """Heads written “probe/number”, by their ids."""
    rows = tx.execute(_LABELS, {"heads": list(head_ids)})
    return {head_id: f"{name}/{number}" for head_id, name, number in rows}


def head_labelled(tx: Tx, label: str) -> Head:
    """The head written “probe/number”, such as “bench-1/2”."""
    known = heads(tx)
    for head in known:
        if head.label == label.strip():
            return head
    raise UnknownNameError("head", label, [h.label for h in known])


def ensure_heads(tx: Tx, pairs: Iterable[tuple[str, int]], at_ms: int) -> dict[tuple[str, int], int]:
    """head_id of each (probe, number); those not seen before are made, first seen at `at_ms`.

    What has been committed once is remembered for the life of the store: heads never go away.
    """
    committed: dict[tuple[str, int], int] = tx.get_execution_options().get(HEADS_OPTION, {})
    wanted = set(pairs)
    found = {pair: committed[pair] for pair in wanted if pair in committed}
    missing = wanted - found.keys()
    if not missing:
        return found
    fresh = _look_up(tx, missing)
    for name, number in sorted(missing - fresh.keys()):
        probe_id = _ensure_probe(tx, name, at_ms)
        made = tx.execute(insert(_head).values(probe_id=probe_id, number=number)).inserted_primary_key
        assert made is not None
        fresh[name, number] = int(made[0])
    # only once committed: a transaction rolled back takes the ids it gave out with it
    after_commit(tx, lambda: committed.update(fresh))
    return found | fresh


def _look_up(tx: Tx, pairs: set[tuple[str, int]]) -> dict[tuple[str, int], int]:
    names = sorted({name for name, _ in pairs})
    found: dict[tuple[str, int], int] = {}
    for start in range(0, len(names), 500):
        rows = tx.execute(
            select(_probe.c.name, _head.c.number, _head.c.head_id)
            .join(_head, _head.c.probe_id == _probe.c.probe_id)
            .where(_probe.c.name.in_(names[start : start + 500]))
        )
        found |= {(name, number): head_id for name, number, head_id in rows if (name, number) in pairs}
    return found


def _ensure_probe(tx: Tx, name: str, at_ms: int) -> int:
    known = tx.execute(select(_probe.c.probe_id).where(_probe.c.name == name)).scalar()
    if known is not None:
        return int(known)
    made = tx.execute(
        insert(_probe).values(name=name, first_seen_ms=at_ms, last_seen_ms=at_ms)
    ).inserted_primary_key
    assert made is not None
    return int(made[0])


def touch(tx: Tx, last_ms: Mapping[str, int]) -> None:
    """Note when probes were last heard of; never moves backwards. An unknown probe is made."""
    for name, at_ms in last_ms.items():
        moved = tx.execute(
            update(_probe)
            .where(_probe.c.name == name, _probe.c.last_seen_ms < at_ms)
            .values(last_seen_ms=at_ms)
        )
        if moved.rowcount == 0:
            _ensure_probe(tx, name, at_ms)


def set_state(tx: Tx, probe: str, state: Mapping[str, Any], at_ms: int) -> None:
    """Keep what a probe says of itself; an older message than the one kept changes nothing."""
    probe_id = _ensure_probe(tx, probe, at_ms)
    tx.execute(
        update(_probe)
        .where(_probe.c.probe_id == probe_id, (_probe.c.state_ms.is_(None)) | (_probe.c.state_ms <= at_ms))
        .values(state=dict(state), state_ms=at_ms)
    )
