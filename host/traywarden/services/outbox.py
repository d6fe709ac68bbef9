"""From changes of episodes to notices: who is told, what is held back, and what goes into the digest.

Everything here is decided before the transaction begins and written by `Plan.write` inside it, together
with the episodes.
"""

import hashlib
import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.notice_words import Reader, Told, words
from traywarden.domain.notices import Hold, Notice, NoticeState, most_severe, passes
from traywarden.domain.rules import AnyRule
from traywarden.domain.severities import SEVERITIES
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.ends import BEGUN_AGAIN, Answered, Later, known_to_be_over, not_known
from traywarden.services.holding import (
    BEGINS_AGAIN,
    CATCHING_UP,
    OVER,
    TOGETHER,
    Held,
    Holding,
    Shadow,
    Timing,
    no_shadow,
    spared_words,
)
from traywarden.services.notice_plan import STALE_MS, Plan, as_is, due, untold
from traywarden.settings import Settings
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

Describe = Callable[[Change], Told]
Group = tuple[str, str, str | None, ChangeKind | None]
Walk = tuple[str, str, Subject | None]


def targets(settings: Settings) -> dict[str, str]:
    """Channel name → least severity it takes."""
    return {name: least for name, (least, _) in settings.ways_out.items()}


class Outbox:
    """Knows the channels and the rules; turns changes into notices."""

    def __init__(self, channels: Mapping[str, str], rules: Mapping[str, AnyRule], timing: Timing) -> None:
        self._channels, self._rules, self._timing = channels, rules, timing
        self._serial = 0
        self._start = secrets.token_hex(8)  # numbers begin anew with every start; ids do not

    def plan(
        self,
        tx: Tx,
        changes: Sequence[Change],
        caught_up: Callable[[Subject], bool],
        describe: Describe,
        reader: Reader,
        shadow: Shadow = no_shadow,
        answered: Answered = not_known,
    ) -> Plan:
        """What to tell of changes that are about to be kept. Reads the outbox, writes nothing.

        An opening that was decided long ago is told at once only if the tray's readings reach up to now:
        otherwise those on their way may end it. What had ended when it was found out waits for the digest.
        """
        plan, holding, groups = Plan(), Holding.now(tx, self._timing, reader, shadow), _Groups()
        known = (c.episode.episode_id for c in changes if c.known_before and c.kind is not ChangeKind.MOVED)
        told_before = notice_store.about_all(tx, known)
        for change in changes:
            if change.kind is ChangeKind.MOVED:
                continue
            told, episode = describe(change), change.episode
            fresh = change.kind is not ChangeKind.PAST and (
                reader.now_ms - change.decided_ms <= STALE_MS or caught_up(episode.subject)
            )
            earlier = told_before.get(episode.episode_id, [])
            for channel in self.eligible(episode.rule):
                mine = [n for n in earlier if n.channel == channel]
                kind, held = due(plan, change, mine, fresh, reader.now_ms)
                if kind is None or (kind is ChangeKind.CLOSED and self._rules[episode.rule].told_once):
                    continue
                say = replace(told, kind=kind)
                if kind is ChangeKind.CLOSED and (
                    why := self._known_to_be_over(episode, mine, answered, reader)
                ):
                    spared = self._held(channel, say, episode.episode_id, reader, Held(Hold.NOTHING, why))
                    plan.put.append(replace(spared, state=NoticeState.SPARED))
                    continue
                held = held or self._why(holding, channel, say, reader.now_ms)
                if held is None and kind is ChangeKind.OPENED:
                    held = holding.gathers(reader.now_ms)
                if held is None:
                    groups.add(channel, say, episode.episode_id)
                else:
                    plan.put.append(self._held(channel, say, episode.episode_id, reader, held))
        plan.put += self._told(groups, reader)
        return plan

    def remind(
        self,
        tx: Tx,
        due: Iterable[tuple[str, Told, str, bool]],
        reader: Reader,
        shadow: Shadow = no_shadow,
    ) -> Plan:
        """What to tell of episodes that still hold: channel, words and episode id of each, and whether it has
        waited for the morning, to go as one."""
        plan, holding, groups = Plan(), Holding.now(tx, self._timing, reader, shadow), _Groups()
        for channel, told, episode_id, waited in due:
            held = self._why(holding, channel, told, reader.now_ms)
            if held is None:
                groups.add(channel, told, episode_id, together=waited)
            elif held.waits_for not in (Hold.HUSH, Hold.SHADOW):  # it is reminded of when they end
                plan.put.append(self._held(channel, told, episode_id, reader, held))
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
        shadow: Shadow = no_shadow,
        answered: Answered = not_known,
    ) -> Plan:
        """What may now be told of all that is held.

        An episode that is still open is told once its tray's readings have caught up or settled; those that
        are past wait until every tray with one has settled, and become one digest per channel. Nothing is
        told that is hushed, nor what was over before it could be told.
        """
        plan, holding, groups = Plan(), Holding.now(tx, self._timing, reader, shadow), _Groups()
        parts = [
            (n, episodes[e], as_is(n, episodes[e], k)) for n in held for e, k in n.changes if e in episodes
        ]
        unsettled = {n.channel for n, e, kind in parts if kind is ChangeKind.PAST and not settled(e.subject)}
        first_ms = _first_of_each_walk(parts, subjects)
        ended = [episode for _, episode, kind in parts if kind is ChangeKind.CLOSED]
        told_before = notice_store.about_all(tx, (e.episode_id for e in ended))
        later = Later(tx, ended)
        outcomes: dict[str, list[tuple[Notice, Episode, ChangeKind, Held | None]]] = {}
        for notice, episode, kind in parts:
            waits = notice.channel in unsettled
            if kind is ChangeKind.CLOSED:
                before = told_before[episode.episode_id]
                why = untold(before, notice, episode.episode_id, plan)
                mine = [n for n in before if n.channel == notice.channel]
                known = self._known_to_be_over(episode, mine, answered, reader)
                known = BEGUN_AGAIN if later.begun_again(episode, notice.channel) else known
                if why is not OVER and known:
                    plan.part_with(notice, episode.episode_id, known)
                    outcomes.setdefault(notice.notice_id, []).append((notice, episode, kind, OVER))
                    continue
            elif kind is not ChangeKind.PAST and episode.closed_ms is not None:
                why = OVER
            else:
                if kind is not ChangeKind.PAST:
                    waits = not (caught_up(episode.subject) or settled(episode.subject))
                why = CATCHING_UP if waits else None
            if why is None:
                named = subjects(episode)
                severity = self._severity(episode.rule, kind)
                begins = kind is ChangeKind.OPENED
                why = holding.why(
                    notice.channel, severity, episode.rule, named, notice.created_ms, begins=begins
                )
                if why is None and kind is ChangeKind.OPENED:
                    why = holding.gathers(first_ms.get(_walk(notice, episode, named), notice.created_ms))
                if (
                    why is None
                    and kind is ChangeKind.CLOSED
                    and later.may_begin_again(episode, notice.channel)
                ):
                    why = BEGINS_AGAIN
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
        as_it_was = all((episode.episode_id, kind) in notice.changes for _, episode, kind, _ in rows)
        if as_it_was and len(whys) == 1 and (why := rows[0][3]) is not None:
            if (why.waits_for, why.why) != (notice.waits_for, notice.trouble):
                plan.hold[notice.notice_id] = why
            return
        plan.take.append(notice.notice_id)
        for _, episode, kind, why in rows:
            told = describe(Change(kind, episode, reader.now_ms))
            if why is None:
                groups.add(notice.channel, told, episode.episode_id, notice)
            else:
                plan.put.append(self._held(notice.channel, told, episode.episode_id, reader, why))

    def _known_to_be_over(
        self, episode: Episode, mine: Sequence[Notice], answered: Answered, reader: Reader
    ) -> str:
        shared = self._timing.shared and self.severity(episode.rule) == "urgent"
        return known_to_be_over(episode, mine, answered, reader.now_ms, all_the_same=shared)

    def severity(self, rule: str) -> str:
        return self._rules[rule].severity

    def eligible(self, rule: str) -> list[str]:
        """The channels that take what is as severe as the rule."""
        severity = self.severity(rule)
        return [name for name, least in self._channels.items() if passes(severity, least)]

    def _told(self, groups: "_Groups", reader: Reader) -> list[Notice]:
        """One notice for each group; the only one it stands for goes on under its own id, once."""
        made: list[Notice] = []
        used: set[str] = set()
        for (channel, *_), found in groups.rows.items():
            rows = sorted(found, key=lambda row: -SEVERITIES.index(self.severity(row.told.rule)))
            all_told, ids = [row.told for row in rows], [row.episode_id for row in rows]
            severity = most_severe(self._severity(told.rule, told.kind) for told in all_told)
            stands_for = [row.notice for row in rows if row.notice is not None]
            notice = self._made(channel, severity, all_told, ids, reader)
            if len(own := {n.notice_id for n in stands_for}) == 1 and not own & used:
                used |= own
                notice = replace(notice, notice_id=own.pop())
            made.append(notice)
        return made

    def _why(self, holding: Holding, channel: str, told: Told, since_ms: int) -> Held | None:
        severity = self._severity(told.rule, told.kind)
        begins = told.kind is ChangeKind.OPENED
        return holding.why(channel, severity, told.rule, told.subjects, since_ms, begins=begins)

    def _held(self, channel: str, told: Told, episode_id: str, reader: Reader, held: Held) -> Notice:
        severity = self._severity(told.rule, told.kind)
        notice = self._made(channel, severity, [told], [episode_id], reader)
        return replace(notice, state=NoticeState.HELD, trouble=held.why, waits_for=held.waits_for)

    def _severity(self, rule: str, kind: ChangeKind) -> str:
        needs = kind in (ChangeKind.OPENED, ChangeKind.REMINDED)
        return self._rules[rule].severity if needs else "info"

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
    """What goes out together: what one person does in one walk to one place, whatever it is; a digest; all
    that is past. What stands in no known place goes by its rule."""

    def __init__(self) -> None:
        self.rows: dict[Group, list[_Row]] = {}

    def add(
        self,
        channel: str,
        told: Told,
        episode_id: str,
        notice: Notice | None = None,
        *,
        together: bool = False,
    ) -> None:
        group: Group = (channel, "" if told.place else told.rule, told.place, told.kind)
        if together or (notice is not None and notice.waits_for in TOGETHER):
            group = (channel, "", None, None)
        elif told.kind is ChangeKind.PAST:
            group = (channel, "", None, told.kind)
        self.rows.setdefault(group, []).append(_Row(told, episode_id, notice))


def _walk(notice: Notice, episode: Episode, subjects: Sequence[Subject]) -> Walk:
    place = next((s for s in subjects if s.kind is SubjectKind.PLACE), None)
    return notice.channel, episode.rule if place is None else "", place


def _first_of_each_walk(
    parts: Sequence[tuple[Notice, Episode, ChangeKind]], subjects: Callable[[Episode], tuple[Subject, ...]]
) -> dict[Walk, int]:
    """When the first of those came up that wait for others in the same place."""
    first: dict[Walk, int] = {}
    for notice, episode, _ in parts:
        if notice.waits_for is Hold.OTHERS:
            walk = _walk(notice, episode, subjects(episode))
            first[walk] = min(notice.created_ms, first.get(walk, notice.created_ms))
    return first
