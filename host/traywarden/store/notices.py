"""The outbox: every notice from the moment its episode changed until its channel has confirmed it."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, delete, func, insert, select, update

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import OPEN_STATES, Hold, Notice, NoticeState
from traywarden.domain.sending_order import in_order
from traywarden.errors import UnknownNameError
from traywarden.store import schema
from traywarden.store.store import Tx

_notice, _change = schema.notice, schema.notice_change
_CHUNK = 400


def put(tx: Tx, notices: Iterable[Notice]) -> None:
    """Add notices; belongs in the transaction that changes their episodes."""
    made = list(notices)
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
            "waits_for": n.waits_for.value,
        }
        for n in made
    ]
    if rows:
        tx.execute(insert(_notice), rows)
    told = {(n.notice_id, episode_id, kind.value) for n in made for episode_id, kind in n.changes}
    if told:
        names = ("notice_id", "episode_id", "kind")
        tx.execute(insert(_change), [dict(zip(names, row, strict=True)) for row in sorted(told)])


def take(tx: Tx, notice_ids: Iterable[str]) -> None:
    """Remove held notices that others, put in the same transaction, now stand for."""
    for part in _parts(notice_ids):
        mine = _notice.c.notice_id.in_(part) & (_notice.c.state == NoticeState.HELD.value)
        held = list(tx.execute(select(_notice.c.notice_id).where(mine)).scalars())
        tx.execute(delete(_change).where(_change.c.notice_id.in_(held)))
        tx.execute(delete(_notice).where(_notice.c.notice_id.in_(held)))


def hold(tx: Tx, notice_id: str, waits_for: Hold, trouble: str) -> None:
    """Hold a notice that waits or is held already, and say what for."""
    held = _notice.c.state.in_([NoticeState.HELD.value, NoticeState.WAITING.value])
    values = {"state": NoticeState.HELD.value, "waits_for": waits_for.value, "trouble": trouble}
    tx.execute(update(_notice).where(_notice.c.notice_id == notice_id, held).values(**values))


def narrow(tx: Tx, notice_id: str, changes: Sequence[tuple[str, ChangeKind]]) -> None:
    """A held notice tells of these alone from now on."""
    held = tx.execute(
        update(_notice)
        .where(_notice.c.notice_id == notice_id, _notice.c.state == NoticeState.HELD.value)
        .values(changes=[[episode_id, kind.value] for episode_id, kind in changes])
    )
    if held.rowcount:
        kept = _change.c.episode_id.in_([episode_id for episode_id, _ in changes])
        tx.execute(delete(_change).where(_change.c.notice_id == notice_id, ~kept))


def spare(tx: Tx, notice_id: str, why: str) -> None:
    """A held notice will not be sent: what it tells is over."""
    held = _notice.c.state == NoticeState.HELD.value
    values = {"state": NoticeState.SPARED.value, "trouble": why}
    tx.execute(update(_notice).where(_notice.c.notice_id == notice_id, held).values(**values))


def waiting(tx: Tx, channel: str) -> list[Notice]:
    """Every notice that waits on a channel, due or not."""
    mine = (_notice.c.state == NoticeState.WAITING.value) & (_notice.c.channel == channel)
    return _all(tx, select(_notice).where(mine))


def due(
    tx: Tx,
    channel: str,
    now_ms: int,
    refused: Collection[str] = (),
    *,
    least_tried: bool = False,
    limit: int = 100,
) -> list[Notice]:
    """The first notices of a channel to be sent by now, in the order in which to send them (`in_order`)."""
    next_ms = next_due_ms(tx, channel)
    if next_ms is None or next_ms > now_ms:
        return []
    return in_order(waiting(tx, channel), now_ms, refused, least_tried=least_tried)[:limit]


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
    """An attempt failed; another is due at `next_try_ms`. What another attempt brought over stays sent."""
    values = {"attempts": _notice.c.attempts + 1, "trouble": trouble, "next_try_ms": next_try_ms}
    _set(tx, notice_id, _notice.c.state != NoticeState.SENT.value, **values)


def park(tx: Tx, notice_id: str, trouble: str, *, tried: bool = True) -> None:
    """Give up until a person looks, unless another attempt has brought it over; `tried`: one has failed."""
    _set(
        tx,
        notice_id,
        _notice.c.state != NoticeState.SENT.value,
        state=NoticeState.PARKED.value,
        attempts=_notice.c.attempts + int(tried),
        trouble=trouble,
    )


def release(tx: Tx, notice_id: str, now_ms: int) -> None:
    """Make a held or parked notice due now, with its attempts counted afresh."""
    values = {"attempts": 0, "next_try_ms": now_ms, "trouble": "", "waits_for": Hold.NOTHING.value}
    _set(tx, notice_id, state=NoticeState.WAITING.value, **values)


def hurry(tx: Tx, channel: str, now_ms: int, *, beyond_ms: int | None = None) -> None:
    """The channel works again: what waits for a retry (after `beyond_ms`) is due now."""
    after_ms = now_ms if beyond_ms is None else beyond_ms
    tx.execute(
        update(_notice)
        .where(
            _notice.c.state == NoticeState.WAITING.value,
            _notice.c.channel == channel,
            _notice.c.next_try_ms > after_ms,
        )
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
        chosen = chosen.where(_notice.c.state.in_([state.value for state in OPEN_STATES]))
    return _all(tx, chosen)


def about(tx: Tx, episode_id: str) -> list[Notice]:
    """Every notice that tells something of an episode, oldest first."""
    return about_all(tx, [episode_id])[episode_id]


def about_all(tx: Tx, episode_ids: Iterable[str]) -> dict[str, list[Notice]]:
    """Per episode, every notice that tells something of it, oldest first."""
    found: dict[str, list[Notice]] = {episode_id: [] for episode_id in episode_ids}
    tells: dict[str, set[str]] = {}
    for part in _parts(found):
        named = select(_change.c.notice_id, _change.c.episode_id).where(_change.c.episode_id.in_(part))
        for row in tx.execute(named):
            tells.setdefault(row.notice_id, set()).add(row.episode_id)
    # Each notice is read once, however many episodes it tells of.
    read = [
        n for part in _parts(tells) for n in _all(tx, select(_notice).where(_notice.c.notice_id.in_(part)))
    ]
    for notice in sorted(read, key=lambda n: (n.created_ms, n.notice_id)):
        for episode_id in tells[notice.notice_id]:
            found[episode_id].append(notice)
    return found


def notice_named(tx: Tx, notice_id: str) -> Notice:
    """One notice by its id, or by the beginning of it where that fits only one."""
    chosen = select(_notice).where(_notice.c.notice_id.startswith(notice_id, autoescape=True)).limit(2)
    found = _all(tx, chosen)
    exact = [n for n in found if n.notice_id == notice_id]
    if len(exact) == 1 or len(found) == 1:
        return (exact or found)[0]
    raise UnknownNameError("notice", notice_id, ())


def exists(tx: Tx, notice_id: str) -> bool:
    """Whether there is a notice of exactly that id, in whatever state."""
    return tx.scalar(select(func.count()).where(_notice.c.notice_id == notice_id)) == 1


def is_waiting(tx: Tx, notice_id: str) -> bool:
    """Whether it is still to be sent."""
    state = tx.scalar(select(_notice.c.state).where(_notice.c.notice_id == notice_id))
    return state == NoticeState.WAITING.value


def counts(tx: Tx) -> dict[NoticeState, int]:
    """How many notices are in each state."""
    rows = tx.execute(select(_notice.c.state, func.count()).group_by(_notice.c.state))
    return {NoticeState(state): number for state, number in rows}


@dataclass(frozen=True, slots=True)
class Queue:
    """What a channel has before it. `worst`: a parked notice, else the one tried most, else the oldest."""

    channel: str
    waiting: int
    parked: int
    worst: Notice


def queues(tx: Tx) -> list[Queue]:
    """Every channel that has notices waiting or parked."""
    found: dict[str, list[Notice]] = {}
    for notice in in_states(tx, NoticeState.WAITING, NoticeState.PARKED):
        found.setdefault(notice.channel, []).append(notice)
    return [
        Queue(
            channel,
            sum(n.state is NoticeState.WAITING for n in mine),
            sum(n.state is NoticeState.PARKED for n in mine),
            max(mine, key=lambda n: (n.state is NoticeState.PARKED, n.attempts, -n.created_ms)),
        )
        for channel, mine in sorted(found.items())
    ]


def free_parked(tx: Tx, channel: str, now_ms: int) -> int:
    """Try every parked notice of a channel again; how many there were."""
    values = {"state": NoticeState.WAITING.value, "attempts": 0, "next_try_ms": now_ms, "trouble": ""}
    mine = (_notice.c.channel == channel) & (_notice.c.state == NoticeState.PARKED.value)
    return int(tx.execute(update(_notice).where(mine).values(**values)).rowcount)


def oldest_unsent(tx: Tx) -> Notice | None:
    """The oldest notice that has not been sent, whatever it waits for."""
    chosen = (
        select(_notice)
        .where(_notice.c.state.in_([state.value for state in OPEN_STATES]))
        .order_by(_notice.c.created_ms, _notice.c.notice_id)
        .limit(1)
    )
    found = _all(tx, chosen)
    return found[0] if found else None


def _set(tx: Tx, notice_id: str, *where: ColumnElement[bool], **values: Any) -> None:
    tx.execute(update(_notice).where(_notice.c.notice_id == notice_id, *where).values(**values))


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
        Hold(row.waits_for),
    )


def _parts(ids: Iterable[str]) -> Iterator[list[str]]:
    """So many at a time as a statement may name."""
    wanted = list(ids)
    for start in range(0, len(wanted), _CHUNK):
        yield wanted[start : start + _CHUNK]
