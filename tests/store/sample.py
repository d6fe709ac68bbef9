"""Readings and dumps for the store's tests."""

from typing import Any

from sqlalchemy import select, text

from traywarden.domain.readings import Reading
from traywarden.store import probes, schema
from traywarden.store.store import Store

START_MS = 1_767_225_600_000  # 2026-01-01T00:00Z
STEP_MS = 900_000


def reading(sequence: int, probe: str = "bench-1", head: int = 1, boot: int = 3, **values: Any) -> Reading:
    """One reading every 15 min from the start of 2026, received a second later."""
    time_ms = START_MS + sequence * STEP_MS
    given = {"time_ms": time_ms, "received_ms": time_ms + 1000} | (values or {"soil_temp_c": 10.0 + sequence})
    return Reading(probe, head, boot, sequence, **given)


def all_readings(store: Store) -> list[Reading]:
    """Every stored row, by identity."""
    table = schema.reading.c
    columns = [table[name] for name in Reading._fields[2:]]
    with store.read() as tx:
        names = {head.head_id: head for head in probes.heads(tx)}
        rows = tx.execute(select(table.head_id, *columns)).all()
    found = [Reading(names[row[0]].probe, names[row[0]].number, *row[1:]) for row in rows]
    return sorted(found, key=lambda row: row[:4])


def emptied(store: Store) -> Store:
    """The same database without readings, probes and heads, opened anew."""
    with store.write() as tx:
        for name in ("reading", "stale_day", "packed_day", "kept_result", "head", "probe"):
            tx.execute(text(f"DELETE FROM {name}"))
    return Store.open(store.url)
