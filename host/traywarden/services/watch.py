"""Watch: after every commit the trays it touched are judged; changes are kept and told in one transaction.

`judge` and `judge_all` may be called directly; `start` gives them a thread of their own.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from typing import Protocol

from traywarden.domain.crops import Crop
from traywarden.domain.episodes import NEVER_MS, Change, Episode, RuleState
from traywarden.domain.notices import NoticeState
from traywarden.domain.rules import Answer, AnyRule, Rule, Verdict
from traywarden.domain.subjects import Subject, SubjectKind, a_tray
from traywarden.errors import StoreError
from traywarden.points import point
from traywarden.services.asking.asker import Asker
from traywarden.services.asking.paced import Paced
from traywarden.services.asking.round import Verdicts, Vitals
from traywarden.services.asking.standing import Asked, paced_rules
from traywarden.services.clock import Clock
from traywarden.services.describing import Describer
from traywarden.services.holding import Timing
from traywarden.services.judging import LOOK_BACK_MS, Judge, Judged, Key, gone_blind, together
from traywarden.services.knowledge import Knowledge
from traywarden.services.notice_plan import Plan
from traywarden.services.outbox import STALE_MS, Outbox, targets
from traywarden.services.recent import Recent
from traywarden.services.reminding import Reminding
from traywarden.services.shadows import Shadows
from traywarden.services.spells import Spells
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store import journal as journal_store
from traywarden.store import notices as notice_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store, Tx

log = logging.getLogger(__name__)

CAUGHT_UP_MS = 1_800_000
"""A tray whose newest judged reading is no older than this is judged as of now (two usual intervals)."""
TICK_S = 1.0
ROUND_ALL_S = 60.0
LOOK_LATE_S = 3600.0
"""How often readings that came in late behind our back (an import by another process) are looked for."""
NOUNS_S = 5.0
KEEP_STATES_S = 30.0
REMIND_LOOK_MS = 60_000
MARK_BACK_MS = 300_000
_LONGEST_REST_S = 0.25
"""Judging rests as long as it worked, so that storing gets its turn; but no notice waits longer for that."""


class Arrived(Protocol):
    """What the watch needs to know of a commit (services/ingest.py: Committed)."""

    @property
    def head_times(self) -> Mapping[int, int]: ...
    @property
    def head_oldest(self) -> Mapping[int, int]: ...


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
    ) -> None:
        self._store, self._settings, self._clock, self._crops = store, settings, clock, crops
        self._judge = Judge(settings, None if rules is None else tuple(rules))
        asked = paced_rules(settings) if paced is None else paced
        self._paced = Paced(asked, self._judge.blind_after_ms)
        self._asker = Asker(store, settings, crops, self._paced, vitals, self._take_answers)
        self._asked_once = False
        every: dict[str, AnyRule] = {**self._judge.rules, **self._paced.rules}
        self._outbox = Outbox(targets(settings), every, Timing.of(settings))
        self._reminding, self._reminded_ms = Reminding(settings), NEVER_MS
        self._after_write, self._monotonic_s, self._system_ms = after_write, monotonic_s, system_ms
        self.ready = threading.Event()
        self._judging = threading.Lock()
        self._knowledge: Knowledge | None = None
        self._known_s = 0.0
        self._states: dict[Key, RuleState] = {}
        self._marks: dict[str, int] = {}
        self._loaded = False
        self._verdicts: dict[Key, Verdict] = {}
        self._unkept: set[Key] = set()
        self._kept_s = monotonic_s()
        self._look_late_s = monotonic_s()
        self._may_hold = True
        self._looked_ms: int | None = None  # the clock when we last looked
        self._spells = Spells()
        self._arriving = threading.Lock()
        self._arrived: dict[int, int] = {}
        self._wake = threading.Event()
        self._ending = threading.Event()
        self._thread: threading.Thread | None = None

    # What others call --------------------------------------------------------------------------------------

    def committed(self, committed: Arrived) -> None:
        """Readings were stored; returns at once, judging follows on the watch's own thread."""
        point("readings stored, not judged")
        with self._arriving:
            for head_id, newest_ms in committed.head_times.items():
                oldest_ms = committed.head_oldest.get(head_id, newest_ms)
                self._arrived[head_id] = min(oldest_ms, self._arrived.get(head_id, oldest_ms))
        self._wake.set()

    def answers(self) -> dict[Key, RuleState]:
        """Where every rule stands for every subject, by (rule, subject)."""
        return dict(self._states)

    def judge(self, tray_ids: Iterable[int], late_ms: Mapping[int, int] | None = None) -> None:
        """Judge these trays on what has been measured since; from before `late_ms[tray]` where given."""
        with self._judging:
            self._load()
            self._judge_trays(set(tray_ids), dict(late_ms or {}))

    def judged_up_to(self, at_ms: int) -> bool:
        """Whether every rule that is asked at every reading has been asked up to then, of every tray."""
        states = [state for (rule, _), state in self._states.items() if rule in self._judge.rules]
        return bool(states) and all(state.judged_to_ms >= at_ms for state in states)

    def ask(self) -> None:
        """Ask the rules whose time has come by the clock; what changes is kept and told."""
        self._asker.ask(self._clock.now_ms())

    def judge_all(self) -> None:
        """Judge every tray, also what came in late while nobody watched; then notices may be sent."""
        with self._judging:
            self._load()
            self._knowledge = None
            look_late = self._monotonic_s() >= self._look_late_s
            arrived = self._taken_arrivals()
            with self._store.read() as tx:
                knowledge = self._know(tx)
                late = self._late(tx, knowledge) if look_late else {}
                behind = self._behind(tx, knowledge)
            for tray_id, oldest_ms in self._touched(knowledge, arrived).items():
                late[tray_id] = min(oldest_ms, late.get(tray_id, oldest_ms))
            self._judge_trays(behind | late.keys(), late)
            self._keep_states(everything=look_late)
            if look_late:
                self._look_late_s = self._monotonic_s() + LOOK_LATE_S
            point("every tray judged")
        if not self._asked_once:
            self.ask()
            self._asked_once = True
            point("every rule asked")
        self.ready.set()
        self._after_write()

    def tick(self) -> None:
        """What time alone brings: silence makes answers blind, held notices may be let go."""
        with self._judging:
            self._load()
            now_ms = self._looked_ms = self._clock.now_ms()
            for key, state in list(self._states.items()):
                if key[0] not in self._judge.rules:
                    continue
                blind = gone_blind(state, now_ms, self._judge.blind_after_ms)
                if blind != state:
                    self._states[key] = blind
                    self._unkept.add(key)
            if self._may_hold:
                self._release(now_ms)
            if not self._reminded_ms <= now_ms < self._reminded_ms + REMIND_LOOK_MS:
                self._remind(now_ms)
                self._reminded_ms = now_ms
                self._may_hold = True  # another process may have held back what waited
            if self._monotonic_s() - self._kept_s >= KEEP_STATES_S:
                self._keep_states()

    # Thread ------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Judge every tray once, then whatever arrives, until `stop`."""
        self._thread = threading.Thread(target=self.run, name="watch", daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Make `run` return; where every rule stands is kept."""
        self._ending.set()
        self._wake.set()

    def stop(self) -> None:
        """End the thread that `start` began."""
        self.end()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def run(self) -> None:
        """The watch's life. Trouble with the store is waited out; then everything is looked at again."""
        next_all_s = self._monotonic_s()
        while not self._ending.is_set():
            began_s = self._monotonic_s()
            try:
                if began_s >= next_all_s:
                    self.judge_all()
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
        self._asker.run(self.ready, self._ending, self._clock)

    def _round(self) -> None:
        if not self._arrived:
            return
        with self._judging:
            with self._store.read() as tx:
                knowledge = self._know(tx)
            # Taken only now: what is not taken will be judged in this round and looks late in the next.
            late = self._touched(knowledge, self._taken_arrivals())
            self._judge_trays(set(late), late)

    def _taken_arrivals(self) -> dict[int, int]:
        with self._arriving:
            arrived, self._arrived = self._arrived, {}
        return arrived

    @staticmethod
    def _touched(knowledge: Knowledge, arrived: Mapping[int, int]) -> dict[int, int]:
        """Trays that readings have come in for, each with the earliest time measured."""
        touched: dict[int, int] = {}
        for head_id, oldest_ms in arrived.items():
            for tray_id in knowledge.trays_of_head(head_id, oldest_ms):
                touched[tray_id] = min(oldest_ms, touched.get(tray_id, oldest_ms))
        return touched

    # Judging -----------------------------------------------------------------------------------------------

    def _load(self) -> None:
        if self._loaded:
            return
        with self._store.read() as tx:
            kept = episode_store.rule_states(tx)
        self._states = {key: state for key, (state, _) in kept.items()}
        marks = [marks for (rule, _), (_, marks) in kept.items() if rule in self._judge.rules]
        self._marks = {
            name: min((m.get(name, 0) for m in marks), default=0) for name in ("received_ms", "entry_id")
        }
        self._loaded = True

    def _know(self, tx: Tx) -> Knowledge:
        """The garden as it is now; trays whose journal has changed are judged again from there."""
        known, now_s = self._knowledge, self._monotonic_s()
        if known is not None:
            fresh = journal_store.newest_entry_id(tx) == known.entry_id
            if fresh and now_s - self._known_s < NOUNS_S:
                return known
        self._knowledge = known = Knowledge(tx, self._crops)
        self._known_s = now_s
        return known

    def _late(self, tx: Tx, knowledge: Knowledge) -> dict[int, int]:
        """Per tray, the earliest reading that came in after it had been judged past that time."""
        late: dict[int, int] = {}
        from_ms, since_ms = self._clock.now_ms() - LOOK_BACK_MS, self._marks.get("received_ms", 0)
        if since_ms > self._system_ms():
            since_ms = 0  # the clock was set back: when readings came in says nothing
        for tray_id in knowledge.trays:
            to_ms = self._judged_to(a_tray(tray_id))
            if to_ms > from_ms:
                heads = knowledge.heads_of_tray(tray_id)
                found = episode_store.earliest_received_since(tx, heads, since_ms, from_ms, to_ms)
                if found is not None:
                    late[tray_id] = found
        return late

    def _behind(self, tx: Tx, knowledge: Knowledge) -> set[int]:
        """Trays with a reading newer than they have been judged to, and trays never judged."""
        behind = {
            t for t in knowledge.trays if any((n, a_tray(t)) not in self._states for n in self._judge.rules)
        }
        for head_id, newest_ms in reading_store.newest(tx).items():
            behind |= {
                tray_id
                for tray_id in knowledge.trays_of_head(head_id, newest_ms)
                if newest_ms > self._judged_to(a_tray(tray_id))
            }
        return behind

    def _judged_to(self, subject: Subject) -> int:
        keys = [(name, subject) for name in self._judge.rules]
        return max((self._states[k].judged_to_ms for k in keys if k in self._states), default=NEVER_MS)

    def _caught_up(self, subject: Subject, now_ms: int) -> bool:
        return subject.kind is not SubjectKind.TRAY or now_ms - self._judged_to(subject) <= CAUGHT_UP_MS

    def _judge_trays(self, tray_ids: set[int], late: dict[int, int]) -> None:
        """Judge, then keep and tell in one transaction. In memory nothing moves before that is committed."""
        now_ms, received_ms = self._clock.now_ms(), self._system_ms() - MARK_BACK_MS
        with self._store.read() as tx:
            knowledge = self._know(tx)
            rewritten = knowledge.touched_since(self._marks.get("entry_id", 0))
            for tray_id, at_ms in rewritten.items():
                late[tray_id] = min(at_ms, late.get(tray_id, at_ms))
            judged: dict[int, Judged] = {}
            for some in together((tray_ids | rewritten.keys()) & knowledge.trays.keys()):
                recent = self._judge.recent(tx, knowledge, some, self._states, late, now_ms)
                for tray_id in some:
                    found = self._tray(tx, knowledge, tray_id, late.get(tray_id), now_ms, recent)
                    if found is not None:
                        judged[tray_id] = found
            changes = [c for found in judged.values() for c in found.changes]
            plan = self._plan(tx, knowledge, changes, judged, now_ms)
        states = {key: state for found in judged.values() for key, state in found.states.items()}
        marks = {"received_ms": received_ms, "entry_id": knowledge.entry_id}
        self._write(changes, plan, states, marks)
        self._adopt(judged, states, marks, now_ms)
        self._looked_ms = now_ms
        self._wake_for(plan)

    def _write(
        self, changes: list[Change], plan: Plan, states: dict[Key, RuleState], marks: dict[str, int]
    ) -> None:
        if not changes:
            return
        with self._store.write() as tx:
            for change in changes:
                episode_store.keep_episode(tx, change.episode)
            point("episodes written")
            plan.write(tx)
            point("notices written")
            episode_store.set_rule_states(tx, {key: (state, marks) for key, state in states.items()})
            point("rule states written")
        point("changes committed")

    def _wake_for(self, plan: Plan) -> None:
        if plan:
            self._may_hold = True
            self._after_write()

    def _take_answers(self, found: dict[str, Verdicts], now_ms: int) -> None:
        """What the rules by the clock have answered; others may have judged meanwhile."""
        with self._judging:
            self._load()
            self._keep_answers(found, now_ms)

    def _keep_answers(self, found: dict[str, Verdicts], now_ms: int) -> None:
        with self._store.read() as tx:
            knowledge = self._know(tx)
            judged = self._paced.judged(tx, found, self._states, now_ms)
            self._verdicts |= judged.verdicts
            plan = self._plan(tx, knowledge, judged.changes, {}, now_ms, judged.states)
        self._write(judged.changes, plan, judged.states, self._marks)
        self._unkept |= {key for key, state in judged.states.items() if self._states.get(key) != state}
        self._states |= judged.states
        self._wake_for(plan)

    def _tray(
        self, tx: Tx, knowledge: Knowledge, tray_id: int, late_ms: int | None, now_ms: int, recent: Recent
    ) -> Judged | None:
        try:
            # Old is what was measured long before we last looked: a garden played back a hundred times as
            # fast has moved on by hours since then, and is not behind for that.
            looked_ms = now_ms if self._looked_ms is None else min(now_ms, self._looked_ms)
            return self._judge.tray(
                tx, knowledge, tray_id, self._states, late_ms, now_ms, looked_ms - STALE_MS, recent
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
            self._verdicts |= found.verdicts
            if found.stale:
                self._spells.note(a_tray(tray_id), now_s, now_ms)
        self._unkept |= {key for key, state in states.items() if self._states.get(key) != state}
        self._states |= states
        self._marks["entry_id"] = marks["entry_id"]

    def _keep_states(self, *, everything: bool = False) -> None:
        """Keep where rules stand although nothing changed, so that a restart need not look far back."""
        keys = set(self._states) if everything else self._unkept
        marks = {**self._marks, "received_ms": self._system_ms() - MARK_BACK_MS}
        if keys:
            with self._store.write() as tx:
                episode_store.set_rule_states(tx, {key: (self._states[key], marks) for key in keys})
                point("unchanged rule states written")
        self._unkept, self._kept_s = set(), self._monotonic_s()
        if everything:
            self._marks = marks

    # Telling -----------------------------------------------------------------------------------------------

    def _plan(
        self,
        tx: Tx,
        knowledge: Knowledge,
        changes: list[Change],
        judged: dict[int, Judged],
        now_ms: int,
        answered: Mapping[Key, RuleState] | None = None,
    ) -> Plan:
        if not changes:
            return Plan()
        verdicts = self._verdicts | {k: v for found in judged.values() for k, v in found.verdicts.items()}
        describer = Describer(tx, knowledge, self._settings, now_ms, verdicts)
        reached = {
            a_tray(tray_id): max(state.judged_to_ms for state in found.states.values())
            for tray_id, found in judged.items()
        }
        return self._outbox.plan(
            tx,
            changes,
            lambda subject: now_ms - reached.get(subject, now_ms) <= CAUGHT_UP_MS,
            describer.told,
            describer.reader,
            self._shadows(knowledge, now_ms, answered).over,
        )

    def _shadows(
        self, knowledge: Knowledge, now_ms: int, answered: Mapping[Key, RuleState] | None = None
    ) -> Shadows:
        states = {**self._states, **(answered or {})}
        open_ = {key for key, state in states.items() if state.open_since_ms is not None}
        return Shadows(open_, knowledge, now_ms)

    def _release(self, now_ms: int) -> None:
        with self._store.read() as tx:
            held = notice_store.in_states(tx, NoticeState.HELD)
            if not held:
                self._may_hold = False
                return
            knowledge = self._know(tx)
            describer = Describer(tx, knowledge, self._settings, now_ms, self._verdicts)
            named = episode_store.episodes_named(tx, (e for n in held for e, _ in n.changes))
            plan = self._outbox.release(
                tx,
                named,
                held,
                lambda subject: self._caught_up(subject, now_ms),
                lambda subject: self._spells.settled(subject, self._monotonic_s(), now_ms),
                describer.told,
                describer.subjects,
                describer.reader,
                self._shadows(knowledge, now_ms).over,
            )
        if plan:
            with self._store.write() as tx:
                plan.write(tx)
                point("held notices let go")
            point("letting go committed")
            if plan.put:
                self._spells.told(self._monotonic_s())
                self._after_write()

    def _remind(self, now_ms: int) -> None:
        """Tell again what still holds and had nothing done about it, unless it is blind now."""
        with self._store.read() as tx:
            seen = [e for e in episode_store.episodes(tx, open_only=True) if self._still_seen(e)]
            if not seen:
                return
            knowledge = self._know(tx)
            describer = Describer(tx, knowledge, self._settings, now_ms, self._verdicts)
            plan = self._reminding.plan(tx, knowledge, seen, self._outbox, describer, now_ms)
        if plan:
            with self._store.write() as tx:
                plan.write(tx)
                point("reminders written")
            point("reminders committed")
            self._after_write()

    def _still_seen(self, episode: Episode) -> bool:
        state = self._states.get((episode.rule, episode.subject))
        asked = self._paced.rules.get(episode.rule)
        if asked is not None and asked.told_once:
            return False
        return state is not None and state.answer in (Answer.YES, Answer.HOLD)
