"""The syncs of a wake: who says what time it is, and what is held back until a further one makes it sure.

A time server is asked first; where none answers, the host that the readings go to. A probe that has heard
neither keeps its readings: a pack that says only “so long ago” and waits in a broker while the host is down
would be dated by its late arrival.
"""

import json

from probe.clock import BASELINE_MS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NTP_MS = 3000
ASK_MS = 5000
"""For the host's answer: half of it may be how far out the date is."""
STATE_MS = 4000
MOST_HELD = 3
"""Sends one after the other in which no further sync came; then what is held goes out, called unsure."""
EARLY_MS = 2000
"""A wake this little before its time counts as on time: sleep timers are no better."""


def due(run: "Any") -> bool:
    """Whether it is time to ask for the date."""
    age_ms = run.clock.age_of_sync_ms(run.now_ms())
    if age_ms is None or run.state.held:
        return True
    every_ms = run.settings["ntp"]["every_s"] * 1000
    return bool(age_ms >= (every_ms if run.clock.ppm is not None else min(every_ms, BASELINE_MS)))


def by_time_server(run: "Any") -> bool:
    """Ask the time server of the settings; whether it told the date."""
    if not run.settings["ntp"]["host"]:
        return False
    try:
        return _take(run, "time server", run.parts.ntp(run.left_ms(NTP_MS)))
    except Exception as error:
        run.fault("time server", error)
        return False


def by_host(run: "Any", link: "Any") -> bool:
    """Ask the host over the link that the readings take; whether it told the date."""
    token = run.parts.random()
    began_ms = run.now_ms()
    asks = json.dumps({"state": "awake", "asks_time": token}).encode()
    link.publish("state", asks, False, run.left_ms(STATE_MS))
    while True:
        passed_ms = run.now_ms() - began_ms
        wait_ms = run.left_ms(max(0, ASK_MS - passed_ms))
        message = link.received(wait_ms) if wait_ms else None
        if message is None:
            run.fault("the host did not say what time it is")
            return False
        passed_ms = run.now_ms() - began_ms
        told_ms = _told(message[1], token) if message[0] == "receipt" else None
        if told_ms is not None:
            return _take(run, "host", told_ms + passed_ms // 2)
        run.message(message[0], message[1])


def is_fresh(run: "Any") -> bool:
    """Whether somebody has told the date just now."""
    age_ms = run.clock.age_of_sync_ms(run.now_ms())
    return age_ms is not None and age_ms < BASELINE_MS


def hold(run: "Any", always: bool) -> bool:
    """Whether to hold back what waits until the next sync, which makes its dates sure. With a fresh sync the
    next send is set to when one more will do.

    `always`: without a fresh sync, too; nobody is there who would tell the date and take the readings. Else
    only for a few sends.
    """
    state = run.state
    boot, mark_ms = run.memory.oldest() or (state.boot, run.now_ms())
    waits_ms = run.clock.waits_ms(boot, mark_ms)
    fresh = is_fresh(run)
    if not waits_ms or not (fresh or always or state.held < MOST_HELD):
        state.held = 0
        return False
    state.held = 1 if fresh else min(255, state.held + 1)
    if fresh:
        state.failures = 0
        soonest_ms = min(waits_ms + EARLY_MS, run.settings["send_s"] * 1000)
        state.next_send_ms = run.began_ms() + soonest_ms
    return True


def date_board(run: "Any") -> None:
    """Set the board's calendar, by which TLS looks at certificates: to the date, or to the latest date known
    to have been. Marks and budgets go on as if nothing had happened."""
    state, clock = run.state, run.clock
    now_ms, _ = clock.time_ms(state.boot, run.now_ms())
    least_ms = max(clock.latest_ms() or 0, run.settings["set_up_s"] * 1000)
    jumped_ms = run.parts.date(now_ms or least_ms, now_ms is None)
    if jumped_ms:
        run.started_ms += jumped_ms
        state.base_ms -= jumped_ms
        state.raw_ms += jumped_ms
        run.memory.save(run.faults)


def _take(run: "Any", who: str, time_ms: int) -> bool:
    clock, now_ms = run.clock, run.now_ms()
    odd = clock.sync(now_ms, time_ms)
    if odd:
        run.fault(who, ValueError(odd))
    boot, mark_ms = run.memory.oldest() or (run.state.boot, now_ms)
    clock.forget(boot, mark_ms)
    run.memory.save_clock()
    return bool(clock.age_of_sync_ms(now_ms) == 0)


def _told(payload: bytes, token: int) -> "int | None":
    """The time in the host's answer to this question; None for anything else."""
    try:
        said = json.loads(payload)
        time_ms = said["time_ms"] if said["asked"] == token else None
    except (ValueError, KeyError, TypeError):
        return None
    return time_ms if isinstance(time_ms, int) else None
