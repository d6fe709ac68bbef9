"""Hushes: until when nothing is sent about what, by whom and why."""

from typing import Any

from sqlalchemy import Row, Select, insert, select, update

from traywarden.domain.hushes import Hush
from traywarden.domain.subjects import Subject
from traywarden.errors import UnknownNameError
from traywarden.store import schema
from traywarden.store.store import Tx

_hush = schema.hush


def put(
    tx: Tx, rule: str | None, subject: Subject | None, from_ms: int, until_ms: int, who: str, why: str
) -> Hush:
    """Keep a new hush."""
    made = tx.execute(
        insert(_hush).values(
            rule=rule,
            subject=None if subject is None else str(subject),
            from_ms=from_ms,
            until_ms=until_ms,
            who=who,
            why=why,
            ended_by="",
        )
    )
    assert made.inserted_primary_key is not None
    return Hush(int(made.inserted_primary_key[0]), rule, subject, from_ms, until_ms, who, why)


def end(tx: Tx, hush_id: int, at_ms: int, who: str) -> None:
    """Take a hush back: from then on it mutes nothing."""
    tx.execute(update(_hush).where(_hush.c.hush_id == hush_id).values(ended_ms=at_ms, ended_by=who))


def holding(tx: Tx, at_ms: int) -> list[Hush]:
    """The hushes that mute at that instant, those that end first coming first."""
    chosen = select(_hush).where(_hush.c.until_ms > at_ms).order_by(_hush.c.until_ms, _hush.c.hush_id)
    return [hush for hush in _all(tx, chosen) if hush.holds_at(at_ms)]


def newest(tx: Tx, limit: int) -> list[Hush]:
    """The newest hushes, also those that are over."""
    return _all(tx, select(_hush).order_by(_hush.c.hush_id.desc()).limit(limit))


def hush_numbered(tx: Tx, hush_id: int) -> Hush:
    found = _all(tx, select(_hush).where(_hush.c.hush_id == hush_id))
    if not found:
        raise UnknownNameError("hush", str(hush_id), [str(h.hush_id) for h in newest(tx, 12)])
    return found[0]


def _all(tx: Tx, chosen: Select[Any]) -> list[Hush]:
    return [_made(row) for row in tx.execute(chosen)]


def _made(row: Row[Any]) -> Hush:
    return Hush(
        row.hush_id,
        row.rule,
        None if row.subject is None else Subject.named(row.subject),
        row.from_ms,
        row.until_ms,
        row.who,
        row.why,
        row.ended_ms,
        row.ended_by,
    )
