"""The journal on disk: entries are only ever added."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import func, insert, select

from traywarden.domain.journal import Entry, Facts, Kind
from traywarden.errors import UsageError
from traywarden.store import schema
from traywarden.store.engine import once, snapshot
from traywarden.store.store import Tx

_journal = schema.journal
_FIELDS = [_journal.c[name] for name in Entry.__dataclass_fields__]
_NEWEST = select(func.max(_journal.c.entry_id))
_KINDS = {kind.value: kind for kind in Kind}


def write(
    tx: Tx,
    kind: Kind,
    at_ms: int,
    written_ms: int,
    *,
    tray_id: int | None = None,
    place_id: int | None = None,
    mix_id: int | None = None,
    head_id: int | None = None,
    lot_id: int | None = None,
    data: Mapping[str, Any] | None = None,
    note: str = "",
    replaces: int | None = None,
) -> Entry:
    """Add an entry. A correction or an undo names the entry it `replaces`.

    Raises UsageError where there is no such entry, or an undo names none.
    """
    kind = Kind(kind)
    if replaces is None and kind is Kind.UNDONE:
        raise UsageError("An undo must name the entry it takes back; see their numbers in the journal.")
    if replaces is not None and not tx.scalar(select(1).where(_journal.c.entry_id == replaces)):
        raise UsageError(f"There is no journal entry {replaces}; see the numbers in the journal.")
    values: dict[str, Any] = {
        "at_ms": at_ms,
        "written_ms": written_ms,
        "kind": kind.value,
        "tray_id": tray_id,
        "place_id": place_id,
        "mix_id": mix_id,
        "head_id": head_id,
        "lot_id": lot_id,
        "data": dict(data or {}),
        "note": note,
        "replaces": replaces,
    }
    made = tx.execute(insert(_journal).values(**values)).inserted_primary_key
    assert made is not None
    return Entry(**(values | {"entry_id": int(made[0]), "kind": kind}))


def entries(tx: Tx) -> list[Entry]:
    """Every entry ever written, also those replaced since, in the order of writing."""
    kept = snapshot(tx)
    found: list[Entry] | None = None if kept is None else kept.get("entries")
    if found is None:
        rows = tx.execute(select(*_FIELDS).order_by(_journal.c.entry_id))
        found = [
            Entry(number, at_ms, written_ms, _KINDS[kind], *rest)
            for number, at_ms, written_ms, kind, *rest in rows
        ]
        if kept is not None:
            kept["entries"] = found
    return list(found)


def facts(tx: Tx) -> Facts:
    """What stood where and when, by the entries that hold now."""
    return once(tx, "facts", lambda: Facts(entries(tx)))


class Carried:
    """Entries and facts carried from one snapshot into the next, as long as nothing was written between.

    Entries are only ever added, so the number of the newest tells whether the journal is the same.
    """

    def __init__(self) -> None:
        self._held: tuple[int, list[Entry], Facts] | None = None

    def into(self, tx: Tx) -> None:
        """Have them at hand in this snapshot, read anew where the journal has grown."""
        kept = snapshot(tx)
        if kept is None:
            return
        newest, held = newest_entry_id(tx), self._held
        if held is None or held[0] != newest:
            held = self._held = (newest, entries(tx), facts(tx))
        kept["entries"], kept["facts"] = held[1:]


def newest_entry_id(tx: Tx) -> int:
    """The number of the newest entry, 0 in an empty journal: tells whether anything was written since."""
    return tx.scalar(_NEWEST) or 0
