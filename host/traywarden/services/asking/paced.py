"""When the paced rules are due, and what their answers change. Reads; writes nothing."""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from traywarden.domain.episodes import Delays, Episode, RuleState, fold, reconciled
from traywarden.domain.levels import Levels
from traywarden.domain.rules import Answer, PacedRule, Verdict
from traywarden.domain.subjects import Subject
from traywarden.errors import ShortOfDataError, StoreError, UsageError
from traywarden.services.asking.round import Round, Verdicts
from traywarden.services.asking.standing import Asked
from traywarden.services.delays import delays_of
from traywarden.services.judging import Judged
from traywarden.services.knowledge import Knowledge
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.store.store import Tx

log = logging.getLogger(__name__)
PACES_BRIDGED = 3
"""So many rounds may fail or be blind within a run of answers."""
NO_LONGER = "it is no longer asked there"


def no_levels(rule: str) -> Levels:
    """Nothing is given for any crop, mix or stage."""
    return Levels(rule, {}, {})


class Paced:
    """The paced rules of a watch, and when each was asked last."""

    def __init__(
        self, asked: Iterable[Asked], blind_after_ms: int, levels: Callable[[str], Levels] = no_levels
    ) -> None:
        self.asked = {each.rule.name: each for each in asked}
        self._levels = {name: levels(name) for name in self.asked}
        self._blind_after_ms = blind_after_ms
        self._asked_ms: dict[str, int] = {}

    @property
    def rules(self) -> dict[str, PacedRule]:
        return {name: each.rule for name, each in self.asked.items()}

    def due(self, now_ms: int) -> list[Asked]:
        """Those whose time has come; a clock that went back makes all of them due."""
        return [each for name, each in self.asked.items() if self._is_due(name, each.rule, now_ms)]

    def _is_due(self, name: str, rule: PacedRule, now_ms: int) -> bool:
        last_ms = self._asked_ms.get(name)
        return last_ms is None or not last_ms <= now_ms < last_ms + rule.pace_s * 1000

    def note(self, asked: Iterable[Asked], now_ms: int) -> None:
        """These were asked then."""
        self._asked_ms |= {each.rule.name: now_ms for each in asked}

    def delays(self, rule: PacedRule, knowledge: Knowledge, subject: Subject) -> Delays:
        bridged_ms = max(self._blind_after_ms, round(PACES_BRIDGED * rule.pace_s * 1000))
        return delays_of(rule, self._levels[rule.name], knowledge, subject, bridged_ms)

    def verdicts(self, asked: Sequence[Asked], round_: Round) -> dict[str, Verdicts]:
        """What each rule says of every subject; a rule that fails says nothing, and the others go on."""
        found: dict[str, Verdicts] = {}
        for each in asked:
            try:
                found[each.rule.name] = each.ask(round_)
            except StoreError:
                raise
            except (ShortOfDataError, UsageError) as short:
                log.debug("the rule %s has nothing to go by: %s", each.rule.name, short)
            except Exception:  # one strange record must not silence the other rules
                log.exception("the rule %s cannot be asked", each.rule.name)
        return found

    def judged(
        self,
        tx: Tx,
        knowledge: Knowledge,
        found: Mapping[str, Verdicts],
        known: Mapping[Key, RuleState],
        now_ms: int,
    ) -> Judged:
        """What these answers make of the states that were known."""
        judged = Judged()
        for name, verdicts in found.items():
            rule = self.asked[name].rule
            gone = {
                subject
                for (other, subject), state in known.items()
                if other == name and subject not in verdicts and state.open_since_ms is not None
            }
            ended = {subject: Verdict(Answer.NO, NO_LONGER, at_once=True) for subject in gone}
            for subject, verdict in {**verdicts, **ended}.items():
                delays = self.delays(rule, knowledge, subject)
                self._one(tx, rule, subject, verdict, delays, known, now_ms, judged)
        return judged

    def _one(
        self,
        tx: Tx,
        rule: PacedRule,
        subject: Subject,
        verdict: Verdict,
        delays: Delays,
        known: Mapping[Key, RuleState],
        now_ms: int,
        judged: Judged,
    ) -> None:
        key = (rule.name, subject)
        begin = set_back(known.get(key, RuleState()), now_ms)
        state, stretches = fold(begin, [(now_ms, verdict)], delays)
        judged.states[key] = state
        judged.verdicts[key] = verdict
        if any(s.opening is not None or s.closed_ms is not None for s in stretches):
            kept = not_ahead(episode_store.episodes(tx, rule=rule.name, subject=subject), now_ms)
            judged.changes += reconciled(
                kept, stretches, begin.judged_to_ms, rule.name, subject, state.judged_to_ms
            )


def set_back(state: RuleState, now_ms: int) -> RuleState:
    """The state to go on from where the clock was set back: what was answered later than now is no bar.

    What is open stays open. Runs begin anew, as nobody knows how long they have lasted.
    """
    if state.judged_to_ms <= now_ms:
        return state
    since_ms = state.open_since_ms
    return replace(
        state,
        judged_to_ms=now_ms - 1,
        open_since_ms=None if since_ms is None else min(since_ms, now_ms),
        run_since_ms=None,
        used_ms=None,
    )


def not_ahead(kept: Iterable[Episode], now_ms: int) -> list[Episode]:
    """Episodes as they concern now: over ahead of now are those of a clock that has been set back since."""
    return [
        replace(each, opened_ms=min(each.opened_ms, now_ms))
        for each in kept
        if each.closed_ms is None or each.closed_ms <= now_ms
    ]
