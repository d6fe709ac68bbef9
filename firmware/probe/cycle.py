"""The wake cycle: one function from waking to the next sleep, with a budget on every wait.

Everything it touches comes in through `Parts`, so it runs the same on a board, on CPython and on the
interpreter in the tests.
"""

import json

from probe import record, urgent
from probe.clock import BASELINE_MS
from probe.drain import drain
from probe.memory import Memory
from probe.settings import PATH, check_from_host, save
from probe.state import WOKE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NETWORK_MS = 15000
NTP_MS = 3000
CONNECT_MS = 10000
STATE_MS = 4000
SETTINGS_MS = 100
"""After the last pack: settings the broker retained have long come by then."""
GOODBYE_MS = 2000
"""Kept back from all else, so that the state and a clean DISCONNECT get through."""
SENSORS_MS = 3000
EARLY_MS = 2000
"""A wake this little before its time counts as on time: sleep timers are no better."""
LEAST_SLEEP_MS = 500
URGENT_TRIES = 3
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


class Parts:
    """What a wake cycle works with.

    settings   checked settings (probe.settings); problems: what was wrong with the file, in words
    fs         flash: open, remove, rename, listdir, mkdir (probe.files.Files)
    folder     where the spool and the counters live
    settings_path  where settings from the host are saved
    memory     RTC memory: memory() -> bytes, memory(bytes); at most 2048 bytes, kept in deep sleep
    mark_ms    () -> ms, running on through deep sleep from power-up; nobody may set it
    pause      (ms): wait without deep sleep
    power      (bool): the sensors' supply
    warm_ms    sensors need this long after power-on
    sensors    each: name; start() begins to measure; ready_ms after that; read() -> {(head, wire name):
               value}, raising anything costs that sensor's values only. The battery is one of them:
               (0, "battery")
    network    up(budget_ms) raises when it does not come up; down(); rssi() -> dBm or None
    ntp        (budget_ms) -> ms since 1970; raises when there is no answer
    link       connect(budget_ms); publish(kind, payload, retain, budget_ms) returns once the broker has
               acknowledged; received(budget_ms) -> (kind, payload) or None; disconnect(budget_ms). All
               raise on failure. Kinds: "readings", "state" out, "receipt", "settings" in.
               connect sets the last will: state "lost"
    wired      None, or as link, over USB, used when Wi-Fi is not set or does not come up and
               wired.connect succeeds; there readings are always kept until their receipt
    feed       (): the watchdog
    blink      (times)
    random     () -> 30 random bits
    device     "urn:dev:mac:…:"; reset: why it started, state.WOKE for a wake; firmware: version;
               awake: True where it does not sleep deeply between cycles, and sends every reading at once
    spoken     set by the cycle: whether a host answered over USB
    """

    settings: "dict[str, Any]"
    reset: str
    awake = False
    spoken = False
    problems: "tuple[str, ...] | list[str]" = ()
    settings_path = PATH
    wired: "Any" = None

    def __init__(self, **parts: "Any") -> None:
        for name, part in parts.items():
            setattr(self, name, part)

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any: ...


class Run:
    """One wake: its parts, what is remembered, and what went wrong in it."""

    def __init__(self, parts: Parts, budget_ms: "int | None") -> None:
        self.parts = parts
        self.settings: "dict[str, Any]" = parts.settings
        self.started_ms = parts.mark_ms()
        self.budget_ms = budget_ms or self.settings["budget_s"] * 1000
        self.faults: "list[str]" = []
        self.urgent: "list[str]" = []
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
        _read(run)
        state.next_read_ms += run.settings["read_s"] * 1000
    try:
        due = parts.awake or run.now_ms() >= state.next_send_ms - EARLY_MS
        if due or state.tries or len(run.memory.gather) >= run.settings["flush_n"]:
            run.memory.flush()
        if due or state.tries:
            _put_off(run, due)
            run.memory.save(run.faults)  # should the radio's first gulp of current end this wake
            _send(run)
    except Exception as error:
        run.fault("wake", error)
    if [fault for fault in run.faults if fault.startswith("flash")]:
        run.blink = "flash"
    if run.blink and state.wakes < SHOWN_WAKES:
        parts.blink(BLINKS[run.blink])
    state.wakes = min(255, state.wakes + 1)
    return _to_sleep(run)


def _read(run: Run) -> None:
    """Sense, judge urgency, and keep the instant in RTC memory."""
    parts, state = run.parts, run.state
    mark_ms = run.now_ms()
    values, failed = _sense(run)
    said_ms, _ = run.clock.time_ms(state.boot, mark_ms)
    instant = record.Instant(state.boot, state.sequence, mark_ms, said_ms, values, failed)
    run.memory.keep(record.pack(instant))
    state.sequence += 1
    state.active, run.urgent = urgent.judge(values, run.settings["limits"], state.active)
    if run.urgent:
        state.allowed, state.allowed_since_ms = urgent.allowance(
            state.allowed, state.allowed_since_ms, mark_ms
        )
        if state.allowed:
            state.allowed -= 1
            state.tries = URGENT_TRIES
    parts.feed()


