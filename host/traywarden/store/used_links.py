"""Links of notices that have done what they were for: each works once."""

from sqlalchemy import insert, select

from traywarden.store import schema
from traywarden.store.store import Tx

_used = schema.used_link


def is_used(tx: Tx, link: str) -> bool:
    return tx.execute(select(_used.c.link).where(_used.c.link == link)).first() is not None


def use(tx: Tx, link: str, at_ms: int, did: str) -> None:
    """Note that it was used; belongs in the transaction that does what it is for."""
    tx.execute(insert(_used).values(link=link, used_ms=at_ms, did=did))
