"""Packed days and single readings give the same to the last bit, whichever a question finds."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.store.sample import START_MS
from traywarden.domain.flags import Flag
from traywarden.domain.packing import DAY_MS, PackedDay
from traywarden.domain.quality import flag_columns
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS, Reading
from traywarden.domain.series import FlaggedColumns
from traywarden.services import upkeep
from traywarden.services.head_days import HeadDays
from traywarden.services.upkeep import days_waiting, earliest_ms, pack_days, packing
from traywarden.settings import Settings, load
from traywarden.store import garden, packed, probes, readings
from traywarden.store.store import Store, Tx

STEP_MS = 1_200_000
DAYS = 12
NOW_MS = START_MS + (DAYS + 1) * DAY_MS


@pytest.fixture(scope="module")
def chosen() -> Settings:
    return load(Path("/nowhere"), environ={})


def faulty(count: int) -> dict[str, np.ndarray]:
    """Twelve days with every fault that a flag is named after."""
    rng = np.random.default_rng(1)
    hours = np.arange(count) / 3
    soil = np.round((8 - 8 * np.cos(hours / 24 * 2 * np.pi) + rng.normal(0, 0.1, count)) * 16) / 16
    soil[[100, 101]] = -127.0
    soil[[0, 71, 72, 300]] = 85.0  # 72 readings a day: the last of one and the first of the next
    soil[[143, 400]] += 20.0  # a spike in the last reading of a day
    soil[250:350] = 0.0
    volts = np.round(1.6 + 0.2 * np.sin(hours / 30) + rng.normal(0, 0.003, count), 3)
    volts[500:] = volts[500]
    volts[350] = 9.9
    air = np.round(soil + rng.normal(0, 0.5, count), 2)
    air[600:602] = [30.0, -5.0]
    rh = np.round(90 + 15 * np.sin(hours / 7), 1)
    return {"soil_temp_c": soil, "moisture_v": volts, "air_temp_c": air, "rh_pct": rh}


@pytest.fixture
def filled(tmp_path: Path) -> Iterator[Store]:
    with Store.open(f"sqlite:///{tmp_path / 'a.sqlite3'}") as store:
        fill(store)
        yield store


def fill(store: Store) -> int:
    """A head with all faults, and one that was silent in between."""
    times = START_MS + np.arange(DAYS * DAY_MS // STEP_MS, dtype=np.int64) * STEP_MS
    values = faulty(times.size)
    times[700] = 5_000  # a clock that began in 1970
    rows = []
    for n, at_ms in enumerate(times.tolist()):
        measured: dict[str, Any] = {name: float(column[n]) for name, column in values.items()}
        rows.append(Reading("p", 1, 4, n, at_ms, max(at_ms, START_MS), **measured))
    gone = np.arange(times.size) % 300 < 120
    with store.write() as tx:
        garden.set_garden(tx, "Garden", "UTC", now_ms=START_MS)
        readings.insert(tx, rows)
        kept = {name: column[gone] for name, column in values.items()}
        readings.insert_columns(tx, "log", 2, BOOT_IMPORTED, times[gone], START_MS, kept)
        return probes.ensure_heads(tx, [("p", 1)], START_MS)["p", 1]


def read(
    store: Store, chosen: Settings, head: str, start_ms: int = 0, end_ms: int = NOW_MS
) -> FlaggedColumns:
    with store.read() as tx:
        head_id = probes.head_labelled(tx, head).head_id
        return HeadDays(tx, earliest_ms(chosen)).columns(head_id, start_ms, end_ms)


def assert_same(one: FlaggedColumns, other: FlaggedColumns) -> None:
    assert one.label == other.label
    np.testing.assert_array_equal(one.time_ms, other.time_ms)
    for name in VALUE_COLUMNS:
        np.testing.assert_array_equal(one.values[name], other.values[name], strict=True)
        np.testing.assert_array_equal(one.flags[name], other.flags[name], strict=True)


@pytest.mark.parametrize("head", ["p/1", "log/2"])
def test_a_head_reads_the_same_before_while_and_after_its_days_are_packed(
    filled: Store, chosen: Settings, head: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upkeep, "SLICE_DAYS", 5)
    before = read(filled, chosen, head)
    assert before.time_ms.size > 300
    steps = packing(filled, chosen, NOW_MS)
    next(steps)
    with filled.read() as tx:
        assert packed.count(tx) > 0
        assert days_waiting(tx, chosen, NOW_MS) > 0
    assert_same(read(filled, chosen, head), before)
    list(steps)
    with filled.read() as tx:
        assert days_waiting(tx, chosen, NOW_MS) == 0
    assert_same(read(filled, chosen, head), before)


def test_every_fault_is_flagged_and_packing_forgets_none(filled: Store, chosen: Settings) -> None:
    pack_days(filled, chosen, NOW_MS)
    found = read(filled, chosen, "p/1")
    together = 0
    for flags in found.flags.values():
        together |= int(np.bitwise_or.reduce(flags))
    assert together == sum(flag for flag in Flag if flag is not Flag.FROZEN)


def test_the_flags_of_days_are_those_of_the_whole_record(filled: Store, chosen: Settings) -> None:
    """The flags of `flag_columns`, but for frost, which it is asked for span by span."""
    with filled.read() as tx:
        head_id = probes.head_labelled(tx, "p/1").head_id
        whole = flag_columns(readings.columns(tx, head_id, 0, NOW_MS), earliest_ms=earliest_ms(chosen))
    found = read(filled, chosen, "p/1")
    for name in VALUE_COLUMNS:
        np.testing.assert_array_equal(found.flags[name], whole[name] & ~Flag.FROZEN)


@pytest.mark.parametrize("packed_first", [False, True])
def test_any_span_is_the_part_of_the_whole_whatever_was_asked_before(
    filled: Store, chosen: Settings, packed_first: bool
) -> None:
    if packed_first:
        pack_days(filled, chosen, NOW_MS - 4 * DAY_MS)
    whole = read(filled, chosen, "p/1")
    rng = np.random.default_rng(3)
    with filled.read() as tx:
        head_id = probes.head_labelled(tx, "p/1").head_id
        days = HeadDays(tx, earliest_ms(chosen))
        for _ in range(25):
            some_ms = START_MS + rng.integers(-2, 14, 2) * DAY_MS + rng.integers(0, DAY_MS, 2)
            start_ms, end_ms = sorted(some_ms.tolist())
            assert_same(days.columns(head_id, start_ms, end_ms), whole.between(start_ms, end_ms))


def test_late_readings_change_their_day_and_what_looks_at_it_and_no_other(
    filled: Store, chosen: Settings
) -> None:
    pack_days(filled, chosen, NOW_MS)
    with filled.read() as tx:
        head_id = probes.head_labelled(tx, "p/1").head_id
        before = packed.days(tx, {head_id: (-1, 10**6)})[head_id]
    day = START_MS // DAY_MS + 4
    late_ms = day * DAY_MS + 13 * 3_600_000 + 7
    with filled.write() as tx:
        readings.insert(tx, [Reading("p", 1, 5, 1, late_ms, NOW_MS, soil_temp_c=40.0)])
        assert [d for _, d in packed.waiting(tx, day + 5, 100)] == [day, day + 1, day + 2]
    fresh = read(filled, chosen, "p/1")
    pack_days(filled, chosen, NOW_MS)
    assert_same(read(filled, chosen, "p/1"), fresh)
    with filled.read() as tx:
        after = packed.days(tx, {head_id: (-1, 10**6)})[head_id]
    assert [a.day for a, b in zip(after, before, strict=True) if a != b] == [day]


def test_packing_two_late_days_reads_nothing_of_what_lies_between(
    filled: Store, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever stores readings waits for it."""
    pack_days(filled, chosen, NOW_MS)
    first_ms, last_ms = START_MS + DAY_MS // 2, START_MS + (DAYS - 1) * DAY_MS + DAY_MS // 2
    with filled.write() as tx:
        late = [
            Reading("p", 1, 5, n, at_ms, NOW_MS, soil_temp_c=9.0)
            for n, at_ms in enumerate((first_ms, last_ms))
        ]
        readings.insert(tx, late)
    fresh = read(filled, chosen, "p/1")
    asked: list[tuple[int, int]] = []
    real = packed.days

    def noted(tx: Tx, spans: packed.Spans) -> dict[int, list[PackedDay]]:
        asked.extend(spans.values())
        return real(tx, spans)

    monkeypatch.setattr(packed, "days", noted)
    assert 2 <= pack_days(filled, chosen, NOW_MS) <= 6
    assert max(last - first for first, last in asked) <= 6
    assert_same(read(filled, chosen, "p/1"), fresh)


