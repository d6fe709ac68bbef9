"""Whether the store is whole, how big it is, and whether it can be written to."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func, select, text

from traywarden.store import schema
from traywarden.store.store import Store


@dataclass(frozen=True, slots=True)
class Health:
    """`trouble` is empty where the store is whole."""

    where: str
    revision: str | None
    size_bytes: int
    readings: int
    trouble: str


def health(store: Store) -> Health:
    """Size, revision and a quick integrity check (SQLite; PostgreSQL checks its own pages).

    Raises StoreError, StoreBusyError or StoreFullError where the store cannot be read or written.
    """
    with store.write():
        pass  # takes the writer's lock and commits nothing: fails where nobody could write
    trouble = ""
    with store.read() as tx:
        readings = tx.execute(select(func.count()).select_from(schema.reading)).scalar_one()
        if store.dialect == "sqlite":
            found = tx.execute(text("PRAGMA quick_check(1)")).scalar_one()
            trouble = "" if found == "ok" else str(found)
            size = sum(p.stat().st_size for p in _files(Path(store.where)))
        else:
            size = int(tx.execute(text("SELECT pg_database_size(current_database())")).scalar_one())
    return Health(store.where, store.revision(), size, readings, trouble)


def _files(path: Path) -> list[Path]:
    """The database and its write-ahead log."""
    return [p for p in (path, path.with_name(path.name + "-wal")) if p.exists()]
