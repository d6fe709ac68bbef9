"""The page “Now” says what `today` says, and takes what was done in one tap."""

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.episodes import Episode, RuleState
from traywarden.domain.journal import Kind
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.questions.today import ask_today
from traywarden.store import episodes as episode_store


def test_it_shows_every_need_with_what_to_do_and_why(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        answer = ask_today(on)
    assert answer.needs, "the little garden has a need to show"
    words = visitor.words("/")
    for need in answer.needs:
        assert need.what in words
        assert need.tray in words
        if not need.easing:
            assert need.do in words
    for tray in answer.trays:
        assert f"{tray.moisture_pct:.0f} %" in words
        assert f"{tray.soil_temp_c:.1f} °C" in words


def test_watered_is_one_tap_and_can_be_taken_back(visitor: Visitor) -> None:
    before = len(visitor.entries())
    words = visitor.send("/write/watered", tray="lettuce")
    assert "Written down" in words
    assert "lettuce: watered" in words
    entry = visitor.entries()[-1]
    assert (entry.kind, entry.at_ms) == (Kind.WATERED, NOW_MS)
    visitor.send("/undo", entry=str(entry.entry_id))
    assert len(visitor.entries()) == before


def test_what_was_written_shows_at_once(visitor: Visitor) -> None:
    first = visitor.words("/")
    assert "just now" not in first
    visitor.send("/write/watered", tray="peppers")
    assert visitor.face.ask("today", ask_today).trays[1].since_watered_s is not None
    with visitor.face.asking() as on:
        fresh = {t.tray: t for t in ask_today(on).trays}
    assert fresh["peppers"].since_watered_s == pytest.approx(0)
    assert {t.tray: t for t in visitor.face.ask("today", ask_today).trays} == fresh


def test_a_garden_without_readings_says_what_comes_next(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    assert "There are no readings yet" in visitor.words("/")


def test_a_tray_in_no_place_stands_beside_the_others(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM journal WHERE kind = 'moved' AND tray_id = 2")
    words = visitor.words("/")
    assert words.index("In no place") < words.index("Cold frame", words.index("Every tray"))


def test_hostile_names_are_shown_as_text(visitor: Visitor) -> None:
    name = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eabc 🍅"
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", (name,))
    text = visitor.get("/")
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert "Written down" in visitor.send("/write/watered", tray=name)


def test_what_the_host_found_of_a_place_stands_first_and_can_be_hushed_and_answered(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        place = next(iter(on.places.values()))
    subject = Subject(SubjectKind.PLACE, place.place_id)
    facts = {"reason": "it is 41 °C under the cover", "do": "Open it.", "source": "a table"}
    since_ms = NOW_MS - 1_800_000
    with visitor.store.write() as tx:
        episode_store.keep_episode(tx, Episode("vent:1", "vent", subject, since_ms, None, facts))
        state = RuleState(NOW_MS, since_ms, None, NOW_MS, Answer.YES, facts["reason"])
        episode_store.set_rule_states(tx, {("vent", subject): (state, {})})
    visitor.face.answers.written()
    words = visitor.words("/")
    assert "Open it" in words
    assert "It is 41 °C under the cover" in words
    assert "For 30 min" in words
    assert words.index("It is 41 °C") < words.index("Every tray")
    visitor.send("/hush", back="/", place=place.name, rule="vent", until="tonight")
    assert "Nothing is sent about it" in visitor.words("/")
    told = visitor.send("/write/vented", back="/", place=place.name)
    assert place.name in told