def test_days_flagged_by_other_rules_are_not_read_and_packed_again(filled: Store, chosen: Settings) -> None:
    """From another earliest year on, 1970 is a year like any other."""
    pack_days(filled, chosen, NOW_MS)
    other = load(Path("/nowhere"), environ={}, overrides={"wire.earliest_year": 1970})
    with filled.read() as tx:
        assert days_waiting(tx, other, NOW_MS) == packed.count(tx) > 10
    before = read(filled, other, "p/1")
    assert not any((flags & Flag.CLOCK_IMPOSSIBLE).any() for flags in before.flags.values())
    pack_days(filled, other, NOW_MS)
    assert_same(read(filled, other, "p/1"), before)
    with filled.read() as tx:
        assert days_waiting(tx, other, NOW_MS) == 0


def test_two_programs_of_different_rules_pack_no_mixture(
    filled: Store, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A host still runs by the settings of yesterday while upkeep is asked for by those of today."""
    monkeypatch.setattr(upkeep, "SLICE_DAYS", 5)
    other = load(Path("/nowhere"), environ={}, overrides={"wire.earliest_year": 2100})
    expected = [(settings, read(filled, settings, "p/1")) for settings in (chosen, other)]
    host, command = packing(filled, chosen, NOW_MS), packing(filled, other, NOW_MS)
    next(host)
    next(command)
    list(host)
    list(command)
    for settings, before in expected:
        assert_same(read(filled, settings, "p/1"), before)
    with filled.read() as tx:
        assert days_waiting(tx, other, NOW_MS) == 0


def test_the_day_that_is_not_over_stays_in_single_readings(filled: Store, chosen: Settings) -> None:
    noon_ms = START_MS + 5 * DAY_MS + DAY_MS // 2
    pack_days(filled, chosen, noon_ms)
    with filled.read() as tx:
        head_id = probes.head_labelled(tx, "p/1").head_id
        days = [one.day - START_MS // DAY_MS for one in packed.days(tx, {head_id: (1, 10**6)})[head_id]]
    assert days == [0, 1, 2, 3, 4]


def test_the_same_holds_on_postgresql(postgres_store: Store, chosen: Settings) -> None:
    fill(postgres_store)
    before = read(postgres_store, chosen, "p/1")
    assert pack_days(postgres_store, chosen, NOW_MS) > 10
    assert_same(read(postgres_store, chosen, "p/1"), before)


def test_a_question_reads_a_head_once_however_often_it_asks(
    filled: Store, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack_days(filled, chosen, NOW_MS)
    asked: list[packed.Spans] = []
    real = packed.days

    def counted(tx: Tx, spans: packed.Spans) -> dict[int, list[PackedDay]]:
        asked.append(spans)
        return real(tx, spans)

    monkeypatch.setattr(packed, "days", counted)
    with filled.read() as tx:
        head_id = probes.head_labelled(tx, "p/1").head_id
        days = HeadDays(tx, earliest_ms(chosen))
        for start_ms in (START_MS + 5 * DAY_MS, START_MS + 6 * DAY_MS, START_MS + 5 * DAY_MS):
            days.columns(head_id, start_ms, START_MS + 8 * DAY_MS)
        assert len(asked) == 1
        days.columns(head_id, START_MS + 2 * DAY_MS, START_MS + 10 * DAY_MS)  # what is missing on both sides
        assert len(asked) == 3
