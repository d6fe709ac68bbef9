"""What one look at the outbox comes to: notices to put, and what becomes of those that were held before."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.notices import Hold, Notice, NoticeState
from traywarden.services.holding import CATCHING_UP, OVER, UNTOLD_START, Held, spared_words
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

Changes = tuple[tuple[str, ChangeKind], ...]
STALE_MS = 3_600_000
"""A change decided on readings measured longer ago than this may have been overtaken by others on the way."""


@dataclass(slots=True)
class Plan:
    """Notices to put and held ones they stand for; held ones that are over, or wait for something else."""

    put: list[Notice] = field(default_factory=list)
    take: list[str] = field(default_factory=list)
    spare: dict[str, str] = field(default_factory=dict)
    hold: dict[str, Held] = field(default_factory=dict)
    left: dict[str, Changes] = field(default_factory=dict)

    def part_with(self, notice: Notice, episode_id: str, spared: str = "") -> None:
        """A held notice no longer tells of that episode; with `spared` it is kept why that is never sent."""
        changes = self.left.get(notice.notice_id, notice.changes)
        mine = tuple(change for change in changes if change[0] == episode_id)
        self.left[notice.notice_id] = rest = tuple(change for change in changes if change not in mine)
        if not rest and len(notice.changes) == 1 and spared:
            del self.left[notice.notice_id]
            self.spare[notice.notice_id] = spared
            return
        if not rest:
            self.take.append(notice.notice_id)
        if spared and mine:
            part_id = part_of(notice.notice_id, *mine[0])
            self.put.append(
                replace(notice, notice_id=part_id, changes=mine, state=NoticeState.SPARED, trouble=spared)
            )

    def write(self, tx: Tx) -> None:
        if self.take:
            notice_store.take(tx, self.take)
        for notice_id, changes in self.left.items():
            if changes and notice_id not in self.take:
                notice_store.narrow(tx, notice_id, changes)
        notice_store.put(tx, self.put)
        for notice_id, why in self.spare.items():
            notice_store.spare(tx, notice_id, why)
        for notice_id, held in self.hold.items():
            notice_store.hold(tx, notice_id, held.waits_for, held.why)

    def __bool__(self) -> bool:
        return bool(self.put or self.take or self.spare or self.hold or self.left)


def part_of(notice_id: str, episode_id: str, kind: ChangeKind) -> str:
    """The id of the part of a notice that tells of that change: another for each, however few are left."""
    return f"{notice_id}.{hashlib.sha256(f'{episode_id} {kind.value}'.encode()).hexdigest()[:12]}"


def due(
    plan: Plan, change: Change, mine: Sequence[Notice], fresh: bool, now_ms: int
) -> tuple[ChangeKind | None, Held | None]:
    """What a channel is to be told of a change, if anything, and what that waits for."""
    episode = change.episode
    held_before = [n for n in mine if n.state is NoticeState.HELD]
    start = latest(mine, episode.episode_id)
    if change.kind is not ChangeKind.CLOSED:
        for notice in held_before:  # reopened before anyone was told of its end
            plan.part_with(notice, episode.episode_id)
        untold_end = any((episode.episode_id, ChangeKind.CLOSED) in n.changes for n in held_before)
        if untold_end and start is not None and start.state is NoticeState.SENT:
            return None, None
        return change.kind, None if fresh else CATCHING_UP
    for notice in held_before:
        if (episode.episode_id, ChangeKind.REMINDED) in notice.changes:
            plan.part_with(notice, episode.episode_id, spared_words(notice.waits_for))
    if start is None or start.state is NoticeState.SPARED:
        return None, None
    if start.state is not NoticeState.HELD:
        return ChangeKind.CLOSED, None if start.state is NoticeState.SENT else UNTOLD_START
    if past(start, episode, ended_late=now_ms - change.decided_ms > STALE_MS):
        plan.part_with(start, episode.episode_id)
        return ChangeKind.PAST, CATCHING_UP
    plan.part_with(start, episode.episode_id, spared_words(start.waits_for))
    return None, None


def as_is(notice: Notice, episode: Episode, kind: ChangeKind) -> ChangeKind:
    """What a held notice tells as things are: an opening that waited for readings may be past by now."""
    over = episode.closed_ms is not None and past(notice, episode, ended_late=False)
    return ChangeKind.PAST if kind is ChangeKind.OPENED and over else kind


def past(start: Notice, episode: Episode, *, ended_late: bool) -> bool:
    """Whether an episode whose beginning is held, and that has ended, began and ended in the past.

    That is so where its readings were still coming in. If its beginning had been found out late already and
    then stood in a shadow, it is so too: what shadows it is the probe that could not send. In a hush, by
    night or until a digest it is, unless the end came as it happened: then nothing is left of it.
    """
    decided_ms = episode.facts.get("decided_ms")
    began_late = isinstance(decided_ms, int | float) and start.created_ms - decided_ms > STALE_MS
    if start.waits_for is Hold.READINGS:
        return True
    return began_late and (ended_late or start.waits_for is Hold.SHADOW)


def untold(told: Sequence[Notice], end: Notice, episode_id: str, plan: Plan) -> Held | None:
    """Why an end is not told yet: its beginning is not, or will never be."""
    start = latest(told, episode_id, end.channel)
    if start is None or start.state is NoticeState.SPARED or start.notice_id in plan.spare:
        return OVER
    return None if start.state is NoticeState.SENT else UNTOLD_START


def told_ms(notice: Notice, now_ms: int) -> int:
    """When it was told by the garden's clock; deliveries are dated by the system's, which may be another."""
    sent_ms = notice.sent_ms
    known = sent_ms is not None and notice.created_ms <= sent_ms <= now_ms
    return sent_ms if known and sent_ms is not None else notice.created_ms


def latest(notices: Sequence[Notice], episode_id: str, channel: str | None = None) -> Notice | None:
    """The newest notice that tells an episode's beginning (over that channel)."""
    return next(
        (
            n
            for n in reversed(notices)
            if (episode_id, ChangeKind.OPENED) in n.changes and channel in (None, n.channel)
        ),
        None,
    )
