"""The host that simulated probes send to: the real one, at their time, with outages of its own."""

import time
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import pytest
from sqlalchemy import select

from tests.interpreter.fortnight import DAY_MS, Probe, number_of
from tests.system.brokers import Mosquitto, free_port, mosquitto
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import schema
from traywarden.store.store import Store

MOST_OUT_S = 30
FAR_MS = 2 * DAY_MS
"""So long before the first time its life heard, or after the last, a reading must be dated for sure."""


class Row(NamedTuple):
    """A stored reading: the wake it spells, the time it was given, and whether the probe was unsure of it."""

    number: int
    time_ms: int
    received_ms: int
    unsure: bool


class Home:
    """The host and its broker, which both have outages of their own, at the time the probes have."""

    def __init__(
        self,
        folder: Path,
        builtin: bool,
        patch: pytest.MonkeyPatch,
        start_ms: int,
        down: Sequence[tuple[int, int, bool]] = (),
    ) -> None:
        """`down`: from when to when the host does not run, and whether mosquitto does not either."""
        self.now_ms, self.down = start_ms, down
        clock = SimpleNamespace(time_ns=lambda: self.now_ms * 1_000_000, monotonic=time.monotonic)
        for link in ("mqtt", "broker"):
            patch.setattr(f"traywarden.links.{link}.time", clock)
        self.broker: Mosquitto | None = None
        self._stack = ExitStack()
        if builtin:
            port = free_port()
        else:
            self.broker = self._stack.enter_context(mosquitto(folder / "mosquitto"))
            port = self.broker.port
        self.port = port
        self.settings = made_home(folder, broker__builtin=builtin, broker__port=port, host__clock="readings")
        self.host: Host | None = None
        self.started = 0

    def at(self, now_ms: int, on_air_ms: int) -> None:
        """It is this late: start or stop what should run or not. A probe is on the air so much later."""
        self.now_ms = now_ms + on_air_ms
        down = [with_broker for begin, end, with_broker in self.down if begin <= now_ms < end]
        if down and self.host is not None:
            self.host.stop()
            self.host = None
            if any(down) and self.broker is not None:
                self.broker.stop()
        elif not down and self.host is None:
            if self.broker is not None and not self.broker.running:
                self.broker.start()
            self.host = Host(self.settings, say=lambda sentence: None)
            self.host.start()
            self.started += 1

    def stored(self, name: str) -> set[int]:
        return {row.number for row in self.rows(name)}

    def rows(self, name: str) -> list[Row]:
        """What the store has of the probe's air sensor."""
        reading, head, probe = schema.reading, schema.head, schema.probe
        wanted = (
            select(reading)
            .join(head, head.c.head_id == reading.c.head_id)
            .join(probe, probe.c.probe_id == head.c.probe_id)
            .where(probe.c.name == name, head.c.number == 0)
        )
        with Store.open(self.settings.store_url) as store, store.read() as tx:
            return [
                Row(
                    number_of(one.air_temp_c, one.rh_pct),
                    one.time_ms,
                    one.received_ms,
                    "time_unsure" in (one.extra or ""),
                )
                for one in tx.execute(wanted)
                if one.air_temp_c is not None
            ]

    def close(self) -> None:
        if self.host is not None:
            self.host.stop()
        self._stack.close()


@dataclass
class Arrived:
    """What became of a probe's readings: how many, how far out, and which it was not sure of."""

    stored: int = 0
    before_sync: int = 0
    """made before their life first heard what time it is, and dated by that"""
    worst_s: float = 0.0
    worst_before_s: float = 0.0
    never_told: int = 0
    """unsure, as their life ended without ever hearing what time it is"""
    far: int = 0
    """unsure, as their life heard it more than two days later or earlier"""

    @property
    def unsure(self) -> int:
        return self.never_told + self.far


def arrived_once(home: Home, probe: Probe) -> Arrived:
    """What was whole in the probe's spool is in the store once; what it was sure of is within 30 s of the
    truth, and it was unsure only where it could not have known."""
    rows = home.rows(probe.name)
    numbers = Counter(row.number for row in rows)
    assert max(numbers.values(), default=1) == 1, "a reading is stored twice"
    assert probe.reached <= set(numbers), "a reading that was spooled never arrived"
    assert set(numbers) <= set(range(len(probe.measured_ms))), "a reading that nobody made"
    found = Arrived(len(rows))
    for row in rows:
        true_ms, from_sync_ms = probe.measured_ms[row.number], probe.from_sync_ms(row.number)
        who = f"wake {row.number} of {probe.name}"
        if row.unsure:
            assert from_sync_ms is None or from_sync_ms > FAR_MS, f"{who} could have been dated for sure"
            found.never_told += from_sync_ms is None
            found.far += from_sync_ms is not None
            continue
        out_s = abs(row.time_ms - true_ms) / 1000
        assert out_s <= MOST_OUT_S, f"{who} is {out_s:.0f} s out"
        found.worst_s = max(found.worst_s, out_s)
        heard_ms = probe.heard_ms[probe.lives[row.number]]
        if heard_ms and true_ms < heard_ms[0]:
            found.before_sync += 1
            found.worst_before_s = max(found.worst_before_s, out_s)
    return found


def told(probe: Probe, found: Arrived) -> str:
    return (
        f"{probe.name}: {len(probe.measured_ms)} wakes, {len(probe.reached)} spooled, "
        f"{found.stored} stored once; "
        f"{probe.cuts} power cuts; longest wake {probe.longest_ms / 1000:.1f} s; "
        f"times at most {found.worst_s:.1f} s out ({found.before_sync} from before the first sync: "
        f"{found.worst_before_s:.1f} s); exempt as unsure: {found.never_told} of lives that never heard the "
        f"time, {found.far} more than two days from when theirs did"
    )
