"""The wake cycle: one function from waking to the next sleep, with a budget on every wait.

Everything it touches comes in through `Parts`, so it runs the same on a board, on CPython and on the
interpreter in the tests.
"""

from probe import record
from probe.memory import Memory
from probe.parts import Parts
from probe.reading import read
from probe.sending import GOODBYE_MS, send
from probe.settings import check_from_host, save
from probe.syncs import EARLY_MS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

LEAST_SLEEP_MS = 500
LONGEST_BACKOFF_MS = 6 * 3600000
MOST_FAULTS = 8
SHOWN_WAKES = 6
"""Blinks are for who stands there: after power-up, this many wakes long."""

BLINKS = {
    "sent": 1,
    "no network": 2,
    "no broker": 3,
    "no receipt": 4,
    "sensor": 5,
    "flash": 6,
}
"""How often the light blinks for what."""


class Run:
    """One wake: its parts, what is remembered, and what went wrong in it."""

    def __init__(self, parts: Parts, budget_ms: "int | None") -> None:
        self.parts = parts
        self.settings: "dict[str, Any]" = parts.settings
        self.started_ms = parts.mark_ms()
        self.budget_ms = budget_ms or self.settings["budget_s"] * 1000
        self.faults: "list[str]" = []
        self.urgent: "list[str]" = []
        self.instant: "record.Instant | None" = None
        self.revision: "dict[str, Any]" = {}
        self.blink = ""
        parts.spoken = False
        parts.feed()
        for problem in parts.problems:
            self.fault(problem)
        self.memory = Memory(parts, self.fault)
        self.state = self.memory.state
        self.clock = self.memory.clock

    def now_ms(self) -> int:
        """The mark of this moment."""
        mark_ms: int = self.state.base_ms + self.parts.mark_ms()
        return mark_ms

    def began_ms(self) -> int:
        """The mark of the beginning of this wake: what is due by the hour must not slip by its length."""
        mark_ms: int = self.state.base_ms + self.started_ms
        return mark_ms

    def left_ms(self, most_ms: int, keep_ms: int = GOODBYE_MS) -> int:
        """The budget of a wait: no more than it may take, nor than what is left of the whole."""
        self.parts.feed()
        passed_ms: int = self.parts.mark_ms() - self.started_ms
        return max(0, min(most_ms, self.budget_ms - keep_ms - passed_ms))

    def fault(self, what: str, error: "Exception | None" = None) -> None:
        """Note what failed, for the state message."""
        why = what if error is None else "%s: %s" % (what, error or type(error).__name__)
        why = why[:80]
        if why not in self.faults and len(self.faults) < MOST_FAULTS:
            self.faults.append(why)

    def message(self, kind: str, payload: bytes) -> None:
        """From the host: settings are taken over, or refused with the reason."""
        if kind != "settings" or not payload:
            return
        new, problems = check_from_host(payload, self.settings)
        if problems:
            self.revision = {"settings_refused": "; ".join(problems)[:300]}
        elif new != self.settings:
            try:
                save(self.parts.fs, new, self.parts.settings_path)
            except OSError as error:
                self.fault("flash", error)
                return
            self.settings = self.parts.settings = new
            soonest_ms = self.now_ms() + new["send_s"] * 1000
            self.state.next_send_ms = min(self.state.next_send_ms, soonest_ms)


def wake(parts: Parts, budget_ms: "int | None" = None) -> int:
    """Sense, keep, and send when due; returns how long to sleep [ms]. Never longer awake than the budget."""
    run = Run(parts, budget_ms)
    state = run.state
    if run.now_ms() >= state.next_read_ms - EARLY_MS:
        read(run)
        state.next_read_ms += run.settings["read_s"] * 1000
    try:
        due = parts.awake or run.now_ms() >= state.next_send_ms - EARLY_MS
        if due or state.tries or len(run.memory.gather) >= run.settings["flush_n"]:
            run.memory.flush()
        if due or state.tries:
            _put_off(run, due)
            run.memory.save(run.faults)  # should the radio's first gulp of current end this wake
            send(run)
    except Exception as error:
        run.fault("wake", error)
    if [fault for fault in run.faults if fault.startswith("flash")]:
        run.blink = "flash"
    if run.blink and state.wakes < SHOWN_WAKES:
        parts.blink(BLINKS[run.blink])
    state.wakes = min(255, state.wakes + 1)
    return _to_sleep(run)


def _put_off(run: Run, due: bool) -> None:
    """Set the next send as if this one failed: so it stands even if power fails in the middle."""
    state = run.state
    state.tries = max(0, state.tries - 1)
    if not due:
        return  # an urgent send that fails leaves the ordinary ones their time
    send_ms = run.settings["send_s"] * 1000
    backoff_ms = min(send_ms << min(state.failures, 10), max(send_ms, LONGEST_BACKOFF_MS))
    state.next_send_ms = run.began_ms() + backoff_ms
    state.failures = min(255, state.failures + 1)


def _to_sleep(run: Run) -> int:
    """Remember, and how long until the next reading or send [ms]."""
    state = run.state
    now_ms = run.now_ms()
    read_ms = run.settings["read_s"] * 1000
    if state.next_read_ms <= now_ms or state.next_read_ms > now_ms + read_ms + EARLY_MS:
        state.next_read_ms = now_ms + read_ms
    state.awake_ms = min(run.parts.mark_ms() - run.started_ms, 2**32 - 1)
    state.slept_ms = max(LEAST_SLEEP_MS, state.next_read_ms - now_ms)
    state.raw_ms = run.parts.mark_ms()
    run.memory.save(run.faults)
    run.parts.feed()
    return state.slept_ms
