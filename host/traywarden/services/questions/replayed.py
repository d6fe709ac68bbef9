"""What would have been sent over a span of history, with these settings or others; nothing is sent."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from traywarden.domain.days import day_start_ms
from traywarden.domain.episodes import Change, ChangeKind, Episode, RuleState, Stretch, episode_id, fold
from traywarden.domain.journal import Facts
from traywarden.domain.notice_words import Told, words
from traywarden.domain.rules import Answer, AnyRule, Rule, Verdict
from traywarden.domain.subjects import Subject, a_tray
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.asking.paced import NO_LONGER, Paced
from traywarden.services.asking.round import Round, Verdicts, Vitals
from traywarden.services.asking.standing import Asked, paced_rules
from traywarden.services.describing import Describer
from traywarden.services.judging import Judge
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.days import span_of
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.shadows import Shadows
from traywarden.settings import changed
from traywarden.store.crops import load_crops
from traywarden.store.episodes import Key

DEFAULT_DAYS = 14
LEAD_MS = 3 * DAY_MS
"""Rules are asked from so long before the span on, so that what held at its beginning is known."""
LEAST_PACE_S = 3600.0
"""In a replay rules by the clock are asked no more often than this."""
MOST_ASKED_H = 24 * 62
WEEK_MS = 7 * DAY_MS


@dataclass(frozen=True, slots=True)
class ReplayAsked:
    """First and last day (default the last fourteen), rules (default all), settings given otherwise."""

    start: date | None = None
    end: date | None = None
    rules: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReplayedNotice:
    """One notice that would have been sent. `change` is “opened” or “closed”."""

    at: datetime
    rule: str
    change: str
    severity: str
    of: str
    subjects: tuple[str, ...]
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class RuleCount:
    """One rule: notices, episodes, and how many of them began within a day after the last had ended."""

    rule: str
    notices: int
    episodes: int
    back_within_a_day: int


@dataclass(frozen=True, slots=True)
class ReplayAnswer:
    """`tray_week_median` and `tray_week_most`: notices about one tray in one week of the span."""

    garden: str
    start: datetime
    end: datetime
    changes: tuple[str, ...]
    rules: tuple[RuleCount, ...]
    trays: int
    weeks: int
    tray_week_median: float
    tray_week_most: int
    shadowed: int
    notices: tuple[ReplayedNotice, ...]
    left_out: tuple[str, ...]
    remarks: tuple[str, ...]


def ask_replay(ground: Ground, asked: ReplayAsked) -> ReplayAnswer:
    """Every notice that the rules would have brought over a span, as if each reading had come in at once.

    Raises UsageError (a setting without “=”, a span too long for rules by the clock), UnknownNameError (a
    rule), SettingsError, ShortOfDataError (nothing was ever measured).
    """
    ground.need_readings()
    settings = changed(ground.settings, dict(_pair(text) for text in asked.changes))
    first, last = span_of(ground, asked.start, asked.end, DEFAULT_DAYS)
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    on = replace(ground, settings=settings)
    judge, paced = Judge(settings), {each.rule.name: each for each in paced_rules(settings)}
    known = [*judge.rules, *paced]
    for name in asked.rules:
        if name not in known:
            raise UnknownNameError("rule", name, known)
    chosen = asked.rules or tuple(known)
    left_out = tuple(name for name in chosen if name in paced and not paced[name].replayable)
    by_clock = [paced[name] for name in chosen if name in paced and paced[name].replayable]
    if by_clock and (end_ms - start_ms) / 3_600_000 > MOST_ASKED_H:
        raise UsageError(
            f"Rules by the clock ({', '.join(each.rule.name for each in by_clock)}) are replayed over "
            f"{MOST_ASKED_H // 24} days at most; name those asked at readings, such as --rule dry, or a "
            "shorter span."
        )
    replay = _Replay(on, judge, start_ms, end_ms)
    for name in chosen:
        if name in judge.rules:
            replay.at_readings(judge.rules[name])
    replay.by_clock(by_clock)
    return replay.answer(asked.changes, chosen, left_out)


def _pair(text: str) -> tuple[str, str]:
    key, found, value = text.partition("=")
    if not found:
        raise UsageError(f"“{text}” sets nothing; write it like dry.close_above=0.1.")
    return key.strip(), value.strip()


@dataclass(frozen=True, slots=True)
class _Event:
    """One change and when it was decided [ms since 1970]."""

    decided_ms: int
    rule: AnyRule
    change: Change


class _Replay:
    """Collects what would have changed, then tells it in the order in which it was decided."""

    def __init__(self, ground: Ground, judge: Judge, start_ms: int, end_ms: int) -> None:
        self._ground, self._judge = ground, judge
        self._start_ms, self._end_ms = start_ms, end_ms
        self._knowledge = Knowledge(ground.tx, load_crops())
        self._events: list[_Event] = []

    def at_readings(self, rule: Rule) -> None:
        for tray_id in self._knowledge.trays:
            evidence = self._knowledge.timeline(
                self._ground.tx,
                tray_id,
                self._start_ms - LEAD_MS,
                self._end_ms - 1,
                blind_after_ms=self._judge.blind_after_ms,
                earliest_year=self._ground.settings["wire.earliest_year"],
                only_for=(rule,),
            )
            verdicts = ((e.at_ms, rule.judge(e)) for e in evidence)
            begin = RuleState(judged_to_ms=self._start_ms - LEAD_MS)
            _, stretches = fold(begin, verdicts, self._judge.delays(rule, self._knowledge, a_tray(tray_id)))
            self._take(rule, a_tray(tray_id), stretches)

    def by_clock(self, asked: Sequence[Asked]) -> None:
        if not asked:
            return
        paced = Paced(asked, self._judge.blind_after_ms, self._ground.settings.levels)
        verdicts: dict[Key, list[tuple[int, Verdict]]] = {}
        standing: set[Key] = set()
        since_ms: dict[Key, int] = {}
        for at_ms, found in self._rounds(paced, since_ms):
            for name, said in found.items():
                gone = {s for rule, s in standing if rule == name and s not in said}
                ended = {s: Verdict(Answer.NO, NO_LONGER, at_once=True) for s in gone}
                for subject, verdict in {**said, **ended}.items():
                    verdicts.setdefault((name, subject), []).append((at_ms, verdict))
                    standing.add((name, subject))
                    if verdict.answer is Answer.YES:
                        since_ms.setdefault((name, subject), at_ms)
                    elif verdict.answer is Answer.NO:
                        since_ms.pop((name, subject), None)
        for (name, subject), timeline in verdicts.items():
            rule = paced.rules[name]
            delays = paced.delays(rule, self._knowledge, subject)
            bridged_ms = round(3 * max(rule.pace_s, LEAST_PACE_S) * 1000)
            wide = replace(delays, longest_gap_ms=max(delays.longest_gap_ms, bridged_ms))
            _, stretches = fold(RuleState(), timeline, wide)
            self._take(rule, subject, stretches)

    def _rounds(
        self, paced: Paced, since_ms: Mapping[Key, int]
    ) -> Iterator[tuple[int, Mapping[str, Verdicts]]]:
        """Each instant at which rules are due, with what they say; the journal as of then.

        `since_ms`: what has held until then, and since when; the caller adds what each round found.
        """
        step_ms = round(LEAST_PACE_S * 1000)
        entries = self._ground.facts.entries
        known, facts = -1, self._ground.facts
        for at_ms in range(self._start_ms - step_ms, self._end_ms, step_ms):
            due = paced.due(at_ms)
            paced.note(due, at_ms)
            count = sum(e.at_ms <= at_ms for e in entries)
            if count != known:
                known, facts = count, Facts(e for e in entries if e.at_ms <= at_ms)
            on = replace(self._ground, now_ms=at_ms, facts=facts)
            round_ = Round(on, lambda: self._knowledge, Vitals(), as_of_then=True, open_since_ms=since_ms)
            yield at_ms, paced.verdicts(due, round_)

    def _take(self, rule: AnyRule, subject: Subject, stretches: Sequence[Stretch]) -> None:
        for stretch in stretches:
            if stretch.opening is None:
                continue
            facts = {**stretch.opening.facts, "reason": stretch.opening.reason}
            named = episode_id(rule.name, subject, stretch.opened_ms)
            opened = Episode(named, rule.name, subject, stretch.opened_ms, None, facts)
            self._add(rule, ChangeKind.OPENED, opened, stretch.opening_decided_ms, stretch.opening)
            if stretch.closed_ms is not None and stretch.closing is not None:
                closed = replace(opened, closed_ms=stretch.closed_ms)
                self._add(rule, ChangeKind.CLOSED, closed, stretch.closing_decided_ms or 0, stretch.closing)

    def _add(
        self, rule: AnyRule, kind: ChangeKind, episode: Episode, decided_ms: int, verdict: Verdict
    ) -> None:
        change = Change(kind, episode, decided_ms, verdict.reason)
        self._events.append(_Event(decided_ms, rule, change))

    def answer(
        self, changes: tuple[str, ...], chosen: Sequence[str], left_out: tuple[str, ...]
    ) -> ReplayAnswer:
        ground = self._ground
        told, shadowed = self._told()
        notices = [self._notice(group) for group in told]
        per_week = self._per_week(notices)
        return ReplayAnswer(
            ground.garden.name,
            ground.at(self._start_ms),
            ground.at(self._end_ms),
            changes,
            tuple(self._count(name, told) for name in chosen if name not in left_out),
            len(self._knowledge.trays),
            per_week.shape[1] if per_week.ndim == 2 else 0,
            float(np.median(per_week)) if per_week.size else 0.0,
            int(per_week.max()) if per_week.size else 0,
            shadowed,
            tuple(notices),
            left_out,
            (
                "as if every reading had come in when it was measured, and with the journal as it holds "
                "today; hushes, quiet hours and reminders are left aside",
                "rules by the clock are asked once an hour at most, where the host asks some every five "
                "minutes",
            ),
        )

    def _told(self) -> tuple[list[list[_Event]], int]:
        """Groups that are one notice, in order; what stands in a shadow is only counted."""
        groups: dict[tuple[int, str, int | None, ChangeKind], list[_Event]] = {}
        standing: set[Key] = set()
        dark: set[str] = set()
        for event in sorted(self._events, key=lambda e: (e.decided_ms, e.rule.name != "quiet")):
            episode, kind = event.change.episode, event.change.kind
            key = (episode.rule, episode.subject)
            if kind is ChangeKind.OPENED:
                shadow = Shadows(standing, self._knowledge, event.decided_ms)
                standing.add(key)
                if shadow.over(*key):
                    dark.add(episode.episode_id)
            else:
                standing.discard(key)
            silent = kind is ChangeKind.CLOSED and event.rule.told_once
            if episode.episode_id in dark or silent or event.decided_ms < self._start_ms:
                continue
            place = self._knowledge.where(episode.subject, event.decided_ms)
            group = (event.decided_ms, episode.rule, place.place_id if place else None, kind)
            groups.setdefault(group, []).append(event)
        return list(groups.values()), len(dark)

    def _notice(self, group: Sequence[_Event]) -> ReplayedNotice:
        first = group[0]
        describer = Describer(self._ground.tx, self._knowledge, self._ground.settings, first.decided_ms, {})
        told: list[Told] = [describer.told(event.change) for event in group]
        said = words(told, describer.reader)
        opened = first.change.kind is ChangeKind.OPENED
        return ReplayedNotice(
            self._ground.at(first.decided_ms),
            first.rule.name,
            first.change.kind.value,
            first.rule.severity if opened else "info",
            first.change.episode.subject.kind.value,
            tuple(t.subject for t in told),
            said.title,
            said.body,
        )

    def _per_week(self, notices: Sequence[ReplayedNotice]) -> np.ndarray:
        """Notices about each tray in each week of the span; trays by weeks."""
        names = [tray.name for tray in self._knowledge.trays.values()]
        weeks = max(1, round((self._end_ms - self._start_ms) / WEEK_MS))
        table = np.zeros((len(names), weeks), np.int64)
        for notice in notices:
            week = min(int((notice.at.timestamp() * 1000 - self._start_ms) // WEEK_MS), weeks - 1)
            for name in notice.subjects if notice.of == "tray" else ():
                table[names.index(name), week] += 1
        return table

    def _count(self, name: str, told: Sequence[Sequence[_Event]]) -> RuleCount:
        mine = [group for group in told if group[0].rule.name == name]
        opened = [e for group in mine for e in group if e.change.kind is ChangeKind.OPENED]
        ended: dict[Subject, int] = {}
        back = 0
        for event in sorted((e for e in self._events if e.rule.name == name), key=lambda e: e.decided_ms):
            subject = event.change.episode.subject
            if event.change.kind is ChangeKind.CLOSED:
                ended[subject] = event.decided_ms
            elif subject in ended and event.decided_ms - ended[subject] < DAY_MS:
                back += 1
        return RuleCount(name, len(mine), len(opened), back)
