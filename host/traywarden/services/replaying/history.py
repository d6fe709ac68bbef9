"""What every rule would have said over a span of history, and the episodes that makes. Writes nothing."""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeAlias

from traywarden.domain.episodes import (
    Change,
    ChangeKind,
    Episode,
    RuleState,
    Stretch,
    episode_id,
    fold,
)
from traywarden.domain.evidence import Evidence
from traywarden.domain.rules import Answer, AnyRule, PacedRule, Rule, Verdict
from traywarden.domain.subjects import Subject, a_tray
from traywarden.services.asking import trays
from traywarden.services.asking.paced import NO_LONGER, PACES_BRIDGED, Paced
from traywarden.services.asking.round import Round, Verdicts
from traywarden.services.asking.standing import Asked
from traywarden.services.instants import Instants
from traywarden.services.judging import Judge
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.replaying.rounds import Past, RoundThen
from traywarden.store.crops import load_crops
from traywarden.store.episodes import Key

Progress: TypeAlias = Callable[[int, int], None]
LEAD_MS = 3 * DAY_MS
"""Rules are asked from so long before the span on, so that what held at its beginning is known."""
LEAST_PACE_S = 3600.0
"""Rules by the clock are asked no more often than this."""
LONG_MS = 62 * DAY_MS
SLOW_PACE_S = {
    "drying": 2 * 3600.0,
    "frost": 3 * 3600.0,
    "late": 6 * 3600.0,
    "battery": 12 * 3600.0,
    "clock": 12 * 3600.0,
    "faulty": 3 * 3600.0,
    "pulled": 3 * 3600.0,
    "rain": 3 * 3600.0,
}
"""Over more than two months these are asked no more often than this: they take longest to answer, and what
they tell of does not pass within hours."""


@dataclass(frozen=True, slots=True)
class Event:
    """One change and when it was decided [ms since 1970]."""

    decided_ms: int
    rule: AnyRule
    change: Change


@dataclass(frozen=True, slots=True)
class _Said:
    """When a rule was asked of something, what it said the how manieth time, and since when that was no."""

    at_ms: list[int]
    verdict: Callable[[int], Verdict]
    no_since_ms: list[int | None]


