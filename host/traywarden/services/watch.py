"""Watch: after every commit the trays it touched are judged; changes are kept and told in one transaction.

`judge` and `judge_all` may be called directly; `start` gives them a thread of their own.
"""

import logging
import math
import threading
import time
from collections.abc import Callable, Iterable, Mapping

from traywarden.domain.crops import Crop
from traywarden.domain.episodes import RuleState
from traywarden.domain.rules import AnyRule, Rule, Verdict
from traywarden.domain.subjects import Subject, SubjectKind, a_tray
from traywarden.errors import StoreError
from traywarden.points import point
from traywarden.services.arrivals import Arrivals, Arrived, behind, came_in_late
from traywarden.services.asking.asker import Asker
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.paced import Paced
from traywarden.services.asking.round import Verdicts, Vitals
from traywarden.services.asking.standing import Asked, paced_rules
from traywarden.services.clock import Clock
from traywarden.services.judging import LOOK_BACK_MS, AtHand, Judge, Judged, Key, gone_blind, together
from traywarden.services.keeping import write
from traywarden.services.knowledge import Knowledge
from traywarden.services.letting_go import LettingGo
from traywarden.services.notice_plan import STALE_MS, Plan
from traywarden.services.rule_states import RuleStates
from traywarden.services.teller import CAUGHT_UP_MS, Standing, Teller
from traywarden.settings import Settings
from traywarden.store import journal as journal_store
from traywarden.store.store import Store, Tx
from traywarden.turns import Turns

log = logging.getLogger(__name__)

TICK_S = 1.0
ROUND_ALL_S = 60.0
LOOK_LATE_S = 3600.0
"""How often readings that came in late behind our back (an import by another process) are looked for."""
NOUNS_S = 5.0
KEEP_STATES_S = 30.0
MARK_BACK_MS = 300_000
NEVER_S = -math.inf
_LONGEST_REST_S = 0.25
"""Judging rests as long as it worked, so that storing gets its turn; but no notice waits longer for that."""


