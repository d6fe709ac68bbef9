"""A thousand trays that each send a reading a minute: how long after its commit a reading has been judged.

The garden has a day and a half of such minutes behind it, which is what quality flags look back at. Then
minutes go by on a driven clock. In some the readings come one after another, as probes whose clocks differ
send them; in others all come in one commit, as after a broker was away. The watch judges on a thread of its
own as in the host. The baseline is storing the same readings, one commit for all of them.
"""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
from numpy.typing import NDArray

from tests.benchmarks.figures import Figure
from tests.services.watched_garden import Committed, DrivenClock, settings_with
from traywarden.domain.episodes import RuleState
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import a_tray
from traywarden.services.judging import standing_rules
from traywarden.services.upkeep import pack_days
from traywarden.services.watch import Watch
from traywarden.store import episodes as episode_store
from traywarden.store import garden as garden_store
from traywarden.store import journal, packed, probes, readings
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

TRAYS = 1_000
MINUTE_MS, DAY_MS = 60_000, 86_400_000
HISTORY_MIN = 36 * 60
NOON_MS = 1_772_344_800_000 + 6 * 3_600_000  # half of today's readings lie behind
SPREAD_MIN, BURSTS = 1, 5
MOST_P99_S = 1.0
NOT_JUDGED_S = 60.0
MOST_MORE_MIB = 8.0
_PAST = """
WITH RECURSIVE step(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM step WHERE n + 1 < :minutes)
INSERT INTO reading (head_id, time_ms, boot, sequence, received_ms, soil_temp_c, moisture_m3_m3)
SELECT head_id, :begin_ms + n * 60000, 1, n, :begin_ms + n * 60000,
  18 + (n % 37) / 16.0, 0.45 - n * 0.00005 + (n % 7) * 0.001
FROM head, step ORDER BY head_id, n
"""


@dataclass
class Bench:
    """A garden with many trays, its watch as after a restart, and the minutes that go by."""

    store: Store
    trays: int = TRAYS
    history_min: int = HISTORY_MIN

    def __post_init__(self) -> None:
        self.settings = settings_with()
        self.clock = DrivenClock(NOON_MS)
        self.heads: dict[int, int] = {}
        begin_ms = NOON_MS - self.history_min * MINUTE_MS
        with self.store.write() as tx:
            place = garden_store.add_place(tx, "bench", "open bench")
            mix = garden_store.add_mix(tx, "peat", {"peat": 1}, 0.55, 0.25)
            ids = probes.ensure_heads(tx, [(f"probe-{n}", 1) for n in range(self.trays)], begin_ms)
            for n in range(self.trays):
                tray_id = garden_store.add_tray(tx, f"tray {n}", litres=3.0).tray_id
                self.heads[ids[f"probe-{n}", 1]] = tray_id
                at = begin_ms - DAY_MS
                journal.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=place.place_id)
                journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix.mix_id)
                journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=ids[f"probe-{n}", 1])
                journal.write(tx, Kind.SOWED, at, at, tray_id=tray_id, data={"crop": "tomato", "cells": 60})
            past = {"minutes": self.history_min, "begin_ms": begin_ms}
            tx.exec_driver_sql(_PAST, past)
            times = range(begin_ms, NOON_MS, 10 * MINUTE_MS)
            packed.mark(tx, {(head_id, packed.slot_of(at)) for head_id in self.heads for at in times})
        pack_days(self.store, self.settings, NOON_MS)
        with self.store.write() as tx:
            marks = {"received_ms": NOON_MS, "entry_id": max(e.entry_id for e in journal.entries(tx))}
            before = RuleState(NOON_MS - MINUTE_MS, used_ms=NOON_MS - MINUTE_MS, answer=Answer.NO)
            keys = [
                (rule.name, a_tray(t)) for rule in standing_rules(self.settings) for t in self.heads.values()
            ]
            episode_store.set_rule_states(tx, dict.fromkeys(keys, (before, marks)))
        self.watch = Watch(self.store, self.settings, self.clock, load_crops(), system_ms=self.clock.now_ms)
        self.minute = self.history_min

    def readings(self, wet: float = 0.34) -> list[Reading]:
        """What every tray sends this minute."""
        now_ms = self.clock.ms
        return [
            Reading(
                f"probe-{n}", 1, 1, self.minute, now_ms, now_ms,
                soil_temp_c=18 + self.minute % 37 / 16, moisture_m3_m3=wet,
            )
            for n in range(self.trays)
        ]  # fmt: skip

    def next_minutes(self, minutes: int = 1, wet: float = 0.34) -> list[Reading]:
        self.clock.ms += minutes * MINUTE_MS
        self.minute += minutes
        return self.readings(wet)

    def stored(self, rows: list[Reading]) -> None:
        with self.store.write() as tx:
            readings.insert(tx, rows)

    def arrived(self, head_ids: list[int]) -> None:
        at = dict.fromkeys(head_ids, self.clock.ms)
        self.watch.committed(Committed(at, at))


