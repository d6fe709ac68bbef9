"""A fortnight of wakes on the genuine interpreter against the real host: nothing that was spooled is lost.

`make test` plays three days of it, `make soak` the whole: three probes, 2,016 wakes each, on both brokers.

What is checked of each reading that was once whole in a spool's files: it is in the store exactly once, and
 - sent after a sync: its time is within 30 s of the truth (the clocks run up to 5 % fast or slow);
 - sent before any sync, as how long ago: within 30 s and the clock's own error since;
 - measured without a sync before the power was cut, which the probe reports as unsure: not its time.
No wake is longer than its budget. The packs' arrival is stamped with the probes' time, not the computer's; all
else of the host is as it runs.
"""

import os
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import pytest
from sqlalchemy import select

from tests.interpreter.fortnight import MINUTE_MS, Fortnight, Probe, number_of
from tests.interpreter.node import Node
from tests.system.brokers import Mosquitto, free_port, mosquitto
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import schema
from traywarden.store.store import Store

pytestmark = [pytest.mark.system, pytest.mark.timeout(3600)]
WHOLE = os.environ.get("TRAYWARDEN_FORTNIGHT") == "whole"
PROBES, WAKES = (3, 2016) if WHOLE else (3, 432)
SEED = int(os.environ.get("TRAYWARDEN_SEED", "20260"))
BUDGET_MS = 45_000
MOST_OUT_S = 30
ON_AIR_MS = 3_000
"""How long after waking a pack is taken to arrive, for times that count from its arrival."""
CABLE_MS = 6_000
"""After power-up a probe listens on its cable before it first sleeps."""


class Row(NamedTuple):
    """A stored reading: the wake it spells, the time it was given, and whether the probe was unsure of it."""

    number: int
    time_ms: int
    received_ms: int
    unsure: bool


class Home:
    """The host and its broker, which both have outages of their own, at the time the probes have."""

    def __init__(self, folder: Path, builtin: bool, patch: pytest.MonkeyPatch, start_ms: int, end_ms: int):
        self.now_ms = start_ms
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
        span_ms = end_ms - start_ms
        self.down = [
            (start_ms + int(begin * span_ms), start_ms + int((begin + part) * span_ms), with_broker)
            for begin, part, with_broker in (
                (0.13, 0.004, False),
                (0.4, 0.08, True),
                (0.71, 0.001, False),
                (0.9, 0.03, False),
            )
        ]
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


@pytest.fixture(params=[False, True], ids=["mosquitto", "built-in"])
def home(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Home]:
    end_ms = time.time_ns() // 1_000_000 // MINUTE_MS * MINUTE_MS
    made = Home(tmp_path, request.param, monkeypatch, end_ms - WAKES * 10 * MINUTE_MS, end_ms)
    yield made
    made.close()


def test_what_reached_the_spool_arrives_once_with_its_time(home: Home) -> None:
    with Node() as node:
        start_ms = home.now_ms
        fortnight = Fortnight(node, home.port, PROBES, WAKES, start_ms, SEED, home.at, home.stored)
        began_s = time.monotonic()
        fortnight.run()
        took_s = time.monotonic() - began_s
    assert fortnight.troubles == []
    for probe in fortnight.probes:
        _arrived_once(home, probe)
        assert probe.longest_ms <= BUDGET_MS + CABLE_MS
    wakes = sum(len(probe.measured_ms) for probe in fortnight.probes)
    awake_s = sum(probe.awake_ms for probe in fortnight.probes) / 1000 / wakes
    radio_s = sum(probe.radio_ms for probe in fortnight.probes) / 1000 / wakes
    print(
        f"\n{wakes} wakes in {took_s:.0f} s, each {awake_s:.2f} s long, "
        f"{radio_s:.2f} s of it with the radio on; the host was started {home.started} times"
    )


def _arrived_once(home: Home, probe: Probe) -> None:
    rows = home.rows(probe.name)
    numbers = Counter(row.number for row in rows)
    assert max(numbers.values()) == 1, "a reading is stored twice"
    assert probe.reached <= set(numbers), "a reading that was spooled never arrived"
    assert set(numbers) <= set(range(len(probe.measured_ms))), "a reading that nobody made"
    sure_s, relative = _times(rows, probe)
    print(
        f"\n{probe.name}: {len(probe.measured_ms)} wakes, {len(probe.reached)} spooled, "
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
