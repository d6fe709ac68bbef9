"""Probes: what the questions know of them, and every head to its place and out again."""

import re
import threading
from pathlib import Path

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.probes import ask_probes
from traywarden.services.questions.quality import QualityAnswer, ask_quality
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store
from traywarden.web import probes as probes_page

HOSTILE = "<script>alert(1)</script>\"'><img src=x> \u202eabc 🍅"
STATE = {"state": "asleep", "spool": 12, "dropped": 3, "damaged": 1, "rssi": -84, "faults": ["0: no answer"]}


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """However slow the computer is, the answers are waited for."""
    monkeypatch.setattr(probes_page, "WAIT_S", 60.0)


def probe_id(visitor: Visitor, name: str) -> int:
    with visitor.store.read() as tx:
        return probe_store.probe_named(tx, name).probe_id


def with_state(visitor: Visitor, name: str, state: dict[str, object]) -> None:
    with visitor.store.write() as tx:
        probe_store.set_state(tx, name, state, NOW_MS)
    visitor.face.answers.written()


def test_it_shows_what_the_question_knows(visitor: Visitor) -> None:
    with_state(visitor, "bench", STATE)
    with visitor.face.asking() as on:
        cards = {card.probe: card for card in ask_probes(on)}
    bench = cards["bench"]
    for path in ("/probes", f"/probes/{bench.probe_id}"):
        words = visitor.words(path)
        assert f"{bench.battery_v:.2f} V, {bench.health.battery_way}." in words
        assert "steady over 15 days" in words
        assert "weak, -84 dBm. A weak signal empties the battery faster" in words
        assert "12 readings wait in it; 4 were lost in it" in words
        assert "The probe says: 0: no answer" in words
        assert "Head 1 tray lettuce" in words or "Head 1: tray lettuce" in words
        assert "Air sensor 0" in words
    assert "Days left cannot be told from volts" in visitor.words(f"/probes/{bench.probe_id}")


@pytest.mark.parametrize(
    "state",
    [
        {},
        {"spool": "many", "rssi": True, "faults": "all of them", "dropped": -1},
        {"spool": None, "rssi": 7, "faults": [None, 3, {"a": 1}, ""], "damaged": 1.5},
    ],
)
def test_a_state_that_makes_no_sense_is_told_as_nothing(visitor: Visitor, state: dict[str, object]) -> None:
    with_state(visitor, "bench", state)
    words = visitor.words(f"/probes/{probe_id(visitor, 'bench')}")
    assert "It says nothing of its signal." in words
    assert "It says nothing of readings that wait in it." in words
    assert "The probe says" not in words


def test_a_silent_probe_and_an_empty_battery_are_said_first(visitor: Visitor) -> None:
    late_ms = NOW_MS - 5 * 3_600_000
    with visitor.store.write() as tx:
        reading_store.insert(tx, [Reading("old", 0, 1, 1, late_ms, late_ms, air_temp_c=9.0, battery_v=3.31)])
        probe_store.touch(tx, {"bench": NOW_MS, "frame": NOW_MS, "old": late_ms})
    visitor.face.answers.written()
    words = visitor.words("/probes")
    assert "1 of 3 probes is silent" in words or "1 of 3 probes are silent" in words
    assert "Nearly empty: charge it or change the cell soon." in words
    assert "5 h ago" in words
    assert "Air sensor old/0 waits for its place" in words


def test_troubles_are_those_of_the_question_with_what_to_do(visitor: Visitor) -> None:
    at_ms = NOW_MS - 3_600_000
    with visitor.store.write() as tx:
        reading_store.insert(tx, [Reading("bench", 1, 2, 1, at_ms + 7_000, at_ms + 7_000, soil_temp_c=85.0)])
    visitor.face.answers.written()
    with visitor.face.asking() as on:
        troubles = [t for t in ask_quality(on, "", 14.0).troubles if t.head.startswith("bench/")]
    assert troubles, "the power-up value is one"
    words = visitor.words(f"/probes/{probe_id(visitor, 'bench')}")
    for trouble in troubles:
        assert f"{trouble.head}: {trouble.fault}" in words
        assert trouble.do in words
        assert trouble.reason[1:] in words