def _until_judged(bench: Bench, since_s: dict[int, float]) -> dict[int, float]:
    """How long after its commit each tray's newest reading was judged [s]."""
    took_s: dict[int, float] = {}
    until_s = time.perf_counter() + NOT_JUDGED_S
    while len(took_s) < len(since_s):
        assert time.perf_counter() < until_s, f"{len(since_s) - len(took_s)} trays were not judged"
        time.sleep(0.01)
        _note(bench, since_s, took_s)
    return took_s


def _note(bench: Bench, since_s: dict[int, float], took_s: dict[int, float]) -> None:
    now_s = time.perf_counter()
    for (rule, subject), state in bench.watch.answers().items():
        tray_id = subject.number
        known = tray_id in since_s and tray_id not in took_s
        if rule == "dry" and known and state.judged_to_ms >= bench.clock.ms:
            took_s[tray_id] = now_s - since_s[tray_id]


def _spread(bench: Bench) -> NDArray[np.float64]:
    """A minute in which the readings come one after another, a commit for each twentieth of a second."""
    rows, ids = bench.next_minutes(), list(bench.heads)
    since_s: dict[int, float] = {}
    took_s: dict[int, float] = {}
    began_s, sent = time.perf_counter(), 0
    while sent < len(rows):
        due = min(len(rows), 1 + int((time.perf_counter() - began_s) / 60 * len(rows)))
        if due > sent:
            bench.stored(rows[sent:due])
            now_s = time.perf_counter()
            since_s |= {bench.heads[head_id]: now_s for head_id in ids[sent:due]}
            bench.arrived(ids[sent:due])
            sent = due
        time.sleep(0.05)
        _note(bench, since_s, took_s)
    return np.array(list((took_s | _until_judged_rest(bench, since_s, took_s)).values()))


def _until_judged_rest(bench: Bench, since_s: dict[int, float], took_s: dict[int, float]) -> dict[int, float]:
    return _until_judged(bench, {t: s for t, s in since_s.items() if t not in took_s})


@dataclass(frozen=True)
class Burst:
    """A minute in which all come in one commit: until each was judged, that commit, and work done [s]."""

    took_s: NDArray[np.float64]
    stored_s: float
    cpu_s: float


def _burst(bench: Bench) -> Burst:
    rows = bench.next_minutes()
    began_s = time.perf_counter()
    bench.stored(rows)
    now_s, worked_s = time.perf_counter(), time.process_time()
    bench.arrived(list(bench.heads))
    took_s = _until_judged(bench, dict.fromkeys(bench.heads.values(), now_s))
    return Burst(np.array(list(took_s.values())), now_s - began_s, time.process_time() - worked_s)


def _resident_mib() -> float:
    return float(psutil.Process().memory_info().rss) / 2**20


def run() -> list[Figure]:
    with (
        tempfile.TemporaryDirectory() as name,
        Store.open(f"sqlite:///{Path(name) / 'garden.sqlite3'}") as store,
    ):
        bench = Bench(store)
        bench.watch.start()
        try:
            assert bench.watch.ready.wait(300)
            spread_s = np.concatenate([_spread(bench) for _ in range(SPREAD_MIN)])
            bursts = [_burst(bench)]
            before_mib = _resident_mib()
            bursts += [_burst(bench) for _ in range(BURSTS)]
            after_mib = _resident_mib()
        finally:
            bench.watch.stop()
    together_s = np.concatenate([burst.took_s for burst in bursts])
    stored_s, cpu_s = (float(np.median([getattr(b, name) for b in bursts])) for name in ("stored_s", "cpu_s"))
    each, all_ = f"{TRAYS} trays a minute, one by one", f"{TRAYS} trays in one commit"
    return [
        Figure(f"{each}: judged after the commit, p50", float(np.percentile(spread_s, 50)), "s"),
        Figure(
            f"{each}: judged after the commit, p99", float(np.percentile(spread_s, 99)), "s", most=MOST_P99_S
        ),
        Figure(
            f"{all_}: judged after it, p99",
            float(np.percentile(together_s, 99)) * 1000,
            "ms",
            baseline=stored_s * 1000,
            baseline_says="ms to store them",
        ),
        Figure(f"{all_}: work of judging them, other programs left out", cpu_s, "s", most=MOST_P99_S),
        Figure(
            f"resident memory more after {BURSTS} of these", after_mib - before_mib, "MiB", most=MOST_MORE_MIB
        ),
    ]
