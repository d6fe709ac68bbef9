"""Whatever happens to a garden, in any order, its answers are those of one in which nothing was ever kept.

Readings arrive late, doubled and out of order; the journal is written, corrected and taken back; heads are
calibrated and move; upkeep comes by at any moment, gets through with part of its work or all, or is killed.
"""

import shutil
import tempfile
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import msgspec
import numpy as np
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.domain.made_trays import made_tray
from tests.postgres_server import PostgresServer
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.domain.packing import DAY_MS
from traywarden.domain.readings import Reading
from traywarden.services import upkeep
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.waterings import ask_waterings
from traywarden.settings import Settings, load
from traywarden.store import garden, journal, packed, probes, readings
from traywarden.store.store import Store

DAYS, SPACING_MS = 26, 3_600_000
START_MS = 20_500 * DAY_MS
NOW_MS = START_MS + DAYS * DAY_MS
HEADS = ("a/1", "b/1", "air/0")
PACKS = 8
SETTINGS: Settings = load(Path("/nowhere"), environ={})

trays = st.sampled_from(["A", "B"])
heads = st.sampled_from(["a/1", "b/1"])
days = st.integers(0, DAYS - 1)
instants = st.integers(0, DAYS * 24 - 1).map(lambda hours: START_MS + hours * 3_600_000)


@cache
def measured() -> dict[str, list[Reading]]:
    """Every reading the garden will ever get, by head."""
    found: dict[str, list[Reading]] = {}
    for n, head in enumerate(HEADS):
        tray = made_tray(
            spacing_s=SPACING_MS / 1000,
            days=DAYS,
            watered_h=(8.0,),
            every_days=3 + n,
            seed=n,
            swing_m3_m3=0.01,
        )
        rng = np.random.default_rng(n)
        soil = np.round(tray.soil_temp_c - 10.0, 2)  # nights freeze
        soil[rng.integers(0, soil.size, 8)] = rng.choice([-127.0, 85.0, 60.0], 8)
        soil[23::48] += 25.0  # a spike in the last reading of every other day: the next day's first one tells
        volts = np.round(2.6 - 2.4 * tray.moisture_m3_m3, 3)
        volts[230:300] = volts[230]  # stuck for three days, which shows from the second on
        probe, number = head.split("/")
        rows = []
        for k in range(soil.size):
            values: dict[str, Any] = {"soil_temp_c": float(soil[k]), "moisture_v": float(volts[k])}
            if probe == "air":
                values = {
                    "air_temp_c": float(soil[k]),
                    "rh_pct": 60.0 + k % 40,
                    "rain_mm": float(k % 70 == 0),
                }
            at_ms = START_MS + k * SPACING_MS + int(rng.integers(0, 60_000))
            rows.append(Reading(probe, int(number), 1, k, at_ms, NOW_MS, **values))
        found[head] = rows
    return found


@cache
def _template() -> Path:
    """A garden before its first reading, to be copied."""
    folder = Path(tempfile.mkdtemp())
    with Store.open(f"sqlite:///{folder / 'garden.sqlite3'}") as store:
        furnish(store)
    return folder / "garden.sqlite3"


def furnish(store: Store) -> None:
    with store.write() as tx:
        garden.set_garden(tx, "Garden", "Europe/Lisbon", now_ms=START_MS)
        garden.add_place(tx, "bench", "open bench")
        garden.add_place(tx, "frame", "cold frame")
        garden.add_mix(tx, "peat", {"peat": 1}, 0.5, 0.25)
        garden.add_mix(tx, "bark", {"bark": 1}, 0.45, 0.2)
        for name in ("A", "B"):
            garden.add_tray(tx, name, 40, 3.0)
        pairs = [(head.split("/")[0], int(head.split("/")[1])) for head in HEADS]
        ids = probes.ensure_heads(tx, pairs, START_MS)
        journal.write(tx, Kind.HEAD_PLACED, START_MS, START_MS, head_id=ids["air", 0], place_id=1)
        for tray_id, head_id in ((1, ids["a", 1]), (2, ids["b", 1])):
            journal.write(tx, Kind.HEAD_PLACED, START_MS, START_MS, head_id=head_id, tray_id=tray_id)
            journal.write(tx, Kind.FILLED, START_MS, START_MS, tray_id=tray_id, mix_id=tray_id)
            journal.write(tx, Kind.MOVED, START_MS, START_MS, tray_id=tray_id, place_id=1)
            journal.write(tx, Kind.SOWED, START_MS, START_MS, tray_id=tray_id, data={"crop": "tomato"})


