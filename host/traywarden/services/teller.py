"""Teller: what is to be told of changes, of what was held, and of what still holds. It writes nothing."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from traywarden.domain.episodes import Change, RuleState
from traywarden.domain.notices import Notice
from traywarden.domain.rules import Answer, AnyRule, PacedRule, Verdict
from traywarden.domain.subjects import Subject
from traywarden.services.describing import Describer
from traywarden.services.holding import Timing
from traywarden.services.knowledge import Knowledge
from traywarden.services.notice_plan import Plan
from traywarden.services.outbox import Outbox, targets
from traywarden.services.reminding import Reminding
from traywarden.services.shadows import Shadows
from traywarden.services.spells import Spells
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.store.store import Tx

CAUGHT_UP_MS = 1_800_000
"""A tray whose newest judged reading is no older than this is judged as of now (two usual intervals)."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The garden at one moment: what is known of it, where every rule stands, and its newest verdicts."""

    knowledge: Knowledge
    states: Mapping[Key, RuleState]
    verdicts: Mapping[Key, Verdict]
    now_ms: int

    def shadows(self) -> Shadows:
        open_ = {k: state.run_since_ms for k, state in self.states.items() if state.open_since_ms is not None}
        return Shadows(open_, self.knowledge, self.now_ms)


class Teller:
    """The plans of what to tell. `spells` knows which trays' readings are still coming in."""

    def __init__(
        self,
        settings: Settings,
        rules: Mapping[str, AnyRule],
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._settings, self._rules, self._monotonic_s = settings, rules, monotonic_s
        self._outbox = Outbox(targets(settings), rules, Timing.of(settings))
        self._reminding = Reminding(settings)
        self.spells = Spells()

    def of_changes(
        self, tx: Tx, standing: Standing, changes: Sequence[Change], reached_ms: Mapping[Subject, int]
    ) -> Plan:
        """What to tell of changes about to be kept; `reached_ms`: up to when each subject has been judged."""
        if not changes:
            return Plan()
        now_ms, describer = standing.now_ms, self._describer(tx, standing)
        return self._outbox.plan(
            tx,
            changes,
            lambda subject: now_ms - reached_ms.get(subject, now_ms) <= CAUGHT_UP_MS,
            describer.told,
            describer.reader,
            standing.shadows().over,
            describer.answered,
        )

    def of_held(
        self, tx: Tx, standing: Standing, held: Sequence[Notice], caught_up: Callable[[Subject], bool]
    ) -> Plan:
        """What may be let go of all that was held back."""
        describer = self._describer(tx, standing)
        return self._outbox.release(
            tx,
            episode_store.episodes_named(tx, (e for n in held for e, _ in n.changes)),
            held,
            caught_up,
            lambda subject: self.spells.settled(subject, self._monotonic_s(), standing.now_ms),
            describer.told,
            describer.subjects,
            describer.reader,
            standing.shadows().over,
            describer.answered,
        )

    def of_reminders(self, tx: Tx, standing: Standing) -> Plan:
        """What still holds and had nothing done about it, unless it is blind now or told once alone."""
        seen = [
            episode
            for episode in episode_store.episodes(tx, open_only=True)
            if self._reminds(episode.rule)
            and (state := standing.states.get((episode.rule, episode.subject))) is not None
            and state.answer in (Answer.YES, Answer.HOLD)
        ]
        if not seen:
            return Plan()
        describer = self._describer(tx, standing)
        knowledge, now_ms, shadow = standing.knowledge, standing.now_ms, standing.shadows().over
        return self._reminding.plan(tx, knowledge, seen, self._outbox, describer, now_ms, shadow)

    def _reminds(self, rule: str) -> bool:
        asked = self._rules.get(rule)
        return not (isinstance(asked, PacedRule) and asked.told_once)

    def _describer(self, tx: Tx, standing: Standing) -> Describer:
        return Describer(tx, standing.knowledge, self._settings, standing.now_ms, standing.verdicts)
