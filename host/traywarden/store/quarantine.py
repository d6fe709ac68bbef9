"""Messages that could not be read, kept with the reason until a person has looked."""

import hashlib
from dataclasses import dataclass

from sqlalchemy import func, insert, select, update

from traywarden.store import schema
from traywarden.store.store import Tx

MOST_BYTES_KEPT = 65_536
MOST_CHARACTERS = 1_000
_quarantine = schema.quarantine


@dataclass(frozen=True, slots=True)
class Quarantined:
    """A message that could not be read; `payload` is its beginning, `payload_bytes` its whole length."""

    quarantine_id: int
    topic: str
    reason: str
    payload: bytes
    payload_bytes: int
    first_ms: int
    last_ms: int
    times: int


def put(tx: Tx, topic: str, payload: bytes, reason: str, at_ms: int) -> None:
    """Keep a message and why it could not be read; the same one again only counts up."""
    name = topic.encode("utf-8", "surrogatepass")
    fingerprint = hashlib.sha256(len(name).to_bytes(8) + name + payload).hexdigest()
    again = tx.execute(
        update(_quarantine)
        .where(_quarantine.c.fingerprint == fingerprint)
        .values(times=_quarantine.c.times + 1, last_ms=at_ms, reason=_storable(reason))
    )
    if again.rowcount == 0:
        tx.execute(
            insert(_quarantine).values(
                fingerprint=fingerprint,
                topic=_storable(topic),
                reason=_storable(reason),
                payload=payload[:MOST_BYTES_KEPT],
                payload_bytes=len(payload),
                first_ms=at_ms,
                last_ms=at_ms,
                times=1,
            )
        )


def listed(tx: Tx, limit: int = 100) -> list[Quarantined]:
    """The messages met last, newest first."""
    table = _quarantine.c
    rows = tx.execute(
        select(
            table.quarantine_id,
            table.topic,
            table.reason,
            table.payload,
            table.payload_bytes,
            table.first_ms,
            table.last_ms,
            table.times,
        )
        .order_by(table.last_ms.desc(), table.quarantine_id.desc())
        .limit(limit)
    )
    return [Quarantined(*row) for row in rows]


def count(tx: Tx) -> int:
    return tx.execute(select(func.count()).select_from(_quarantine)).scalar_one()


def _storable(text: str) -> str:
    """Cut to a bearable length, without what a text column cannot hold: NUL and lone surrogates."""
    return text[:MOST_CHARACTERS].replace("\x00", "\ufffd").encode("utf-8", "replace").decode()
