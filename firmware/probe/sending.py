"""Sending: connect, settle the clock, drain what waits, say how things stand, and leave cleanly."""

import json

from probe import pack, syncs
from probe.drain import PUBLISH_MS, drain

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NETWORK_MS = 15000
CONNECT_MS = 10000
SETTINGS_MS = 100
"""After the last pack: settings the broker retained have long come by then."""
GOODBYE_MS = 2000
"""Kept back from all else, so that the state and a clean DISCONNECT get through."""


def send(run: "Any") -> None:
    """One try, over Wi-Fi or over the cable. Notes what failed; what was not sent stays."""
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
        wants_time = syncs.due(run) and not syncs.by_time_server(run)
        if run.settings["broker"]["tls"]:
            syncs.date_board(run)
        _over(run, parts.link, wants_time, False)
    finally:
        try:
            parts.network.down()
        except Exception as error:
            run.fault("Wi-Fi", error)


def _send_wired(run: "Any") -> None:
    if run.parts.wired is not None:
        run.parts.spoken = _over(run, run.parts.wired, syncs.due(run), True)


def _over(run: "Any", link: "Any", wants_time: bool, cable: bool) -> bool:
    """Connect, drain, say how things stand, disconnect. Whether it connected."""
    try:
        link.connect(run.left_ms(CONNECT_MS))
    except Exception as error:
        run.fault("broker", error)
        run.blink = run.blink or "no broker"
        return False
    try:
        receipts = cable or run.settings["receipts"]
        if wants_time and receipts:
            syncs.by_host(run, link)
        _deliver(run, link, receipts, cable)
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


def _deliver(run: "Any", link: "Any", receipts: bool, cable: bool) -> None:
    """Send what waits, as far as it can be dated."""
    state = run.state
    host_must_tell = receipts and not cable
    if host_must_tell and not run.clock.synced():
        run.blink = "no receipt"
        return  # nobody says what time it is: the host is not there to take anything either
    if syncs.hold(run, host_must_tell):
        if not syncs.is_fresh(run):
            run.blink = "no receipt"
            return
        _send_newest(run, link)
    elif drain(run, link, receipts, cable):
        state.failures = 0
        wait_s = run.settings["read_s"] if len(run.memory) else run.settings["send_s"]
        state.next_send_ms = run.began_ms() + wait_s * 1000
    else:
        run.blink = "no receipt"
        return
    state.tries = 0
    run.blink = run.blink or "sent"


def _send_newest(run: "Any", link: "Any") -> None:
    """While the rest is held back: what was measured in this wake, which stays on the probe all the same.

    As the oldest held it says the first of its boot, so that no receipt can reach over what is held back.
    """
    instant = run.instant
    if instant is not None:
        date_ms, unsure = run.clock.time_ms(instant.boot, instant.mark_ms)
        if not unsure:
            payload = pack.encode([instant], [date_ms], True, 1, run.parts.device)
            link.publish("readings", payload, False, run.left_ms(PUBLISH_MS))


def _say_state(run: "Any", link: "Any") -> None:
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
    link.publish("state", json.dumps(said).encode(), True, run.left_ms(syncs.STATE_MS, 0))
    memory.told(run.faults)
