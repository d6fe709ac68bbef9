"""Judging one tray: new evidence → verdicts → fold → what has changed. Reads; writes nothing."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from traywarden.domain.episodes import (
    NEVER_MS,
    Change,
    Delays,
    RuleState,
    Stretch,
    reconciled,
    rewound,
)
from traywarden.domain.rules import Answer, Rule, Verdict
from traywarden.domain.seed_rules import damp_rule, hot_rule, waterlogged_rule
from traywarden.domain.subjects import Subject, a_tray
from traywarden.domain.tray_rules import cold_rule, dry_rule
from traywarden.domain.units import Display, span_words
from traywarden.services.delays import delays_of
from traywarden.services.head_days import head_days
from traywarden.services.instants import Instants
from traywarden.services.kept_episodes import KeptEpisodes
from traywarden.services.knowledge import Knowledge
from traywarden.services.recent import Recent, Warm
from traywarden.services.series import year_start_ms
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store.store import Tx

LOOK_BACK_MS = 31 * 86_400_000
"""Older readings open no episode: nobody acts on them, and a year's import would take minutes to judge."""
TOGETHER = 50
CLOCK_AHEAD_MS = 600_000
"""How far ahead of ours a probe's clock may run; what is dated later waits until then."""

Key = episode_store.Key


def standing_rules(settings: Settings) -> tuple[Rule, ...]:
    """Every rule that is asked of a tray at every reading, with its levels and delays from the settings."""
    display = Display(settings["display.temperature"], settings["display.length"])
    dry, cold, hot = (settings.levels(name) for name in ("dry", "cold", "hot"))
    waterlogged, damp = (settings.levels(name) for name in ("waterlogged", "damp"))
    return (
        dry_rule(
            open_delay_s=settings["dry.open_delay_s"],
            close_delay_s=settings["dry.close_delay_s"],
            close_above=dry("close_above"),
            line_times=dry("line_times"),
        ),
        cold_rule(
            open_delay_s=settings["cold.open_delay_s"],
            close_delay_s=settings["cold.close_delay_s"],
            close_above_c=cold("close_above_c"),
            display=display,
        ),
        hot_rule(
            open_delay_s=settings["hot.open_delay_s"],
            close_delay_s=settings["hot.close_delay_s"],
            close_below_c=hot("close_below_c"),
            display=display,
        ),
        waterlogged_rule(
            open_delay_s=settings["waterlogged.open_delay_s"],
            close_delay_s=settings["waterlogged.close_delay_s"],
            above=waterlogged("above"),
            close_below=waterlogged("close_below"),
        ),
        damp_rule(
            open_delay_s=settings["damp.open_delay_s"],
            close_delay_s=settings["damp.close_delay_s"],
            above=damp("above"),
            close_below=damp("close_below"),
        ),
    )


def together(tray_ids: Iterable[int]) -> Iterator[list[int]]:
    """Trays in lots so small that what is read at once takes little memory."""
    left = sorted(tray_ids)
    for first in range(0, len(left), TOGETHER):
        yield left[first : first + TOGETHER]


@dataclass(slots=True)
class Judged:
    """What judging one tray found. `stale` is set when it took in readings measured long ago."""

    states: dict[Key, RuleState] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    verdicts: dict[Key, Verdict] = field(default_factory=dict)
    stale: bool = False


@dataclass(frozen=True, slots=True)
class AtHand:
    """What is read at once for trays that are judged together."""

    recent: Recent
    kept: KeptEpisodes


