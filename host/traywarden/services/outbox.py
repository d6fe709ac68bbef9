"""From changes of episodes to notices: who is told, what is held back, and what goes into the digest.

Everything here is decided before the transaction begins and written by `Plan.write` inside it, together
with the episodes.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.notice_words import Reader, Told, words
from traywarden.domain.notices import Notice, NoticeState, passes
from traywarden.domain.rules import Rule
from traywarden.domain.subjects import Subject
from traywarden.settings import Settings
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

STALE_MS = 3_600_000
"""A change decided on readings measured longer ago than this may have been overtaken by others on the way."""
CATCHING_UP = "held until the tray's readings have caught up"
UNTOLD_START = "held until its beginning has been told"
CONSOLE = "console"

Describe = Callable[[Change], Told]
Group = tuple[str, str, str | None, ChangeKind]


def targets(settings: Settings) -> dict[str, str]:
    """Channel name → least severity it takes."""
    found = {CONSOLE: "info"} if settings["notices.console"] else {}
    return found | {c.name: c.least_severity for c in settings.channels}


@dataclass(slots=True)
class Plan:
    """Notices to put and held ones they stand for; written in one go."""

    put: list[Notice] = field(default_factory=list)
    take: list[str] = field(default_factory=list)

    def write(self, tx: Tx) -> None:
        if self.take:
            notice_store.take(tx, self.take)
        notice_store.put(tx, self.put)

    def __bool__(self) -> bool:
        return bool(self.put or self.take)


class Outbox:
    """Knows the channels and the rules; turns changes into notices."""

    def __init__(self, channels: Mapping[str, str], rules: Mapping[str, Rule]) -> None:
        self._channels, self._rules = channels, rules
        self._serial = 0

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
        plan = Plan()
        groups: dict[Group, list[Told]] = {}
        ids: dict[Group, list[str]] = {}
        for change in changes:
            if change.kind is ChangeKind.MOVED:
                continue
            told = describe(change)
            fresh = change.kind is not ChangeKind.PAST and (
                reader.now_ms - change.decided_ms <= STALE_MS or caught_up(change.episode.subject)
            )
            earlier = notice_store.about(tx, change.episode.episode_id) if change.known_before else []
            for channel in self._eligible(change.episode.rule):
                mine = [n for n in earlier if n.channel == channel]
                now = self._one(plan, channel, change, told, mine, fresh, reader)
                if now:
                    group: Group = (channel, change.episode.rule, told.place, change.kind)
                    groups.setdefault(group, []).append(told)
                    ids.setdefault(group, []).append(change.episode.episode_id)
        for group, all_told in groups.items():
            plan.put.append(self._notice(group[0], all_told, ids[group], reader))
        return plan

    def _one(
        self,
        plan: Plan,
        channel: str,
        change: Change,
        told: Told,
        mine: Sequence[Notice],
        fresh: bool,
        reader: Reader,
    ) -> bool:
        """Whether the channel is told at once; otherwise what is held instead is in the plan."""
        episode = change.episode
        if change.kind is ChangeKind.CLOSED:
            start = _latest(mine, episode.episode_id, ChangeKind.OPENED)
            if start is None:
                return False
            if start.state is NoticeState.HELD:  # nobody was told yet: it began and ended in the past
                plan.take.append(start.notice_id)
                past = _as_past(told)
                plan.put.append(self._held(channel, past, episode, reader, CATCHING_UP))
                return False
            if start.state is not NoticeState.SENT:
                plan.put.append(self._held(channel, told, episode, reader, UNTOLD_START))
                return False
            return True
        held_before = [n for n in mine if n.state is NoticeState.HELD]
        plan.take += [n.notice_id for n in held_before]  # reopened before anyone was told of its end
        if not fresh:
            plan.put.append(self._held(channel, told, episode, reader, CATCHING_UP))
        return fresh

    def release(
        self,
        tx: Tx,
        episodes: Mapping[str, Episode],
        held: Sequence[Notice],
        caught_up: Callable[[Subject], bool],
        settled: Callable[[Subject], bool],
        describe: Callable[[Change], Told],
        reader: Reader,
    ) -> Plan:
        """What may now be told of all that is held.

        An episode that is still open is told once its tray's readings have caught up or settled; those that
        are past wait until every tray with one has settled, and become one digest per channel.
        """
        plan = Plan()
        groups: dict[Group, list[tuple[Notice, Told]]] = {}
        past: dict[str, list[tuple[Notice, Episode]]] = {}
        for notice in held:
            (episode_id, kind), *_ = notice.changes
            episode = episodes.get(episode_id)
            if episode is None:
                continue
            if kind is ChangeKind.OPENED and episode.closed_ms is not None:
                kind = ChangeKind.PAST
            if kind is ChangeKind.PAST:
                past.setdefault(notice.channel, []).append((notice, episode))
            elif kind is ChangeKind.OPENED:
                if not (caught_up(episode.subject) or settled(episode.subject)):
                    continue
                _add(groups, notice, describe(Change(kind, episode, reader.now_ms)))
            else:
                start = _latest(notice_store.about(tx, episode_id), episode_id, ChangeKind.OPENED, notice)
                if start is not None and start.state is NoticeState.SENT:
                    _add(groups, notice, describe(Change(kind, episode, reader.now_ms)))
        for (channel, *_), rows in groups.items():
            plan.take += [n.notice_id for n, _ in rows]
            ids = [n.changes[0][0] for n, _ in rows]
            plan.put.append(self._notice(channel, [told for _, told in rows], ids, reader))
        for channel, gone in past.items():
            if all(settled(episode.subject) for _, episode in gone):
                plan.take += [n.notice_id for n, _ in gone]
                all_told = [describe(Change(ChangeKind.PAST, e, reader.now_ms)) for _, e in gone]
                ids = [e.episode_id for _, e in gone]
                plan.put.append(self._notice(channel, all_told, ids, reader))
        return plan

    def _eligible(self, rule: str) -> Iterable[str]:
        severity = self._rules[rule].severity
        return [name for name, least in self._channels.items() if passes(severity, least)]

    def _notice(
        self, channel: str, all_told: Sequence[Told], episode_ids: Sequence[str], reader: Reader
    ) -> Notice:
        kind = all_told[0].kind
        severity = self._rules[all_told[0].rule].severity if kind is ChangeKind.OPENED else "info"
        return self._made(channel, severity, all_told, episode_ids, reader, NoticeState.WAITING, "")

    def _held(self, channel: str, told: Told, episode: Episode, reader: Reader, why: str) -> Notice:
        severity = self._rules[told.rule].severity if told.kind is ChangeKind.OPENED else "info"
        return self._made(channel, severity, [told], [episode.episode_id], reader, NoticeState.HELD, why)

    def _made(
        self,
        channel: str,
        severity: str,
        all_told: Sequence[Told],
        episode_ids: Sequence[str],
        reader: Reader,
        state: NoticeState,
        trouble: str,
    ) -> Notice:
        said = words(all_told, reader)
        changes = tuple((e, t.kind) for e, t in zip(episode_ids, all_told, strict=True))
        self._serial += 1
        named = json.dumps([channel, state.value, changes, reader.now_ms, self._serial])
        notice_id = hashlib.sha256(named.encode()).hexdigest()[:12]
        return Notice(
            notice_id,
            channel,
            severity,
            said.title,
            said.body,
            changes,
            created_ms=reader.now_ms,
            state=state,
            trouble=trouble,
        )


def _add(groups: dict[Group, list[tuple[Notice, Told]]], notice: Notice, told: Told) -> None:
    groups.setdefault((notice.channel, told.rule, told.place, told.kind), []).append((notice, told))


def _as_past(told: Told) -> Told:
    return replace(told, kind=ChangeKind.PAST)


def _latest(
    notices: Sequence[Notice], episode_id: str, kind: ChangeKind, beside: Notice | None = None
) -> Notice | None:
    """The newest notice that tells that change (over the same channel as `beside`)."""
    return next(
        (
            n
            for n in reversed(notices)
            if (episode_id, kind) in n.changes and (beside is None or n.channel == beside.channel)
        ),
        None,
    )