def answers(store: Store) -> dict[str, Any]:
    """What is asked of the garden: every kind of thing that is kept is in it."""
    found: dict[str, Any] = {}
    with grounded(store, NOW_MS) as ground:
        found["waterings"] = ask_waterings(ground, days=DAYS)
        found["dry-downs"] = ask_dry_down(ground, days=float(DAYS))
        found["dry-downs of a week"] = ask_dry_down(ground, days=7.0)
        found["today"] = ask_today(ground)
        for tray_id in ground.trays:
            for hours in ground.tray_hourly(tray_id, START_MS + DAY_MS // 3, NOW_MS):
                rows = {name: getattr(hours, name) for name in ("hour_s", "soil_min_c", "moisture_m3_m3")}
                found[f"hours {tray_id} {hours.label}"] = {
                    name: array.tolist() for name, array in rows.items()
                }
            for head in ground.tray_series(tray_id, START_MS, NOW_MS):
                flags = {name: flags.tolist() for name, flags in head.flags.items()}
                found[f"flags {tray_id} {head.label}"] = (head.time_s.tolist(), flags)
    return {name: msgspec.json.encode(answer) for name, answer in found.items()}


class Garden(RuleBasedStateMachine):
    """The garden; from its readings and entries another is made each time, to compare with."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.store = self.opened()
        self.missing: list[tuple[str, int]] = []
        self.entries: list[int] = []

    def opened(self) -> Store:
        shutil.copyfile(_template(), self.folder / "garden.sqlite3")
        return Store.open(f"sqlite:///{self.folder / 'garden.sqlite3'}")

    def teardown(self) -> None:
        self.compare()
        self.store.close()
        shutil.rmtree(self.folder)

    # Readings ----------------------------------------------------------------------------------------------

    @initialize(
        missing=st.sets(st.sampled_from([9, 10, 11, 17, 23, 24]), min_size=1, max_size=4),
        tended=st.booleans(),
    )
    def most_arrives_in_order(self, missing: set[int], tended: bool) -> None:
        self.missing = [(head, day) for head in HEADS for day in sorted(missing)]
        for head in HEADS:
            for day in sorted(set(range(DAYS - 1)) - missing):
                self.deliver(head, day * 24, (day + 1) * 24)
        if tended:
            self.all_days_are_packed(DAYS)
            for tray in (1, 2):
                self.results_are_kept(tray, DAYS)

    @rule(which=st.integers(0, 20), hours=st.integers(1, 24))
    def a_missing_day_arrives(self, which: int, hours: int) -> None:
        if self.missing:
            head, day = self.missing[which % len(self.missing)]
            self.deliver(head, day * 24, day * 24 + hours)

    @rule(head=st.sampled_from(HEADS), first=days, count=st.integers(1, 5), reverse=st.booleans())
    def days_arrive(self, head: str, first: int, count: int, reverse: bool) -> None:
        self.deliver(head, first * 24, (first + count) * 24, reverse=reverse)

    @rule(head=heads, number=st.integers(0, DAYS * 24 - 1), volts=st.sampled_from([1.1, 1.5, 2.2, 9.0]))
    def one_of_another_boot_comes_in_between(self, head: str, number: int, volts: float) -> None:
        """A reading that belongs to nothing else, such as a wet hand or a probe that started anew."""
        row = measured()[head][number]
        late = row._replace(boot=2, time_ms=row.time_ms + 61_000, moisture_v=volts)
        with self.store.write() as tx:
            readings.insert(tx, [late])

    def deliver(self, head: str, first: int, last: int, *, reverse: bool = False) -> None:
        rows = measured()[head][first:last]
        with self.store.write() as tx:
            readings.insert(tx, rows[::-1] if reverse else rows)

    # Journal -----------------------------------------------------------------------------------------------

    def write(self, kind: Kind, at_ms: int, **what: Any) -> None:
        with self.store.write() as tx:
            self.entries.append(journal.write(tx, kind, at_ms, NOW_MS, **what).entry_id)

    @rule(tray=st.integers(1, 2), at_ms=instants, how=st.sampled_from(["above", "below"]))
    def somebody_waters(self, tray: int, at_ms: int, how: str) -> None:
        self.write(Kind.WATERED, at_ms, tray_id=tray, data={"how": how})

    @rule(head=heads, at_ms=instants, dry_v=st.sampled_from([2.6, 2.5, 2.7]), own=st.booleans())
    def a_head_or_mix_is_calibrated(self, head: str, at_ms: int, dry_v: float, own: bool) -> None:
        points = {"points": [[1.4, 0.5], [dry_v, 0.0]]}
        if not own:
            self.write(Kind.CALIBRATED, at_ms, mix_id=1, data=points)
            return
        with self.store.read() as tx:
            head_id = probes.head_labelled(tx, head).head_id
        self.write(Kind.CALIBRATED, at_ms, head_id=head_id, data=points)

    @rule(tray=st.integers(1, 2), at_ms=instants, mix=st.integers(1, 2))
    def a_tray_is_filled(self, tray: int, at_ms: int, mix: int) -> None:
        self.write(Kind.FILLED, at_ms, tray_id=tray, mix_id=mix)

    @rule(tray=st.integers(1, 2), at_ms=instants, place=st.integers(1, 2))
    def a_tray_moves(self, tray: int, at_ms: int, place: int) -> None:
        self.write(Kind.MOVED, at_ms, tray_id=tray, place_id=place)

    @rule(head=heads, tray=st.integers(1, 2), at_ms=instants)
    def a_head_moves(self, head: str, tray: int, at_ms: int) -> None:
        with self.store.read() as tx:
            head_id = probes.head_labelled(tx, head).head_id
        self.write(Kind.HEAD_PLACED, at_ms, head_id=head_id, tray_id=tray)

    @rule(which=st.integers(0, 50))
    def an_entry_is_taken_back(self, which: int) -> None:
        if self.entries:
            self.write(Kind.UNDONE, NOW_MS, replaces=self.entries[which % len(self.entries)])

    @rule(which=st.integers(0, 50), at_ms=instants)
    def an_entry_is_corrected(self, which: int, at_ms: int) -> None:
        """It happened at another time."""
        with self.store.read() as tx:
            written = {entry.entry_id: entry for entry in journal.entries(tx)}
        if not self.entries:
            return
        old = written[self.entries[which % len(self.entries)]]
        if old.kind is not Kind.UNDONE:
            same = {name: getattr(old, name) for name in ("tray_id", "place_id", "mix_id", "head_id")}
            self.write(old.kind, at_ms, **same, data=dict(old.data), replaces=old.entry_id)

    # Upkeep ------------------------------------------------------------------------------------------------

    @rule(steps=st.integers(1, 3), now=days)
    def some_days_are_packed(self, steps: int, now: int) -> None:
        """… and then the program is killed, or told to end."""
        working = upkeep.packing(self.store, SETTINGS, START_MS + (now + 1) * DAY_MS)
        for _, _pairs in zip(range(steps), working, strict=False):
            pass

    @rule(now=st.sampled_from([DAYS // 2, DAYS]))
    def all_days_are_packed(self, now: int) -> None:
        upkeep.pack_days(self.store, SETTINGS, START_MS + now * DAY_MS)

    @rule(tray=st.integers(1, 2), now=st.sampled_from([DAYS // 2, DAYS - 3, DAYS]))
    def results_are_kept(self, tray: int, now: int) -> None:
        upkeep.keep_results(self.store, SETTINGS, tray, START_MS + now * DAY_MS)

    @rule()
    def results_are_forgotten(self) -> None:
        used: upkeep.Used = {}
        upkeep.keep_results(self.store, SETTINGS, 1, NOW_MS, used)
        upkeep.forget_results(self.store, used)

    @rule()
    def the_program_starts_anew(self) -> None:
        url = self.store.url
        self.store.close()
        self.store = Store.open(url)

    # Answers -----------------------------------------------------------------------------------------------

    @rule()
    def somebody_asks(self) -> None:
        self.compare()

    def compare(self) -> None:
        with tempfile.TemporaryDirectory() as name:
            shutil.copyfile(_template(), Path(name) / "fresh.sqlite3")
            with Store.open(f"sqlite:///{Path(name) / 'fresh.sqlite3'}") as fresh:
                retold(self.store, fresh)
                expected = answers(fresh)
        assert answers(self.store) == expected

    @invariant()
    def every_day_with_readings_is_packed_or_waits(self) -> None:
        with self.store.read() as tx:
            for head in probes.heads(tx):
                times = readings.columns(tx, head.head_id, -(2**40), 2**50).time_ms
                span = {head.head_id: (-(10**6), 10**6)}
                there = {one.day for one in packed.days(tx, span)[head.head_id]}
                there |= set(packed.stale_days(tx, span, rules_hold=True)[head.head_id])
                assert set(np.unique(times // DAY_MS).tolist()) <= there


def retold(store: Store, fresh: Store) -> None:
    """Tell another garden the same: readings in order, the journal entry by entry. Nothing is kept in it."""
    with store.read() as tx, fresh.write() as other:
        for head in probes.heads(tx):
            columns = readings.columns(tx, head.head_id, -(2**40), 2**50)
            rows = []
            for n in range(columns.time_ms.size):
                row: dict[str, Any] = {
                    name: None if np.isnan(column[n]) else float(column[n])
                    for name, column in columns.values.items()
                }
                for name in ("boot", "sequence", "time_ms", "received_ms"):
                    row[name] = int(getattr(columns, name)[n])
                rows.append(Reading(head.probe, head.number, **row))
            readings.insert(other, rows)
        known = {entry.entry_id for entry in journal.entries(other)}
        for entry in journal.entries(tx):
            if entry.entry_id not in known:
                ids = {name: getattr(entry, name) for name in ("tray_id", "place_id", "mix_id", "head_id")}
                journal.write(
                    other, entry.kind, entry.at_ms, entry.written_ms, **ids,
                    data=dict(entry.data), replaces=entry.replaces,
                )  # fmt: skip


Garden.TestCase.settings = settings(
    max_examples=20,
    stateful_step_count=8,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # a failure is as short as it was found
)
TestGarden = Garden.TestCase


def test_the_same_holds_on_postgresql(postgres_server: PostgresServer, postgres_url: str) -> None:
    """One long life in place of many short ones: the rules are the same, the database is another."""
    chance = Random(4)
    with Store.open(postgres_url) as store:
        furnish(store)
        life = Garden()
        life.store.close()
        life.store = store
        life.most_arrives_in_order({10, 15}, tended=True)
        head = chance.choice
        for turn in range(10):
            life.days_arrive(head(HEADS), chance.randrange(DAYS), 3, turn % 2 == 0)
            life.a_missing_day_arrives(turn, 3 + turn)
            life.somebody_waters(1, START_MS + chance.randrange(DAYS * 24) * 3_600_000, "above")
            if turn % 3 == 0:
                life.a_head_or_mix_is_calibrated("a/1", START_MS + turn * DAY_MS, 2.5, turn % 2 == 0)
                life.an_entry_is_taken_back(turn)
                life.some_days_are_packed(1, DAYS - 1)
            if turn % 4 == 3:
                life.all_days_are_packed(DAYS)
                life.results_are_kept(1, DAYS)
                life.results_are_kept(2, DAYS)
                life.one_of_another_boot_comes_in_between("b/1", chance.randrange(DAYS * 24), 1.2)
            life.every_day_with_readings_is_packed_or_waits()
        life.compare()
    shutil.rmtree(life.folder)
