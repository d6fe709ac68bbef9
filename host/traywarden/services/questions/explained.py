"""Why a rule says yes, no or blind of something now: its levels, where they come from, when it would turn."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from traywarden.domain.episodes import NEVER_MS, Delays, Episode, RuleState, fold
from traywarden.domain.rules import Answer, AnyRule, Facts, PacedRule, Rule, Verdict
from traywarden.domain.subjects import HOST, Subject, SubjectKind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.asking.paced import Paced, set_back
from traywarden.services.asking.round import Round, Vitals
from traywarden.services.asking.standing import paced_rules
from traywarden.services.delays import standing
from traywarden.services.judging import CLOCK_AHEAD_MS, Judge, gone_blind, standing_rules
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.last_looked import as_last_looked
from traywarden.services.shadows import Shadows
from traywarden.services.vitals import vitals_of
from traywarden.settings import TABLE, Settings, ruling, telling, whose
from traywarden.store import episodes as episode_store
from traywarden.store.crops import load_crops

LOOK_BACK_MS = 3 * DAY_MS
HOST_NAME = "host"
NOT_NUMBERS = ("do", "source", "do_late", "late_from_ms")
OF_RULES = (*ruling.ROWS, *telling.ROWS)
ALSO_USES = {
    "vent": ("frames.vent_above_c",),
    "shut": ("frames.lid_falls_by", "frames.vents_fall_by"),
    "late": ("emergence.seed_spread", "emergence.looked_every_s"),
}


@dataclass(frozen=True, slots=True)
class UsedSetting:
    """One setting of the rule as it holds here. `known_from`: default, your settings, or what it is for."""

    key: str
    value: Any
    unit: str
    says: str
    known_from: str


@dataclass(frozen=True, slots=True)
class ExplainAnswer:
    """`turns_at`: when it would open (or close) if it went on as it is; None where it would not turn.

    `looked`: when the running host was asked last, where only that can tell; None where it was asked now.
    """

    garden: str
    at: datetime
    rule: str
    question: str
    severity: str
    of: str
    subject: str
    place: str | None
    stage: str
    answer: str
    reason: str
    open_since: datetime | None
    turns_at: datetime | None
    turns_in_s: float | None
    turns: str
    shadow: str
    facts: Facts
    settings: tuple[UsedSetting, ...]
    looked: datetime | None = None


@dataclass(frozen=True, slots=True)
class RuleLine:
    """A rule that can be explained: of what kind of thing it asks what, and how soon its notice wants you."""

    rule: str
    of: str
    question: str
    severity: str


def ask_rules(settings: Settings) -> tuple[RuleLine, ...]:
    """Every rule there is, those of trays first."""
    rules: list[AnyRule] = [*standing_rules(settings), *(each.rule for each in paced_rules(settings))]
    return tuple(RuleLine(r.name, r.of.value, r.question, r.severity) for r in rules)


def ask_explain(ground: Ground, rule: str, subject: str) -> ExplainAnswer:
    """One rule asked of one thing now.

    Raises UnknownNameError (no such rule; no tray, place or probe of that name), ShortOfDataError.
    """
    judge = Judge(ground.settings)
    paced = Paced(paced_rules(ground.settings), judge.blind_after_ms, ground.settings.levels)
    known: dict[str, AnyRule] = {**judge.rules, **paced.rules}
    if rule not in known:
        raise UnknownNameError("rule", rule, list(known))
    return _Explained(ground, judge, paced, known[rule], subject).answer()


class _Explained:
    def __init__(self, ground: Ground, judge: Judge, paced: Paced, rule: AnyRule, name: str) -> None:
        self._ground, self._judge, self._paced, self._rule = ground, judge, paced, rule
        self._knowledge = Knowledge(ground.tx, load_crops())
        self._subject = _named(self._knowledge, rule, name)
        open_ = [
            e
            for e in episode_store.episodes(ground.tx, rule=rule.name, subject=self._subject)
            if e.closed_ms is None
        ]
        self._open: Episode | None = open_[0] if open_ else None
        self._looked_ms: int | None = None

    def answer(self) -> ExplainAnswer:
        ground, rule, subject = self._ground, self._rule, self._subject
        if isinstance(rule, PacedRule):
            state, verdict = self._by_clock(rule)
            delays = self._paced.delays(rule, self._knowledge, subject)
        else:
            state, verdict = self._at_readings(rule)
            delays = self._judge.delays(rule, self._knowledge, subject)
        at_ms, turns = self._turn(state, delays)
        kept = episode_store.rule_states(ground.tx)
        open_ = [(e.rule, e.subject) for e in episode_store.episodes(ground.tx, open_only=True)]
        standing = {key: kept[key][0].run_since_ms if key in kept else None for key in open_}
        shadow = Shadows(standing, self._knowledge, ground.now_ms).over(rule.name, subject)
        place = self._knowledge.where(subject, ground.now_ms)
        stage = self._stage()
        since_ms = self._since_ms(state)
        return ExplainAnswer(
            ground.garden.name,
            ground.at(ground.now_ms),
            rule.name,
            rule.question,
            rule.severity,
            subject.kind.value,
            self._knowledge.name_of(subject),
            place.name if place else None,
            stage,
            state.answer.value,
            state.reason,
            None if since_ms is None else ground.at(since_ms),
            None if at_ms is None else ground.at(at_ms),
            None if at_ms is None else max(0.0, (at_ms - ground.now_ms) / 1000),
            turns,
            shadow,
            {k: v for k, v in verdict.facts.items() if k not in NOT_NUMBERS},
            tuple(self._used()),
            None if self._looked_ms is None else ground.at(self._looked_ms),
        )

    def _stage(self) -> str:
        if self._subject.kind is not SubjectKind.TRAY:
            return ""
        return self._round().tray(self._subject.number).stage.words

    def _round(self) -> Round:
        home = self._ground.settings.home
        vitals = Vitals() if home is None else vitals_of(home, None, None)
        return Round(self._ground, lambda: self._knowledge, vitals)

    def _by_clock(self, rule: PacedRule) -> tuple[RuleState, Verdict]:
        asked = self._paced.asked[rule.name]
        found = self._paced.verdicts([asked], self._round()).get(rule.name, {})
        nothing = Verdict(Answer.BLIND, "there is nothing to ask it of here")
        verdict = found.get(self._subject, nothing)
        kept, _ = episode_store.rule_states(self._ground.tx).get(
            (rule.name, self._subject), (RuleState(), {})
        )
        kept = set_back(kept, self._ground.now_ms)
        if self._subject == HOST and verdict.answer is Answer.BLIND:
            self._looked_ms = None if kept.judged_to_ms == NEVER_MS else kept.judged_to_ms
            return as_last_looked(self._ground, rule, kept), verdict
        if kept.judged_to_ms >= self._ground.now_ms:
            return replace(kept, answer=verdict.answer, reason=verdict.reason), verdict
        state, _ = fold(
            kept, [(self._ground.now_ms, verdict)], self._paced.delays(rule, self._knowledge, self._subject)
        )
        return state, verdict

    def _at_readings(self, rule: Rule) -> tuple[RuleState, Verdict]:
        ground, begin_ms = self._ground, self._ground.now_ms - LOOK_BACK_MS
        evidence = self._knowledge.timeline(
            ground.tx,
            self._subject.number,
            begin_ms,
            ground.now_ms + CLOCK_AHEAD_MS,
            blind_after_ms=self._judge.blind_after_ms,
            earliest_year=ground.settings["wire.earliest_year"],
            only_for=(rule,),
        )
        verdicts = [(e.at_ms, rule.judge(e)) for e in evidence]
        before = self._open if self._open and self._open.opened_ms <= begin_ms else None
        start = RuleState(judged_to_ms=begin_ms, open_since_ms=before.opened_ms if before else None)
        state, _ = fold(start, verdicts, self._judge.delays(rule, self._knowledge, self._subject))
        state = gone_blind(state, ground.now_ms, self._judge.blind_after_ms)
        last = verdicts[-1][1] if verdicts else Verdict(Answer.BLIND, state.reason)
        return state, last

    def _since_ms(self, state: RuleState) -> int | None:
        """Since when it is open, as it is kept; what opens only by this asking is not open yet."""
        if self._open is not None and state.open_since_ms is not None:
            return self._open.opened_ms
        return None if state.open_since_ms == self._ground.now_ms else state.open_since_ms

    def _turn(self, state: RuleState, delays: Delays) -> tuple[int | None, str]:
        """When it would turn if it went on as now, and that in words."""
        is_open = state.open_since_ms is not None
        if is_open != (self._open is not None):
            return None, f"it is {'told' if is_open else 'over'} as soon as the host judges it"
        words, delay_ms = "over" if is_open else "told", delays.at(self._ground.now_ms)[is_open]
        if state.answer is Answer.BLIND:
            stays = "it is not over" if is_open else "nothing is told"
            return None, f"blind now: {stays} until it can be judged again"
        wanted = Answer.NO if is_open else Answer.YES
        if state.answer is not wanted or state.run_since_ms is None:
            return None, f"while nothing changes it is not {words}"
        return state.run_since_ms + delay_ms, f"it would be {words} then if it goes on as now"

    def _used(self) -> Iterator[UsedSetting]:
        """The rule's settings as they hold here; of a place, also those for what stands in it."""
        name, settings = self._rule.name, self._ground.settings
        levels = settings.levels(name)
        ofs = list(standing(self._knowledge, self._subject, self._ground.now_ms))
        of_tray = self._subject.kind is SubjectKind.TRAY
        for row in TABLE:
            if row.kind is not float and row.kind is not int:  # an address or a secret, not a level
                continue
            own = row.key.split(".")[0] == name and row in OF_RULES  # a broker has settings of its own too
            if not own and row.key not in ALSO_USES.get(name, ()):
                continue
            keys = [levels.key(row.key.partition(".")[2], of) for of in ofs] if row.varies else []
            for key in dict.fromkeys(keys if of_tray and keys else [row.key, *keys]):
                value = settings.overrides[key] if key in settings.overrides else settings[row.key]
                known_from = "default" if value == row.default else "your settings"
                if key != row.key:
                    _, kind, which, _ = whose(key)
                    known_from = f"given for {kind} {which}"
                yield UsedSetting(key, value, row.unit, row.says, known_from)


def _named(knowledge: Knowledge, rule: AnyRule, name: str) -> Subject:
    """The subject of the rule's kind that the grower calls so."""
    if rule.of is SubjectKind.HOST:
        if name not in ("", HOST_NAME):
            raise UnknownNameError("subject of this rule", name, [HOST_NAME])
        return HOST
    named = {
        SubjectKind.TRAY: {t.name: n for n, t in knowledge.trays.items()},
        SubjectKind.PLACE: {p.name: n for n, p in knowledge.places.items()},
        SubjectKind.PROBE: {name: n for n, p in knowledge.probes.items() for name in (p.name, p.called)},
    }[rule.of]
    if not name:
        of = rule.of.value
        raise UsageError(
            f"Say of which {of} “{rule.name}” is asked, such as “{min(named)}”."
            if named
            else f"There is no {of} yet that “{rule.name}” could be asked of."
        )
    if name not in named:
        raise UnknownNameError(rule.of.value, name, list(named))
    return Subject(rule.of, named[name])
