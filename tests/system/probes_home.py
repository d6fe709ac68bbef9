"""The host that simulated probes send to: the real one, at their time, with outages of its own."""

import time
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import pytest
from sqlalchemy import select

from tests.interpreter.fortnight import Probe, number_of
from tests.system.brokers import Mosquitto, free_port, mosquitto
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import schema
from traywarden.store.store import Store

ON_AIR_MS = 3_000
"""How long after waking a pack is taken to arrive, for times that count from its arrival."""
MOST_OUT_S = 30


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

    def at(self, now_ms: int) -> None:
        """It is this late: start or stop what should run or not. A probe is on the air some seconds later."""
        self.now_ms = now_ms + ON_AIR_MS
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


def arrived_once(home: Home, probe: Probe) -> str:
    """What was whole in the probe's spool is in the store once, at its time; says how it went."""
    rows = home.rows(probe.name)
    numbers = Counter(row.number for row in rows)
    assert max(numbers.values(), default=1) == 1, "a reading is stored twice"
    assert probe.reached <= set(numbers), "a reading that was spooled never arrived"
    assert set(numbers) <= set(range(len(probe.measured_ms))), "a reading that nobody made"
    sure_s, relative = _times(rows, probe)
    return (
        f"{probe.name}: {len(probe.measured_ms)} wakes, {len(probe.reached)} spooled, "
        f"{len(rows)} stored once; {probe.cuts} power cuts; longest wake {probe.longest_ms / 1000:.1f} s; "
        f"times at most {sure_s:.1f} s out after a sync, {relative} sent before any, "
        f"{sum(row.unsure for row in rows)} unsure over a power cut"
    )


def _times(rows: list[Row], probe: Probe) -> tuple[float, int]:
    """Hold every time to the truth: after a sync within 30 s, before any within the clock's own error."""
    worst_s, relative = 0.0, 0
    for row in rows:
        out_s = abs(row.time_ms - probe.measured_ms[row.number]) / 1000
        if probe.had_time(row.received_ms - ON_AIR_MS):
            if not row.unsure:
                assert out_s <= MOST_OUT_S, f"wake {row.number} of {probe.name} is {out_s:.0f} s out"
                worst_s = max(worst_s, out_s)
        elif not row.unsure:
            relative += 1
            age_s = (row.received_ms - probe.measured_ms[row.number]) / 1000
            assert out_s <= MOST_OUT_S + 0.06 * age_s
    return worst_s, relative