class History:
    """Asks rules of [start_ms, end_ms) and before; `events` are their changes, in no order."""

    def __init__(self, ground: Ground, judge: Judge, start_ms: int, end_ms: int) -> None:
        self.ground, self.start_ms, self.end_ms = ground, start_ms, end_ms
        self.knowledge = Knowledge(ground.tx, load_crops())
        self.rules: dict[str, AnyRule] = {}
        self.events: list[Event] = []
        self._judge = judge
        self._said: dict[Key, _Said] = {}
        self._since_ms: dict[Key, int] = {}
        """What has held until the round that is asked, and since when."""
        self.long = end_ms - start_ms > LONG_MS
        self._past = Past(ground, self.knowledge, self._since_ms, long=self.long)
        self._drying_said: dict[Subject, Verdict] = {}

    def verdict(self, key: Key, at_ms: int) -> tuple[int, Verdict] | None:
        """The newest answer of a rule about a subject up to an instant, and when it was given."""
        said, number = self._newest(key, at_ms)
        return None if said is None else (said.at_ms[number], said.verdict(number))

    def no_since_ms(self, key: Key, at_ms: int) -> int | None:
        """Since when a rule had said no of a subject without a break, at an instant; None: it had not."""
        said, number = self._newest(key, at_ms)
        return None if said is None else said.no_since_ms[number]

    def _newest(self, key: Key, at_ms: int) -> tuple[_Said | None, int]:
        """What a rule said of a subject, and the number of the newest up to an instant; None: nothing yet."""
        said = self._said.get(key)
        number = -1 if said is None else bisect_right(said.at_ms, at_ms) - 1
        return (said if number >= 0 else None), number

    def at_readings(self, rules: Sequence[Rule]) -> None:
        """Ask rules of every tray at every reading; they give their reasons where these will be told."""
        self.rules |= {rule.name: rule for rule in rules}
        for tray_id in self.knowledge.trays if rules else ():
            found = self.knowledge.instants(
                self.ground.tx,
                tray_id,
                self.start_ms - LEAD_MS,
                self.end_ms - 1,
                blind_after_ms=self._judge.blind_after_ms,
                earliest_year=self.ground.settings["wire.earliest_year"],
                only_for=(*rules, EVERY_INSTANT),
            )
            begin = RuleState(judged_to_ms=self.start_ms - LEAD_MS)
            for rule in rules:
                delays = self._judge.delays(rule, self.knowledge, a_tray(tray_id))
                _, stretches, _ = found.folded(rule, begin, delays)
                no_since_ms = _no_since_ms(found.verdicts(rule))
                self._take(
                    rule,
                    a_tray(tray_id),
                    _Said(found.at_ms, partial(_judged, rule, found), no_since_ms),
                    stretches,
                )

    def by_clock(self, asked: Sequence[Asked], progress: Progress | None = None) -> None:
        """Ask rules by the clock of every subject, each at its pace but no more often than a replay asks.

        `progress` is told how many rounds of how many are done.
        """
        if not asked:
            return
        paced = Paced(asked, self._judge.blind_after_ms, self.ground.settings.levels)
        self.rules |= paced.rules
        timelines: dict[Key, list[tuple[int, Verdict]]] = {}
        for at_ms, found in self._rounds(asked, progress):
            for name, said in found.items():
                gone = {s for rule, s in timelines if rule == name and s not in said}
                ended = {s: Verdict(Answer.NO, NO_LONGER, at_once=True) for s in gone}
                for subject, verdict in {**said, **ended}.items():
                    timelines.setdefault((name, subject), []).append((at_ms, verdict))
                    if verdict.answer is Answer.YES:
                        self._since_ms.setdefault((name, subject), at_ms)
                    elif verdict.answer is Answer.NO:
                        self._since_ms.pop((name, subject), None)
        for (name, subject), timeline in timelines.items():
            rule = paced.rules[name]
            delays = paced.delays(rule, self.knowledge, subject)
            bridged_ms = round(PACES_BRIDGED * self.pace_s(rule) * 1000)
            wide = replace(delays, longest_gap_ms=max(delays.longest_gap_ms, bridged_ms))
            _, stretches = fold(RuleState(), timeline, wide)
            times, verdicts = [at for at, _ in timeline], [said for _, said in timeline]
            self._take(rule, subject, _Said(times, verdicts.__getitem__, _no_since_ms(timeline)), stretches)

    def pace_s(self, rule: PacedRule) -> float:
        """How often a rule by the clock is asked here [s]."""
        return max(rule.pace_s, SLOW_PACE_S.get(rule.name, 0.0) if self.long else 0.0, LEAST_PACE_S)

    def _rounds(
        self, asked: Sequence[Asked], progress: Progress | None
    ) -> Iterator[tuple[int, Mapping[str, Verdicts]]]:
        """Each instant at which rules are due, with what they say; the journal as of then."""
        slow = [replace(each, rule=replace(each.rule, pace_s=self.pace_s(each.rule))) for each in asked]
        slow = [replace(each, ask=self._drying) if each.rule.name == "drying" else each for each in slow]
        paced = Paced(slow, self._judge.blind_after_ms)
        step_ms = round(LEAST_PACE_S * 1000)
        instants = range(self.start_ms - step_ms, self.end_ms, step_ms)
        for done, at_ms in enumerate(instants):
            if progress is not None:
                progress(done, len(instants))
            due = paced.due(at_ms)
            paced.note(due, at_ms)
            yield at_ms, paced.verdicts(due, self._past.round(at_ms))

    def _drying(self, round_: Round) -> Verdicts:
        """What is said of the trays that can be near their dry line, and of the others what was said last."""
        assert isinstance(round_, RoundThen)
        near = self._past.near(round_.trays, round_.now_ms)
        if near:
            fresh = trays.drying(round_.of(near))
            for subject, verdict in fresh.items():
                self._past.foreseen(subject.number, verdict, round_.now_ms)
            self._drying_said |= fresh
        return dict(self._drying_said)

    def _take(self, rule: AnyRule, subject: Subject, said: "_Said", stretches: Sequence[Stretch]) -> None:
        self._said[rule.name, subject] = said
        for stretch in stretches:
            if stretch.opening is None:
                continue
            facts = {**stretch.opening.facts, "reason": stretch.opening.reason}
            named = episode_id(rule.name, subject, stretch.opened_ms)
            opened = Episode(named, rule.name, subject, stretch.opened_ms, None, facts)
            begins = Change(
                ChangeKind.OPENED, opened, stretch.opening_decided_ms, stretch.opening.reason, False
            )
            self.events.append(Event(begins.decided_ms, rule, begins))
            if stretch.closed_ms is not None and stretch.closing is not None:
                closed = replace(opened, closed_ms=stretch.closed_ms)
                at_ms = stretch.closing_decided_ms or stretch.closed_ms
                self.events.append(
                    Event(at_ms, rule, Change(ChangeKind.CLOSED, closed, at_ms, stretch.closing.reason))
                )


def _judged(rule: Rule, found: Instants, number: int) -> Verdict:
    return rule.judge(found.evidence(number))


def _no_since_ms(answers: Sequence[tuple[int, Verdict]]) -> list[int | None]:
    """At each instant, since when the answer has been no; blind instants break nothing."""
    found: list[int | None] = []
    since_ms: int | None = None
    for at_ms, said in answers:
        if said.answer is Answer.NO:
            since_ms = at_ms if since_ms is None else since_ms
        elif said.answer is not Answer.BLIND:
            since_ms = None
        found.append(since_ms)
    return found


def _never(evidence: Evidence) -> Verdict:
    del evidence
    return Verdict(Answer.BLIND, "nothing is asked")


EVERY_INSTANT = Rule("every instant", "info", "", 0.0, 0.0, _never)
"""Asked beside another rule it makes every instant matter, as it can be asked of single ones alone."""
