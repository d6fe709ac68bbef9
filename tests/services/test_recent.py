"""Judging from the newest readings alone gives the evidence that a day and a half of readings give."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.services.watched_garden import DAY_MS, DRY, HOUR_MS, MINUTE_MS, START_MS, WET, WatchedGarden
from traywarden.domain.evidence import Evidence
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.domain.subjects import a_tray
from traywarden.services import recent as recent_module
from traywarden.services.judging import TOGETHER, together
from traywarden.services.knowledge import Knowledge
from traywarden.services.recent import Recent
from traywarden.store import readings as reading_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

BLIND_MS = 2 * HOUR_MS
EARLIEST_YEAR = 2020


@dataclass
class Told:
    """How often the newest readings sufficed."""

    sufficed: int = 0
    asked: int = 0


def both(garden: WatchedGarden, after_ms: int, until_ms: int) -> tuple[list[Evidence], list[Evidence], bool]:
    """The evidence of tray A by either way, and whether the newest readings were there to be asked."""
    tray_id = garden.tray_ids["A"]
    how: Any = {"blind_after_ms": BLIND_MS, "earliest_year": EARLIEST_YEAR}
    with garden.store.read() as tx:
        knowledge = Knowledge(tx, load_crops())
        slow = list(knowledge.timeline(tx, tray_id, after_ms, until_ms, **how))
        recent = knowledge.recent(tx, {tray_id: after_ms}, until_ms, **how)
        quick = list(knowledge.timeline(tx, tray_id, after_ms, until_ms, recent=recent, **how))
    return slow, quick, recent.has([garden.head_ids["A"]])


soil_c = st.one_of(
    st.floats(-3.0, 40.0).map(lambda v: round(v * 16) / 16),
    st.sampled_from([None, 85.0, -127.0, 0.0, 79.9, 81.0, 20.0, 20.0, 20.0]),
)
wet = st.one_of(st.floats(0.0, 0.6), st.sampled_from([None, -0.5, 1.3, 0.45, 0.30, 0.30, 0.30]))
step_s = st.sampled_from([30, 60, 60, 300, 600, 600, 1100, 1800, 4000, 8000])
row = st.tuples(step_s, soil_c, wet, st.booleans())


@pytest.fixture(scope="module")
def told() -> Told:
    return Told()


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(
    rows=st.lists(row, min_size=6, max_size=40),
    new=st.integers(1, 4),
    warm=st.booleans(),
    volts=st.booleans(),
)
def test_whatever_was_measured_the_evidence_is_the_same(
    store_of_this_module: WatchedGarden,
    told: Told,
    rows: list[tuple[int, float | None, float | None, bool]],
    new: int,
    warm: bool,
    volts: bool,
) -> None:
    garden = store_of_this_module
    at_ms, readings = START_MS, []
    for number, (step, soil, moisture, early) in enumerate(rows):
        at_ms += step * 1000
        readings.append(
            Reading(
                "probe-a", 1, 1, number, at_ms,
                at_ms - (20 * MINUTE_MS if early and number % 11 == 0 else 0),  # then its clock is impossible
                soil_temp_c=abs(soil) + 0.5 if warm and soil is not None else soil,
                moisture_m3_m3=None if volts else moisture,
                moisture_v=0.5 + 2 * moisture if volts and moisture is not None else None,
            )
        )  # fmt: skip
    with garden.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
        reading_store.insert(tx, readings)
    after_ms = readings[-1 - new].time_ms
    slow, quick, there = both(garden, after_ms, at_ms)
    assert quick == slow
    assert len(slow) == new
    told.asked += 1
    told.sufficed += there


def test_and_mostly_they_were_there_to_be_asked(told: Told) -> None:
    if told.asked:
        assert told.sufficed > told.asked / 4


@pytest.fixture(scope="module")
def store_of_this_module(tmp_path_factory: pytest.TempPathFactory) -> WatchedGarden:
    path = tmp_path_factory.mktemp("garden") / "garden.sqlite3"
    return WatchedGarden(Store.open(f"sqlite:///{path}"))


def asked_of(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether the newest readings sufficed, each time it was asked."""
    found: list[bool] = []
    whole = recent_module.suffices

    def noted(*arguments: object) -> bool:
        found.append(whole(*arguments))  # type: ignore[arg-type]
        return found[-1]

    monkeypatch.setattr("traywarden.services.knowledge.suffices", noted)
    return found


def test_a_tray_that_sends_every_ten_minutes_is_judged_from_its_newest_readings(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    garden = WatchedGarden(store)
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=WET)
    asked = asked_of(monkeypatch)
    for minute in range(0, 60, 10):
        garden.clock.ms = at + minute * MINUTE_MS
        garden.measure(garden.clock.ms, DRY)
        garden.watch.judge(garden.tray_ids.values())
    assert asked
    assert all(asked)
    assert [e.opened_ms for e in garden.episodes()] == [at]


@pytest.mark.parametrize("trouble", ["frost yesterday", "soil not measured", "late", "head moved"])
def test_where_more_must_be_looked_at_it_is(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch, trouble: str
) -> None:
    garden = WatchedGarden(sqlite_store)
    soil: float | None = 20.0
    if trouble == "frost yesterday":
        garden.measure(START_MS - DAY_MS, WET, -1.0)
    if trouble == "soil not measured":
        soil = None
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=WET, soil_c=soil)
    if trouble == "head moved":
        garden.write(Kind.HEAD_PLACED, at - 5 * MINUTE_MS, head_id=garden.head_ids["A"])
        garden.watch.judge_all()
    asked = asked_of(monkeypatch)
    garden.clock.ms = at
    garden.measure(at, DRY, soil)
    tray_id = garden.tray_ids["A"]
    garden.watch.judge([tray_id], {tray_id: at - HOUR_MS} if trouble == "late" else {})
    assert not any(asked)


def test_frost_that_came_in_late_is_heeded(sqlite_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered of a head, that it had no frost, goes with the first late reading."""
    garden = WatchedGarden(sqlite_store)
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=WET, soil_c=1.0)
    garden.see(at - 3 * HOUR_MS, WET, -2.0)
    asked = asked_of(monkeypatch)
    garden.see(at, DRY, 1.0)
    assert not any(asked)
    assert "frozen" in garden.watch.answers()["dry", a_tray(garden.tray_ids["A"])].reason


def test_without_any_tray_nothing_is_read(sqlite_store: Store) -> None:
    with sqlite_store.read() as tx:
        assert not Recent(tx, {}, START_MS, blind_after_ms=BLIND_MS, earliest_ms=0).has([1])


def test_lots_are_small_and_leave_no_tray_out() -> None:
    trays = set(np.arange(3 * TOGETHER + 1).tolist())
    lots = list(together(trays))
    assert max(len(lot) for lot in lots) == TOGETHER
    assert sorted(tray for lot in lots for tray in lot) == sorted(trays)