def _sense(run: Run) -> "tuple[dict[tuple[int, str], float], int]":
    """The values of all sensors that answer, and how many did not."""
    parts, state = run.parts, run.state
    values: "dict[tuple[int, str], float]" = {}
    failed = 0
    started = []
    ready_ms = 0
    try:
        parts.power(True)
        parts.pause(min(parts.warm_ms, SENSORS_MS))
        for sensor in parts.sensors:
            try:
                sensor.start()
                started.append(sensor)
                ready_ms = max(ready_ms, sensor.ready_ms)
            except Exception as error:
                failed += 1
                run.fault(sensor.name, error)
        parts.pause(min(ready_ms, SENSORS_MS))
        stuck, state.trial = state.trial, 0
        for index, sensor in enumerate(started):
            parts.feed()
            if index + 1 == stuck and parts.reset != WOKE:
                failed += 1
                run.fault(sensor.name, ValueError("stopped the probe; left out once"))
                continue
            state.trial = index + 1
            run.memory.save([])
            try:
                found = sensor.read()
            except Exception as error:
                failed += 1
                run.fault(sensor.name, error)
                continue
            for key, value in found.items():
                if record.takes(key[0], key[1], value) and len(values) < record.MOST_VALUES:
                    values[key] = value
                else:
                    failed += 1
                    run.fault("%s: %d/%s is %s" % (sensor.name, key[0], key[1], value))
        state.trial = 0
    except Exception as error:
        run.fault("sensors' supply", error)
        failed += 1
    try:
        parts.power(False)
    except Exception as error:
        run.fault("sensors' supply", error)
    if failed:
        run.blink = "sensor"
    return values, failed


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


def _send(run: Run) -> None:
    parts = run.parts
    run.clock = run.memory.whole_clock()
    if not run.settings["wifi"]["ssid"]:
        _send_wired(run)
        if not parts.spoken:
            run.blink = "no network"
        return
    try:
        try:
            parts.network.up(run.left_ms(NETWORK_MS))
        except Exception as error:
            run.fault("Wi-Fi", error)
            run.blink = "no network"
            _send_wired(run)
            return
        if _settle_clock(run):
            return
        _over(run, parts.link, run.settings["receipts"])
    finally:
        try:
            parts.network.down()
        except Exception as error:
            run.fault("Wi-Fi", error)


def _send_wired(run: Run) -> None:
    if run.parts.wired is not None:
        run.parts.spoken = _over(run, run.parts.wired, True)


def _settle_clock(run: Run) -> bool:
    """Ask for the date when it is time to. True: wait with sending until a second answer tells the drift."""
    state, clock = run.state, run.clock
    if not run.settings["ntp"]["host"]:
        return False
    age_ms = clock.age_of_sync_ms(run.now_ms())
    if age_ms is not None and age_ms < run.settings["ntp"]["every_s"] * 1000 and not state.held:
        return False
    try:
        time_ms = run.parts.ntp(run.left_ms(NTP_MS))
    except Exception as error:
        run.fault("time server", error)
        return False
    odd = clock.sync(run.now_ms(), time_ms)
    if odd:
        run.fault("time server", ValueError(odd))
    boot, mark_ms = run.memory.oldest() or (state.boot, run.now_ms())
    clock.forget(boot, mark_ms)
    run.memory.save_clock()
    oldest_ms = mark_ms if boot == state.boot else 0
    if clock.wants_second(oldest_ms) and not state.held and not run.urgent and not state.tries:
        state.held = 1
        state.failures = max(0, state.failures - 1)
        state.next_send_ms = run.began_ms() + BASELINE_MS + EARLY_MS
        return True
    state.held = 0
    return False


def _over(run: Run, link: "Any", receipts: bool) -> bool:
    """Connect, drain, say how things stand, disconnect. Whether it connected."""
    state = run.state
    try:
        link.connect(run.left_ms(CONNECT_MS))
    except Exception as error:
        run.fault("broker", error)
        run.blink = run.blink or "no broker"
        return False
    try:
        done = drain(run, link, receipts)
        if done:
            state.failures = 0
            state.tries = 0
            waiting = len(run.memory)
            wait_s = run.settings["send_s"] if not waiting else run.settings["read_s"]
            state.next_send_ms = run.began_ms() + wait_s * 1000
            run.blink = run.blink or "sent"
        else:
            run.blink = "no receipt"
        message = link.received(run.left_ms(SETTINGS_MS))
        while message is not None:
            run.message(message[0], message[1])
            message = link.received(run.left_ms(0))
        _say_state(run, link)
    except Exception as error:
        run.fault("broker", error)
        run.blink = "no broker"
    try:
        link.disconnect(run.left_ms(GOODBYE_MS, 0))
    except Exception as error:
        run.fault("broker", error)
    return True


def _say_state(run: Run, link: "Any") -> None:
    state, clock, memory = run.state, run.clock, run.memory
    now_ms = run.now_ms()
    age_ms = clock.age_of_sync_ms(now_ms)
    said = {
        "state": "awake" if run.parts.awake else "asleep",
        "firmware": run.parts.firmware,
        "reset": run.parts.reset,
        "boot": state.boot,
        "sync_age_s": None if age_ms is None else age_ms // 1000,
        "sync_ppm": clock.ppm,
        "sync_corrected_ms": clock.corrected_ms,
        "spool": len(memory),
        "dropped": memory.dropped() + state.lost,
        "damaged": memory.damaged(),
        "rssi": run.parts.network.rssi() if run.settings["wifi"]["ssid"] else None,
        "awake_ms": run.parts.mark_ms() - run.started_ms,
        "settings_revision": run.settings["revision"],
        "urgent": run.urgent,
        "faults": memory.faults(run.faults),
    }
    said.update(run.revision)
    link.publish("state", json.dumps(said).encode(), True, run.left_ms(STATE_MS, 0))
    memory.told(run.faults)


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
