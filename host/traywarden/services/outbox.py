"""From changes of episodes to notices: who is told, what is held back, and what goes into the digest.

Everything here is decided before the transaction begins and written by `Plan.write` inside it, together
with the episodes.
"""

import hashlib
import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.notice_words import Reader, Told, words
from traywarden.domain.notices import Hold, Notice, NoticeState, passes
from traywarden.domain.rules import Rule
from traywarden.domain.subjects import Subject
from traywarden.services.holding import CATCHING_UP, OVER, UNTOLD_START, Held, Holding, spared_words
from traywarden.settings import Settings
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

STALE_MS = 3_600_000
"""A change decided on readings measured longer ago than this may have been overtaken by others on the way."""
CONSOLE = "console"

Describe = Callable[[Change], Told]
Changes = tuple[tuple[str, ChangeKind], ...]
Group = tuple[str, str, str | None, ChangeKind]


def targets(settings: Settings) -> dict[str, str]:
    """Channel name → least severity it takes."""
    found = {CONSOLE: "info"} if settings["notices.console"] else {}
    return found | {c.name: c.least_severity for c in settings.channels}


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
            number = notice.changes.index(mine[0])
            self.put.append(
                replace(
                    notice,
                    notice_id=f"{notice.notice_id}.{number}",
                    changes=mine,
                    state=NoticeState.SPARED,
                    trouble=spared,
                )
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


class Outbox:
    """Knows the channels and the rules; turns changes into notices."""

    def __init__(self, channels: Mapping[str, str], rules: Mapping[str, Rule]) -> None:
        self._channels, self._rules = channels, rules
        self._serial = 0
        self._start = secrets.token_hex(8)  # numbers begin anew with every start; ids do not

    def plan(
        self,
        tx: Tx,
        changes: Sequence[Change],
        caught_up: Callable[[Subject], bool],
        describe: Describe,
        reader: Reader,
    ) -> Plan:
        """What to tell of changes that are about to be kept. Reads the outbox, writes nothing.

        An opening that was decided long ago is told at once only if the tray's readings reach up to now:
        otherwise those on their way may end it. What had ended when it was found out waits for the digest.
        """
        plan, holding, groups = Plan(), Holding.now(tx, reader), _Groups()
        for change in changes:
            if change.kind is ChangeKind.MOVED:
                continue
            told, episode = describe(change), change.episode
            fresh = change.kind is not ChangeKind.PAST and (
                reader.now_ms - change.decided_ms <= STALE_MS or caught_up(episode.subject)
            )
            earlier = notice_store.about(tx, episode.episode_id) if change.known_before else []
            for channel in self.eligible(episode.rule):
                mine = [n for n in earlier if n.channel == channel]
                kind, held = _due(plan, change, mine, fresh)
                if kind is None:
                    continue
                say = replace(told, kind=kind)
                held = held or holding.why(episode.rule, told.subjects)
                if held is None:
                    groups.add(channel, say, episode.episode_id)
                else:
                    plan.put.append(self._held(channel, say, episode, reader, held))
        plan.put += self._told(groups, reader)
        return plan

    def remind(self, tx: Tx, due: Iterable[tuple[str, Told, str]], reader: Reader) -> Plan:
        """What to tell of episodes that still hold: channel, words and episode id of each."""
        plan, holding, groups = Plan(), Holding.now(tx, reader), _Groups()
        for channel, told, episode_id in due:
            if holding.why(told.rule, told.subjects) is None:
                groups.add(channel, told, episode_id)
        plan.put += self._told(groups, reader)
        return plan

    def release(
        self,
        tx: Tx,
        episodes: Mapping[str, Episode],
        held: Sequence[Notice],
        caught_up: Callable[[Subject], bool],
        settled: Callable[[Subject], bool],
        describe: Callable[[Change], Told],
        subjects: Callable[[Episode], tuple[Subject, ...]],
        reader: Reader,
    ) -> Plan:
        """What may now be told of all that is held.

        An episode that is still open is told once its tray's readings have caught up or settled; those that
        are past wait until every tray with one has settled, and become one digest per channel. Nothing is
        told that is hushed, nor what was over before it could be told.
        """
        plan, holding, groups = Plan(), Holding.now(tx, reader), _Groups()
        parts = [
            (n, episodes[e], _as_is(n, episodes[e], k)) for n in held for e, k in n.changes if e in episodes
        ]
        unsettled = {n.channel for n, e, kind in parts if kind is ChangeKind.PAST and not settled(e.subject)}
        outcomes: dict[str, list[tuple[Notice, Episode, ChangeKind, Held | None]]] = {}
        for notice, episode, kind in parts:
            waits = notice.channel in unsettled
            if kind is ChangeKind.CLOSED:
                why = _untold(tx, notice, episode.episode_id, plan)
            elif kind is not ChangeKind.PAST and episode.closed_ms is not None:
                why = OVER
            else:
                if kind is not ChangeKind.PAST:
                    waits = not (caught_up(episode.subject) or settled(episode.subject))
                why = CATCHING_UP if waits else None
            why = why or holding.why(episode.rule, subjects(episode))
            outcomes.setdefault(notice.notice_id, []).append((notice, episode, kind, why))
            if why is OVER:
                plan.part_with(notice, episode.episode_id, spared_words(notice.waits_for))
        for rows in outcomes.values():
            self._let_go(plan, groups, rows, describe, reader)
        plan.put += self._told(groups, reader)
        return plan

    def _let_go(
        self,
        plan: Plan,
        groups: "_Groups",
        rows: Sequence[tuple[Notice, Episode, ChangeKind, Held | None]],
        describe: Describe,
        reader: Reader,
    ) -> None:
        """One held notice: spared, held on, or told; in parts where it tells of several episodes."""
        notice, *_ = rows[0]
        rows = [row for row in rows if row[3] is not OVER]
        whys = {why for *_, why in rows}
        if not rows:
            return
        if len(whys) == 1 and (why := rows[0][3]) is not None:
            if (why.waits_for, why.why) != (notice.waits_for, notice.trouble):
                plan.hold[notice.notice_id] = why
            return
        plan.take.append(notice.notice_id)
        for _, episode, kind, why in rows:
            told = describe(Change(kind, episode, reader.now_ms))
            if why is None:
                groups.add(notice.channel, told, episode.episode_id, notice)
            else:
                plan.put.append(self._held(notice.channel, told, episode, reader, why))

    def eligible(self, rule: str) -> list[str]:
        """The channels that take what is as severe as the rule."""
        severity = self._rules[rule].severity
        return [name for name, least in self._channels.items() if passes(severity, least)]

    def _told(self, groups: "_Groups", reader: Reader) -> list[Notice]:
        """One notice for each group; the only one it stands for goes on under its own id."""
        made = []
        for (channel, *_), rows in groups.rows.items():
            all_told, ids = [row.told for row in rows], [row.episode_id for row in rows]
            severity = self._severity(all_told[0])
            stands_for = [row.notice for row in rows if row.notice is not None]
            notice = self._made(channel, severity, all_told, ids, reader)
            if len({n.notice_id for n in stands_for}) == 1 and len(stands_for[0].changes) == len(rows):
                notice = replace(notice, notice_id=stands_for[0].notice_id)
            made.append(notice)
        return made

    def _held(self, channel: str, told: Told, episode: Episode, reader: Reader, held: Held) -> Notice:
        notice = self._made(channel, self._severity(told), [told], [episode.episode_id], reader)
        return replace(notice, state=NoticeState.HELD, trouble=held.why, waits_for=held.waits_for)

    def _severity(self, told: Told) -> str:
        needs = told.kind in (ChangeKind.OPENED, ChangeKind.REMINDED)
        return self._rules[told.rule].severity if needs else "info"

    def _made(
        self,
        channel: str,
        severity: str,
        all_told: Sequence[Told],
        episode_ids: Sequence[str],
        reader: Reader,
    ) -> Notice:
        said = words(all_told, reader)
        changes = tuple((e, t.kind) for e, t in zip(episode_ids, all_told, strict=True))
        self._serial += 1
        named = json.dumps([channel, changes, reader.now_ms, self._start, self._serial])
        notice_id = hashlib.sha256(named.encode()).hexdigest()[:12]
        return Notice(
            notice_id,
            channel,
            severity,
            said.title,
            said.body,
            changes,
            created_ms=reader.now_ms,
            state=NoticeState.WAITING,
        )


@dataclass(frozen=True, slots=True)
class _Row:
    """One change to be told. `notice`: the held one that it was until now."""

    told: Told
    episode_id: str
    notice: Notice | None


class _Groups:
    """What goes out together: what one person does in one walk to one place; all that is past."""

    def __init__(self) -> None:
        self.rows: dict[Group, list[_Row]] = {}

    def add(self, channel: str, told: Told, episode_id: str, notice: Notice | None = None) -> None:
        past = told.kind is ChangeKind.PAST
        group = (channel, "" if past else told.rule, None if past else told.place, told.kind)
        self.rows.setdefault(group, []).append(_Row(told, episode_id, notice))


def _due(
    plan: Plan, change: Change, mine: Sequence[Notice], fresh: bool
) -> tuple[ChangeKind | None, Held | None]:
    """What a channel is to be told of a change, if anything, and what that waits for."""
    episode = change.episode
    held_before = [n for n in mine if n.state is NoticeState.HELD]
    start = _latest(mine, episode.episode_id)
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
    if start.waits_for is Hold.READINGS:  # nobody was told yet: it began and ended in the past
        plan.part_with(start, episode.episode_id)
        return ChangeKind.PAST, CATCHING_UP
    plan.part_with(start, episode.episode_id, spared_words(start.waits_for))
    return None, None


def _as_is(notice: Notice, episode: Episode, kind: ChangeKind) -> ChangeKind:
    """What a held notice tells as things are: an opening that waited for readings may be past by now."""
    past = episode.closed_ms is not None and notice.waits_for is Hold.READINGS
    return ChangeKind.PAST if kind is ChangeKind.OPENED and past else kind


def _untold(tx: Tx, end: Notice, episode_id: str, plan: Plan) -> Held | None:
    """Why an end is not told yet: its beginning is not, or will never be."""
    start = _latest(notice_store.about(tx, episode_id), episode_id, end.channel)
    if start is None or start.state is NoticeState.SPARED or start.notice_id in plan.spare:
        return OVER
    return None if start.state is NoticeState.SENT else UNTOLD_START


def _latest(notices: Sequence[Notice], episode_id: str, channel: str | None = None) -> Notice | None:
    """The newest notice that tells an episode's beginning (over that channel)."""
    return next(
        (
            n
            for n in reversed(notices)
            if (episode_id, ChangeKind.OPENED) in n.changes and channel in (None, n.channel)
        ),
        None,
    )
