"""Hushing from the page Now in one tap, and back in one more; a channel that fails is in plain sight."""

import re
from dataclasses import replace

from tests.services.little_garden import NOW_MS
from tests.services.test_channel_health import FRESH
from tests.web.conftest import Visitor
from traywarden.domain.hushes import Hush
from traywarden.domain.notices import NoticeState
from traywarden.domain.subjects import SubjectKind
from traywarden.services.questions.today import ask_today
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store


def hushes(visitor: Visitor) -> list[Hush]:
    with visitor.store.read() as tx:
        return hush_store.holding(tx, NOW_MS)


def test_a_need_is_hushed_in_one_tap_and_heard_of_again_in_another(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        need = ask_today(on).needs[0]
    before = visitor.words("/")
    assert "Hush until tonight, 18:00" in before
    words = visitor.send("/hush", tray=need.tray, rule=need.rule, until="tonight")
    assert f"Hushed until 18:00: {need.tray}" in words
    assert "Hushed until 18:00 by a tap on the page. Nothing is sent about it." in words
    (hush,) = hushes(visitor)
    assert (hush.rule, hush.who) == (need.rule, "a tap on the page")
    shown = visitor.get("/")
    number = re.search(r'action="/hush/undo".*?name="hush" value="(\d+)"', shown, flags=re.DOTALL)
    assert number is not None
    assert "Heard of again" in visitor.send("/hush/undo", hush=number[1])
    assert hushes(visitor) == []


def test_a_hushed_need_is_counted_apart(visitor: Visitor) -> None:
    visitor.send("/hush", place="", until="3 h", why="away")
    words = visitor.words("/")
    assert "Nothing needs you now but what is hushed" in words
    assert "Everything : until 12:00, by a tap on the page: away" in words


def test_a_place_can_be_hushed_with_words_for_when(visitor: Visitor) -> None:
    words = visitor.send("/hush", place="Cold frame", until="monday", why="<b>me</b>")
    assert "Everything in Cold frame : until" in words
    assert "<b>me</b>" in words
    assert "&lt;b&gt;me&lt;/b&gt;" in visitor.get("/")
    (hush,) = hushes(visitor)
    assert hush.subject is not None
    assert hush.subject.kind is SubjectKind.PLACE


def test_what_cannot_be_hushed_is_said_on_the_page_and_keeps_nothing(visitor: Visitor) -> None:
    assert "cannot be read" in visitor.send("/hush", tray="lettuce", rule="dry", until="someday")
    assert "no tray called “nowhere”" in visitor.send("/hush", tray="nowhere", until="3 h")
    assert "Say what to hush" in visitor.send("/hush", until="3 h")
    assert "Say which hush" in visitor.send("/hush/undo", hush="x")
    assert "no hush called “7”" in visitor.send("/hush/undo", hush="7")
    assert hushes(visitor) == []


def test_every_offer_of_the_page_can_be_taken(visitor: Visitor) -> None:
    offered = set(re.findall(r'name="until" value="([^"]+)"', visitor.get("/")))
    assert offered == {"tonight", "tomorrow morning", "tomorrow evening", "in a week"}
    for words in offered:
        visitor.send("/hush", tray="lettuce", rule="dry", until=words)
    assert len(hushes(visitor)) == len(offered)


def put_parked(store: Store) -> None:
    with store.write() as tx:
        notice_store.put(
            tx, [replace(FRESH, state=NoticeState.PARKED, trouble="refused for good: <b>no</b>")]
        )


def test_it_stands_on_top_of_the_page_and_is_tried_again_in_one_tap(visitor: Visitor) -> None:
    assert "get through" not in visitor.words("/")
    put_parked(visitor.store)
    visitor.face.answers.written()
    words = visitor.words("/")
    assert "1 notice does not get through over console" in words
    assert "refused for good: <b>no</b>" in words
    assert "1 given-up notice is tried again." in visitor.send("/notices/retry", channel="console")
    with visitor.store.read() as tx:
        assert notice_store.counts(tx) == {NoticeState.WAITING: 1}


def test_a_tray_with_a_hostile_name_is_hushed_like_any_other(visitor: Visitor) -> None:
    name = "<script>alert(1)</script>\"'><img src=x> \u202eabc 🍅"
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", (name,))
    visitor.send("/hush", tray=name, until="tonight")
    assert "<img src=x" not in visitor.get("/")
    assert len(hushes(visitor)) == 1