def test_a_page_does_not_wait_for_a_long_look_through_the_readings(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked, let = threading.Event(), threading.Event()

    def slow(on: Ground, tray: str, days: float) -> QualityAnswer:
        looked.set()
        assert let.wait(60)
        return ask_quality(on, tray, days)

    monkeypatch.setattr(probes_page, "ask_quality", slow)
    monkeypatch.setattr(probes_page, "WAIT_S", 0.01)
    for _ in range(3):
        words = visitor.words("/probes")
        assert "Head 1: tray lettuce" in words
        assert "are being looked through" in words
    assert looked.is_set()
    let.set()
    monkeypatch.setattr(probes_page, "WAIT_S", 60.0)
    assert "are being looked through" not in visitor.words("/probes")


def test_a_head_is_placed_moved_and_taken_out_and_each_can_be_taken_back(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        reading_store.insert(tx, [Reading("new", n, 1, n, NOW_MS, NOW_MS, soil_temp_c=9.0) for n in (0, 1)])
    visitor.face.answers.written()
    assert "Head new/1 waits for its place" in visitor.words("/probes")
    before = len(visitor.entries())
    words = visitor.send("/make/head", back="/probes", head="new/0", where="place Shade", at="2 h ago")
    assert "Written down" in words
    words = visitor.send("/make/head", back="/probes", head="new/1", where="tray lettuce")
    assert "waits for its place" not in words
    page = f"/probes/{probe_id(visitor, 'new')}"
    assert "Head 1 tray lettuce" in visitor.words(page)
    assert "Air sensor 0 Shade" in visitor.words(page)
    visitor.send("/make/head-out", back=page, head="new/1")
    assert [e.kind for e in visitor.entries()[before:]] == [
        Kind.HEAD_PLACED,
        Kind.HEAD_PLACED,
        Kind.HEAD_TAKEN_OUT,
    ]
    assert "Head 1 waits for its place" in visitor.words(page)
    visitor.send("/undo", entry=str(visitor.entries()[-1].entry_id))
    assert "Head 1 tray lettuce" in visitor.words(page)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"head": "bench/0", "where": "tray lettuce"}, "it hangs in a place"),
        ({"head": "bench/1", "where": "tray lettuce"}, "already in tray “lettuce”"),
        ({"head": "bench/9", "where": "tray lettuce"}, "There is no head called “bench/9”"),
        ({"head": "bench/1", "where": "shed x"}, "Choose where the head is"),
        ({"head": "bench/1", "where": "place Moon"}, "There is no place called “Moon”"),
    ],
)
def test_what_cannot_be_is_refused(visitor: Visitor, fields: dict[str, str], says: str) -> None:
    before = len(visitor.entries())
    words = visitor.send("/make/head", back="/probes", **fields)
    assert "Not written" in words
    assert says in words
    assert len(visitor.entries()) == before


def test_a_tray_whose_place_was_not_known_then_is_pointed_at(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        reading_store.insert(tx, [Reading("new", 1, 1, 1, NOW_MS, NOW_MS, soil_temp_c=9.0)])
    words = visitor.send("/make/head", back="/probes", head="new/1", where="tray lettuce", at="30 days ago")
    assert "Where tray “lettuce” stood then is not known" in words


def test_no_probe_yet_says_what_to_do(tmp_path: Path) -> None:
    visitor = Visitor(tmp_path)
    visitor.send("/make/garden", name="New", zone="UTC")
    assert "No probe has reported yet" in visitor.words("/probes")
    assert 'href="/start?step=probe"' in visitor.get("/probes")
    assert "There is no such probe" in visitor.words("/probes/1", status=404)
    assert "There is no such probe" in visitor.words("/probes/heads/1", status=404)
    visitor.close()


def test_hostile_names_are_shown_as_text(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE probe SET name = ? WHERE name = 'bench'", (HOSTILE,))
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", (HOSTILE,))
    with_state(visitor, HOSTILE, {"state": HOSTILE, "faults": [HOSTILE], "settings_refused": HOSTILE})
    number = probe_id(visitor, HOSTILE)
    heads = re.findall(r"/probes/heads/(\d+)", visitor.get(f"/probes/{number}"))
    assert len(heads) == 2
    for path in ("/probes", f"/probes/{number}", f"/probes/heads/{heads[0]}"):
        text = visitor.get(path)
        assert "<script>alert" not in text
        assert "<img src=x" not in text