class Watch:
    """Rules over trays. The only writer of rule states, episodes and new notices.

    `after_write` is called when notices may be due; `ready` is set once every rule has been judged for every
    tray, and nothing may be sent before that.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        crops: Mapping[str, Crop],
        *,
        rules: Iterable[Rule] | None = None,
        paced: Iterable[Asked] | None = None,
        vitals: Callable[[], Vitals] = Vitals,
        after_write: Callable[[], None] = lambda: None,
        monotonic_s: Callable[[], float] = time.monotonic,
        system_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
        turns: Turns | None = None,
        hearing: Hearing | None = None,
        sending: Callable[[str], bool] = lambda notice_id: False,
    ) -> None:
        self._turns = turns or Turns()
        self._store, self._settings, self._clock, self._crops = store, settings, clock, crops
        self._judge = Judge(settings, None if rules is None else tuple(rules))
        asked = paced_rules(settings) if paced is None else paced
        self._paced = Paced(asked, self._judge.blind_after_ms, settings.levels)
        self._asker = Asker(
            store,
            settings,
            crops,
            self._paced,
            vitals,
            self._take_answers,
            self._turns,
            hearing or Hearing(),
        )
        every: dict[str, AnyRule] = {**self._judge.rules, **self._paced.rules}
        self._teller = Teller(settings, every, monotonic_s)
        self._after_write, self._monotonic_s, self._system_ms = after_write, monotonic_s, system_ms
        self._letting_go = LettingGo(
            store,
            self._teller,
            lambda tx, now_ms: self._standing(self._know(tx), now_ms),
            self._caught_up,
            after_write,
            monotonic_s,
            sending,
        )
        self.ready, self._trays_judged = threading.Event(), threading.Event()
        self._judging = threading.Lock()
        self._knowledge: Knowledge | None = None
        self._known_s = NEVER_S
        self._states = RuleStates(self._judge.rules)
        self._kept_s = monotonic_s()
        self._look_late_s = monotonic_s()
        self._looked_ms: int | None = None  # the clock when we last looked
        self._arrivals = Arrivals()
        self._wake = threading.Event()
        self._ending, self._asking_ends = threading.Event(), threading.Event()
        self._thread: threading.Thread | None = None

    # What others call --------------------------------------------------------------------------------------

    def committed(self, committed: Arrived) -> None:
        """Readings were stored; returns at once, judging follows on the watch's own thread."""
        point("readings stored, not judged")
        self._arrivals.note(committed)
        self._wake.set()

    def answers(self) -> dict[Key, RuleState]:
        """Where every rule stands for every subject, by (rule, subject)."""
        return dict(self._states.known)

    def judge(self, tray_ids: Iterable[int], late_ms: Mapping[int, int] | None = None) -> None:
        """Judge these trays on what has been measured since; from before `late_ms[tray]` where given."""
        with self._judging:
            self._states.load(self._store)
            self._judge_trays(set(tray_ids), dict(late_ms or {}))

    def ask(self) -> None:
        """Ask the rules whose time has come by the clock; what changes is kept and told."""
        self._asker.ask(self._clock.now_ms())

    def judge_all(self) -> None:
        """Judge every tray, also what came in late while nobody watched; then notices may be sent."""
        self._judge_every_tray()
        self._asked_by_now()
        self._after_write()

    def _judge_every_tray(self) -> None:
        with self._turns.first(), self._judging:
            self._states.load(self._store)
            self._known_s = NEVER_S
            look_late = self._monotonic_s() >= self._look_late_s
            with self._store.read() as tx:
                knowledge = self._know(tx)
                arrived = self._arrivals.taken(knowledge)
                late = self._late(tx, knowledge) if look_late else {}
                unjudged = behind(tx, knowledge, self._states.tray_judged_to)
            unjudged |= self._states.never_judged(knowledge.trays)
            for tray_id, oldest_ms in arrived.items():
                late[tray_id] = min(oldest_ms, late.get(tray_id, oldest_ms))
            self._judge_trays(unjudged | late.keys(), late)
            self._keep_states(everything=look_late)
            if look_late:
                self._look_late_s = self._monotonic_s() + LOOK_LATE_S
            point("every tray judged")
        self._trays_judged.set()

    def _asked_by_now(self) -> None:
        """Every rule by the clock has been asked, too: from now on notices may be sent."""
        if not self.ready.is_set():
            self.ask()
            point("every rule asked")
            self.ready.set()
            self._after_write()

    def keep_up(self) -> None:
        """Judge what has come in, ask what is due and let go what may be told, without a rest.

        In a garden that is played fast an hour is over before the threads look again.
        """
        self._round()
        self.ask()
        self.tick(at_once=True)

    def tick(self, *, at_once: bool = False) -> None:
        """What time alone brings: silence makes answers blind, held notices may be let go."""
        with self._judging:
            self._states.load(self._store)
            now_ms = self._looked_ms = self._clock.now_ms()
            self._states.each_turned(lambda state: gone_blind(state, now_ms, self._judge.blind_after_ms))
            self._letting_go.look(now_ms, at_once=at_once)
            if self._monotonic_s() - self._kept_s >= KEEP_STATES_S:
                self._keep_states(enough=lambda: bool(self._arrivals))

    # Thread ------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Judge every tray once, then whatever arrives, until `stop`."""
        self._thread = threading.Thread(target=self.run, name="watch", daemon=True)
        self._thread.start()

    def end_asking(self) -> None:
        """Make `run_paced` return after what it is asking; judging goes on."""
        self._asking_ends.set()

    def end(self) -> None:
        """Make `run` return, and `run_paced`; where every rule stands is kept."""
        self.end_asking()
        self._ending.set()
        self._wake.set()

    def stop(self) -> None:
        """End the thread that `start` began."""
        self.end()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def run(self, *, asks: bool = True) -> None:
        """The watch's life. Trouble with the store is waited out; then everything is looked at again.

        Without `asks` the thread of `run_paced` asks the rules by the clock the first time, too: what comes
        in meanwhile is judged.
        """
        next_all_s = self._monotonic_s()
        while not self._ending.is_set():
            began_s = self._monotonic_s()
            try:
                if began_s >= next_all_s:
                    self._judge_every_tray()
                    if asks:
                        self._asked_by_now()
                    self._after_write()
                    next_all_s = self._monotonic_s() + ROUND_ALL_S
                self._round()
                self.tick()
            except StoreError as error:
                log.warning("judging waits: %s", error)
                next_all_s = self._look_late_s = (
                    self._monotonic_s()
                )  # what had just arrived is looked up again
                self._ending.wait(TICK_S)
            self._ending.wait(min(self._monotonic_s() - began_s, _LONGEST_REST_S))
            self._wake.wait(TICK_S)
            self._wake.clear()
        with self._judging:
            try:
                self._keep_states()
            except StoreError as error:  # they are found again from the readings at the next start
                log.warning("rule states were not kept: %s", error)

    def run_paced(self) -> None:
        """Life of the thread that asks the rules by the clock."""
        while not self._trays_judged.wait(TICK_S):
            if self._asking_ends.is_set():
                return
        while not self.ready.is_set() and not self._asking_ends.is_set():
            try:
                self._asked_by_now()
            except StoreError as error:
                log.warning("asking waits: %s", error)
                self._asking_ends.wait(TICK_S)
        self._asker.run(self._asking_ends, self._clock)

    def _round(self) -> None:
        if not self._arrivals:
            return
        with self._turns.first(), self._judging:
            with self._store.read() as tx:
                knowledge = self._know(tx)
            # Taken only now: what is not taken will be judged in this round and looks late in the next.
            late = self._arrivals.taken(knowledge)
            self._judge_trays(set(late), late)

    # Judging -----------------------------------------------------------------------------------------------

    def _know(self, tx: Tx) -> Knowledge:
        """The garden as it is now; trays whose journal has changed are judged again from there."""
        known, now_s = self._knowledge, self._monotonic_s()
        if known is not None:
            fresh = journal_store.newest_entry_id(tx) == known.entry_id
            if fresh and now_s - self._known_s < NOUNS_S:
                return known
        self._knowledge = known = Knowledge(tx, self._crops) if known is None else known.renewed(tx)
        self._known_s = now_s
        return known

    def _late(self, tx: Tx, knowledge: Knowledge) -> dict[int, int]:
        """Per tray, the earliest reading that came in after it had been judged past that time."""
        from_ms, since_ms = self._clock.now_ms() - LOOK_BACK_MS, self._states.marks.get("received_ms", 0)
        if since_ms > self._system_ms():
            since_ms = 0  # the clock was set back: when readings came in says nothing
        return came_in_late(tx, knowledge, self._states.tray_judged_to, from_ms=from_ms, since_ms=since_ms)

    def _caught_up(self, subject: Subject, now_ms: int) -> bool:
        return (
            subject.kind is not SubjectKind.TRAY or now_ms - self._states.judged_to(subject) <= CAUGHT_UP_MS
        )

    def _judge_trays(self, tray_ids: set[int], late: dict[int, int]) -> None:
        """Judge, then keep and tell in one transaction. In memory nothing moves before that is committed."""
        now_ms, received_ms = self._clock.now_ms(), self._system_ms() - MARK_BACK_MS
        began_s = self._monotonic_s()  # before the snapshot: what was committed by now is in it
        with self._store.read() as tx:
            knowledge = self._know(tx)
            rewritten = knowledge.touched_since(self._states.marks.get("entry_id", 0))
            for tray_id, at_ms in rewritten.items():
                late[tray_id] = min(at_ms, late.get(tray_id, at_ms))
            judged: dict[int, Judged] = {}
            for some in together((tray_ids | rewritten.keys()) & knowledge.trays.keys()):
                at_hand = self._judge.at_hand(tx, knowledge, some, self._states.known, late, now_ms)
                for tray_id in some:
                    found = self._tray(tx, knowledge, tray_id, late.get(tray_id), now_ms, at_hand)
                    if found is not None:
                        judged[tray_id] = found
            changes = [c for found in judged.values() for c in found.changes]
            verdicts = {key: v for found in judged.values() for key, v in found.verdicts.items()}
            reached_ms = {
                a_tray(tray_id): max(state.judged_to_ms for state in found.states.values())
                for tray_id, found in judged.items()
            }
            plan = self._teller.of_changes(
                tx, self._standing(knowledge, now_ms, verdicts), changes, reached_ms
            )
        states = {key: state for found in judged.values() for key, state in found.states.items()}
        marks = {"received_ms": received_ms, "entry_id": knowledge.entry_id}
        write(self._store, changes, plan, states, marks)
        self._arrivals.cover({t: self._states.tray_judged_to(t) for t in judged}, began_s)
        self._adopt(judged, states, marks, now_ms)
        self._looked_ms = now_ms
        self._wake_for(plan)

    def _wake_for(self, plan: Plan) -> None:
        if plan:
            self._letting_go.written()
            self._after_write()

    def _take_answers(self, found: dict[str, Verdicts], now_ms: int) -> None:
        """What the rules by the clock have answered; others may have judged meanwhile."""
        with self._judging:
            self._states.load(self._store)
            self._keep_answers(found, now_ms)

    def _keep_answers(self, found: dict[str, Verdicts], now_ms: int) -> None:
        with self._store.read() as tx:
            knowledge = self._know(tx)
            judged = self._paced.judged(tx, knowledge, found, self._states.known, now_ms)
            self._states.verdicts |= judged.verdicts
            standing = self._standing(knowledge, now_ms, states=judged.states)
            plan = self._teller.of_changes(tx, standing, judged.changes, {})
        write(self._store, judged.changes, plan, judged.states, self._states.marks)
        self._states.adopt(judged.states)
        self._wake_for(plan)

    def _tray(
        self, tx: Tx, knowledge: Knowledge, tray_id: int, late_ms: int | None, now_ms: int, at_hand: AtHand
    ) -> Judged | None:
        try:
            # Old is what was measured long before we last looked: a garden played back a hundred times as
            # fast has moved on by hours since then, and is not behind for that.
            looked_ms = now_ms if self._looked_ms is None else min(now_ms, self._looked_ms)
            return self._judge.tray(
                tx, knowledge, tray_id, self._states.known, late_ms, now_ms, looked_ms - STALE_MS, at_hand
            )
        except StoreError:
            raise
        except Exception:  # one tray with strange data must not silence all the others
            log.exception("the tray %s cannot be judged", knowledge.trays[tray_id].name)
            return None

    def _adopt(
        self, judged: dict[int, Judged], states: dict[Key, RuleState], marks: dict[str, int], now_ms: int
    ) -> None:
        now_s = self._monotonic_s()
        for tray_id, found in judged.items():
            self._states.verdicts |= found.verdicts
            if found.stale:
                self._teller.spells.note(a_tray(tray_id), now_s, now_ms)
        self._states.adopt(states)
        self._states.marks["entry_id"] = marks["entry_id"]

    def _keep_states(self, *, everything: bool = False, enough: Callable[[], bool] = lambda: False) -> None:
        received_ms = self._system_ms() - MARK_BACK_MS
        if self._states.keep(self._store, received_ms, everything=everything, enough=enough):
            self._kept_s = self._monotonic_s()

    # Telling -----------------------------------------------------------------------------------------------

    def _standing(
        self,
        knowledge: Knowledge,
        now_ms: int,
        verdicts: Mapping[Key, Verdict] | None = None,
        states: Mapping[Key, RuleState] | None = None,
    ) -> Standing:
        """How things stand, with what has just been found and is not adopted yet."""
        return Standing(
            knowledge,
            {**self._states.known, **(states or {})},
            {**self._states.verdicts, **(verdicts or {})},
            now_ms,
        )
