"""The outbox: every notice from the moment its episode changed until its channel has confirmed it."""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Row, Select, Text, case, delete, func, insert, select, update

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.errors import UnknownNameError
from traywarden.store import schema
from traywarden.store.store import Tx

_notice = schema.notice
_URGENT_FIRST = case({"urgent": 0, "warning": 1}, value=_notice.c.severity, else_=2)


def put(tx: Tx, notices: Iterable[Notice]) -> None:
    """Add notices; belongs in the transaction that changes their episodes."""
    rows = [
        {
            "notice_id": n.notice_id,
            "channel": n.channel,
            "severity": n.severity,
            "title": n.title,
            "body": n.body,
            "changes": [[episode_id, kind.value] for episode_id, kind in n.changes],
            "created_ms": n.created_ms,
            "state": n.state.value,
            "attempts": n.attempts,
            "next_try_ms": n.next_try_ms,
            "sent_ms": n.sent_ms,
            "trouble": n.trouble,
        }
        for n in notices
    ]
    if rows:
        tx.execute(insert(_notice), rows)


def take(tx: Tx, notice_ids: Sequence[str]) -> None:
    """Remove held notices that others, put in the same transaction, now stand for."""
    tx.execute(
        delete(_notice).where(_notice.c.notice_id.in_(notice_ids), _notice.c.state == NoticeState.HELD.value)
    )


def due(tx: Tx, channel: str, now_ms: int, limit: int = 100) -> list[Notice]:
    """Notices of a channel to be sent by now: least tried first, then most urgent, then oldest.

    So one notice that its channel will not take does not keep the others waiting.
    """
    chosen = (
        select(_notice)
        .where(
            _notice.c.state == NoticeState.WAITING.value,
            _notice.c.channel == channel,
            _notice.c.next_try_ms <= now_ms,
        )
        .order_by(_notice.c.attempts, _URGENT_FIRST, _notice.c.created_ms, _notice.c.notice_id)
        .limit(limit)
    )
    return _all(tx, chosen)


def next_due_ms(tx: Tx, channel: str) -> int | None:
    """When the next waiting notice of a channel is to be tried."""
    found: int | None = tx.execute(
        select(func.min(_notice.c.next_try_ms)).where(
            _notice.c.state == NoticeState.WAITING.value, _notice.c.channel == channel
        )
    ).scalar()
    return found


def mark_sent(tx: Tx, notice_id: str, at_ms: int) -> None:
    """The channel has confirmed it."""
    _set(
        tx,
        notice_id,
        state=NoticeState.SENT.value,
        attempts=_notice.c.attempts + 1,
        sent_ms=at_ms,
        trouble="",
    )


def mark_failed(tx: Tx, notice_id: str, trouble: str, next_try_ms: int) -> None:
    """An attempt failed; another is due at `next_try_ms`."""
    _set(tx, notice_id, attempts=_notice.c.attempts + 1, trouble=trouble, next_try_ms=next_try_ms)


def park(tx: Tx, notice_id: str, trouble: str) -> None:
    """Give up until a person looks."""
    _set(
        tx,
        notice_id,
        state=NoticeState.PARKED.value,
        attempts=_notice.c.attempts + 1,
        trouble=trouble,
    )


def release(tx: Tx, notice_id: str, now_ms: int) -> None:
    """Make a held or parked notice due now, with its attempts counted afresh."""
    _set(tx, notice_id, state=NoticeState.WAITING.value, attempts=0, next_try_ms=now_ms, trouble="")


def hurry(tx: Tx, channel: str, now_ms: int) -> None:
    """The channel works again: what waits for a retry is due now."""
    tx.execute(
        update(_notice)
        .where(_notice.c.state == NoticeState.WAITING.value, _notice.c.channel == channel)
        .values(next_try_ms=now_ms)
    )


def in_states(tx: Tx, *states: NoticeState) -> list[Notice]:
    """Every notice in one of these states, oldest first."""
    return _all(
        tx,
        select(_notice)
        .where(_notice.c.state.in_([s.value for s in states]))
        .order_by(_notice.c.created_ms, _notice.c.notice_id),
    )


def listed(tx: Tx, limit: int, *, with_sent: bool = True) -> list[Notice]:
    """Notices for a person to read, newest first."""
    chosen = select(_notice).order_by(_notice.c.created_ms.desc(), _notice.c.notice_id).limit(limit)
    if not with_sent:
        chosen = chosen.where(_notice.c.state != NoticeState.SENT.value)
    return _all(tx, chosen)


def about(tx: Tx, episode_id: str) -> list[Notice]:
    """Every notice that tells something of an episode, oldest first."""
    # The JSON is only narrowed down as text here; whether it truly names the episode is asked in Python.
    text = _notice.c.changes.cast(Text)
    chosen = select(_notice).where(text.contains(episode_id, autoescape=True))
    found = _all(tx, chosen.order_by(_notice.c.created_ms, _notice.c.notice_id))
    return [n for n in found if any(named == episode_id for named, _ in n.changes)]


def notice_named(tx: Tx, notice_id: str) -> Notice:
    """One notice by its id, or by the beginning of it where that fits only one."""
    chosen = select(_notice).where(_notice.c.notice_id.startswith(notice_id, autoescape=True)).limit(2)
    found = _all(tx, chosen)
    exact = [n for n in found if n.notice_id == notice_id]
    if len(exact) == 1 or len(found) == 1:
        return (exact or found)[0]
    raise UnknownNameError("notice", notice_id, [n.notice_id for n in listed(tx, 12)])


def exists(tx: Tx, notice_id: str) -> bool:
    """Whether there is a notice of exactly that id, in whatever state."""
    return tx.scalar(select(func.count()).where(_notice.c.notice_id == notice_id)) == 1


def counts(tx: Tx) -> dict[NoticeState, int]:
    """How many notices are in each state."""
    rows = tx.execute(select(_notice.c.state, func.count()).group_by(_notice.c.state))
    return {NoticeState(state): number for state, number in rows}


def oldest_unsent(tx: Tx) -> Notice | None:
    """The oldest notice that has not been sent, whatever it waits for."""
    chosen = (
        select(_notice)
        .where(_notice.c.state != NoticeState.SENT.value)
        .order_by(_notice.c.created_ms, _notice.c.notice_id)
        .limit(1)
    )
    found = _all(tx, chosen)
    return found[0] if found else None


def _set(tx: Tx, notice_id: str, **values: Any) -> None:
    tx.execute(update(_notice).where(_notice.c.notice_id == notice_id).values(**values))


def _all(tx: Tx, chosen: Select[Any]) -> list[Notice]:
    return [_made(row) for row in tx.execute(chosen)]


def _made(row: Row[Any]) -> Notice:
    return Notice(
        row.notice_id,
        row.channel,
        row.severity,
        row.title,
        row.body,
        tuple((episode_id, ChangeKind(kind)) for episode_id, kind in row.changes),
        row.created_ms,
        NoticeState(row.state),
        row.attempts,
        row.next_try_ms,
        row.sent_ms,
        row.trouble,
    )
