"""Results kept on disk, by head and digest; see domain/kept.py."""

from collections.abc import Iterable, Mapping, Sequence

from sqlalchemy import bindparam, delete, insert, select

from traywarden.store import schema
from traywarden.store.store import Tx

_kept = schema.kept_result


def results(tx: Tx, head_id: int, digests: Sequence[bytes] | None = None) -> dict[bytes, bytes]:
    """What is kept of a head; under these digests alone where they are given."""
    if digests is not None and tx.dialect.name == "sqlite":
        # A handful of every head is asked for, where SQLAlchemy's own words take longer than SQLite.
        marks = ",".join("?" * len(digests))
        asked = f"SELECT digest, result FROM kept_result WHERE head_id = ? AND digest IN ({marks})"
        found = tx.exec_driver_sql(asked, (head_id, *digests)).all()
        return {digest: result for digest, result in found}  # noqa: C416 - rows are no pairs to mypy
    chosen = select(_kept.c.digest, _kept.c.result).where(_kept.c.head_id == head_id)
    if digests is not None:
        chosen = chosen.where(_kept.c.digest.in_(digests))
    return {digest: result for digest, result in tx.execute(chosen).all()}  # noqa: C416 - rows are no pairs to mypy


def heads(tx: Tx) -> list[int]:
    """Heads of which something is kept."""
    return list(tx.scalars(select(_kept.c.head_id).distinct()))


def keep(tx: Tx, head_id: int, fresh: Mapping[bytes, bytes], gone: Iterable[bytes] = ()) -> None:
    """Keep results of a head; forget those of the digests in `gone`."""
    this = (_kept.c.head_id == head_id) & (_kept.c.digest == bindparam("this_digest"))
    forgotten = [{"this_digest": digest} for digest in {*gone, *fresh}]
    if forgotten:
        tx.execute(delete(_kept).where(this), forgotten)
    if fresh:
        rows = [{"head_id": head_id, "digest": digest, "result": result} for digest, result in fresh.items()]
        tx.execute(insert(_kept), rows)