class Judge:
    """The rules, and how a tray's readings are put before them."""

    def __init__(self, settings: Settings, rules: Sequence[Rule] | None = None) -> None:
        self.rules = {r.name: r for r in (standing_rules(settings) if rules is None else rules)}
        self.blind_after_ms = round(settings["notices.blind_after_s"] * 1000)
        self._earliest_year: int = settings["wire.earliest_year"]
        self._levels = {name: settings.levels(name) for name in self.rules}
        self._warm: Warm = {}

    def delays(self, rule: Rule, knowledge: Knowledge, subject: Subject) -> Delays:
        return delays_of(rule, self._levels[rule.name], knowledge, subject, self.blind_after_ms)

    def at_hand(
        self,
        tx: Tx,
        knowledge: Knowledge,
        tray_ids: Iterable[int],
        known: Mapping[Key, RuleState],
        late_ms: Mapping[int, int],
        now_ms: int,
    ) -> AtHand:
        """The newest readings of these trays, not of those that take a second look; and their episodes.

        What was at hand of others before is let go: a whole garden's month would fill the memory.
        """
        head_days(tx, year_start_ms(self._earliest_year)).forget()
        tray_ids, after_ms, oldest_ms = tuple(tray_ids), {}, now_ms
        for tray_id in tray_ids:
            subject = a_tray(tray_id)
            states = [known[name, subject].judged_to_ms for name in self.rules if (name, subject) in known]
            oldest_ms = min(oldest_ms, *(at_ms for at_ms in states if at_ms != NEVER_MS), now_ms)
            seldom = len(states) < len(self.rules) or min(states) < now_ms - self.blind_after_ms
            if not seldom and late_ms.get(tray_id, now_ms) > max(states):
                after_ms[tray_id] = min(states)
                continue
            for head_id in knowledge.heads_of_tray(tray_id):
                self._warm.pop(head_id, None)
        recent = knowledge.recent(
            tx,
            after_ms,
            now_ms + CLOCK_AHEAD_MS,
            blind_after_ms=self.blind_after_ms,
            earliest_year=self._earliest_year,
            warm=self._warm,
        )
        subjects = (a_tray(tray_id) for tray_id in tray_ids)
        return AtHand(recent, KeptEpisodes(tx, subjects, oldest_ms - 2 * LOOK_BACK_MS))

    def tray(
        self,
        tx: Tx,
        knowledge: Knowledge,
        tray_id: int,
        known: Mapping[Key, RuleState],
        late_ms: int | None,
        now_ms: int,
        stale_before_ms: int,
        at_hand: AtHand,
    ) -> Judged:
        """Judge everything measured since the kept states, or from before `late_ms` if that is earlier."""
        found = Judged()
        subject = a_tray(tray_id)
        known_keys = [(name, subject) for name in self.rules]
        begin = {
            name: self._begin(
                tx, rule, knowledge, subject, known.get((name, subject), RuleState()), late_ms, now_ms
            )
            for name, rule in self.rules.items()
        }
        reached_ms = max((known[k].judged_to_ms for k in known_keys if k in known), default=NEVER_MS)
        after_ms = min(state.judged_to_ms for state, _ in begin.values())
        instants = knowledge.instants(
            tx,
            tray_id,
            after_ms,
            # What has been judged stays so although the clock was set back since.
            max(now_ms + CLOCK_AHEAD_MS, reached_ms),
            blind_after_ms=self.blind_after_ms,
            earliest_year=self._earliest_year,
            recent=at_hand.recent,
        )
        first_new_ms = next((at_ms for at_ms in instants.at_ms if at_ms > reached_ms), now_ms)
        found.stale = min(first_new_ms, now_ms if late_ms is None else late_ms) < stale_before_ms
        for name, rule in self.rules.items():
            state, again = begin[name]
            self._rule(tx, rule, knowledge, subject, state, again, instants, at_hand.kept, found)
        return found

    def _begin(
        self,
        tx: Tx,
        rule: Rule,
        knowledge: Knowledge,
        subject: Subject,
        state: RuleState,
        late_ms: int | None,
        now_ms: int,
    ) -> tuple[RuleState, bool]:
        """Where to begin, and whether that is a second look."""
        earliest_ms = now_ms - LOOK_BACK_MS
        if state.judged_to_ms == NEVER_MS:
            return replace(state, judged_to_ms=earliest_ms), False
        if late_ms is None or late_ms > state.judged_to_ms:
            return state, False
        kept = episode_store.episodes(tx, rule=rule.name, subject=subject)
        return rewound(kept, max(late_ms, earliest_ms), self.delays(rule, knowledge, subject)), True

    def _rule(
        self,
        tx: Tx,
        rule: Rule,
        knowledge: Knowledge,
        subject: Subject,
        begin: RuleState,
        again: bool,
        instants: Instants,
        newer: KeptEpisodes,
        found: Judged,
    ) -> None:
        delays = self.delays(rule, knowledge, subject)
        state, stretches, newest = instants.folded(rule, begin, delays)
        key = (rule.name, subject)
        found.states[key] = state
        if newest is not None:
            found.verdicts[key] = newest
        if again or any(_news(s) for s in stretches):
            kept = (
                episode_store.episodes(tx, rule=rule.name, subject=subject)
                if again
                else newer.of(rule.name, subject)
            )
            found.changes += reconciled(
                kept, stretches, begin.judged_to_ms, rule.name, subject, state.judged_to_ms
            )


def _news(stretch: Stretch) -> bool:
    return stretch.opening is not None or stretch.closed_ms is not None


def gone_blind(state: RuleState, now_ms: int, blind_after_ms: int) -> RuleState:
    """The state with its answer turned blind where the newest usable reading is too old by the clock.

    The episode, if one is open, stays open: silence proves nothing.
    """
    if state.used_ms is not None and now_ms - state.used_ms <= blind_after_ms:
        return state
    if state.used_ms is None:
        return state if state.answer is Answer.BLIND else replace(state, answer=Answer.BLIND)
    silent = span_words((now_ms - state.used_ms) / 1000)
    return replace(state, answer=Answer.BLIND, reason=f"nothing usable was measured for {silent}")
