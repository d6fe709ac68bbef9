"""The page “Sowings” says what `emergence` says, and takes a count in two taps."""

import re
from html import unescape

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import COMING_UP, LATE, UP, EmergenceAnswer
from traywarden.services.questions.emergence_picture import way_of

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>/\u202eabc 🍅"


def asked(visitor: Visitor) -> EmergenceAnswer:
    with visitor.face.asking() as on:
        return ask_emergence(on)


def test_every_sowing_that_is_not_up_is_told_with_its_numbers(visitor: Visitor) -> None:
    answer = asked(visitor)
    words = visitor.words("/sowings")
    text = unescape(visitor.get("/sowings"))
    waiting = [tray for tray in answer.trays if tray.done]
    assert {"lettuce", "tomatoes", "peppers"} == {tray.tray for tray in waiting}
    for tray in waiting:
        assert tray.says in words
        assert tray.done is not None
        low, high = sorted((tray.done.low, tray.done.high))
        assert f"{tray.done.expected * 100:.0f} % of the way to half up, 80 % band {low * 100:.0f} to" in text
        assert f"{high * 100:.0f} %" in text
        assert f"{tray.days_since_sowing:.0f} days ago" in words
        for band in filter(None, (tray.first, tray.half)):
            for at in filter(None, (band.low, band.expected, band.high)):
                assert f"{at:%a} {at.day} {at:%b}" in words
        assert tray.degree_days is None or tray.degree_days.source in words


def test_what_is_late_comes_first_and_says_why(visitor: Visitor) -> None:
    answer = asked(visitor)
    late = [tray for tray in answer.trays if tray.state == LATE]
    assert late, "the little garden has seed that is late"
    words = visitor.words("/sowings")
    for tray in late:
        assert "Why it may be late" in words
        for why in tray.causes:
            assert (why.says[1:] in words) == (why.verdict != "no")
    names = re.findall(r'<a href="/trays/\d+">([^<]+)</a>', visitor.get("/sowings"))
    assert set(names[: len(late)]) == {tray.tray for tray in late}


@pytest.mark.parametrize(("button", "count"), [("None yet", 0), ("First seedlings", None)])
def test_before_the_first_count_one_tap_says_none_or_the_first(
    visitor: Visitor, button: str, count: int | None
) -> None:
    value = pressed(visitor, "lettuce", button)
    words = visitor.send("/write/emerged", back="/sowings", tray="lettuce", count=value)
    assert "Written down" in words
    entry = visitor.entries()[-1]
    assert (entry.kind, entry.at_ms, entry.data.get("count")) == (Kind.EMERGED, NOW_MS, count)


def test_the_next_count_starts_from_the_last_and_stops_at_the_seeds_sown(visitor: Visitor) -> None:
    visitor.send("/write/sowed", tray="lettuce", crop="lettuce", seeds_per_cell="1", at="5 days ago")
    visitor.send("/write/emerged", tray="lettuce", count="36", at="1 day ago")
    text = form_of(visitor, "lettuce")
    assert 'value="36"' in text
    assert "No new ones: 36" in text
    assert "+2: 38" in text
    assert "+5" not in text  # 40 seeds were sown
    visitor.send("/write/emerged", back="/sowings", tray="lettuce", count=pressed(visitor, "lettuce", "+2"))
    assert visitor.entries()[-1].data["count"] == 38
    (tray,) = (tray for tray in asked(visitor).trays if tray.tray == "lettuce")
    assert (tray.state, tray.up_count) == (UP, 38)
    assert tray.says in visitor.words("/sowings")


def test_what_is_coming_up_is_headed_so(visitor: Visitor) -> None:
    for tray in ("lettuce", "peppers", "tomatoes"):
        visitor.send("/write/emerged", tray=tray, count="1")
    states = {tray.state for tray in asked(visitor).trays}
    assert states == {COMING_UP}
    words = visitor.words("/sowings")
    assert words.startswith("Coming up in 3 trays: count on.")
    assert "No tray has seed on its way" not in words


def test_bands_and_now_lie_on_the_line_of_days_as_the_answer_has_them(visitor: Visitor) -> None:
    answer = asked(visitor)
    for tray in answer.trays:
        way = way_of(tray, answer.at)
        assert way is not None
        assert tray.sown is not None
        length = way.ends - way.begins
        assert way.begins + way.now * length == pytest.approx(answer.at, abs=2e-3 * length)
        for band, told in zip(way.bands, (tray.first, tray.half), strict=True):
            assert told is not None
            for part, at in ((band.low, told.low), (band.expected, told.expected)):
                assert (part is None) == (at is None)
                if part is not None and at is not None:
                    assert abs((way.begins + part * length - at).total_seconds()) < 1
            assert band.open == (told.high is None)


def test_without_readings_it_says_what_comes_next(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    words = visitor.words("/sowings")
    assert "There are no readings yet" in words
    assert "Write down what you sowed" in words


def test_hostile_names_are_shown_as_text_and_can_be_counted(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", (HOSTILE,))
    text = visitor.get("/sowings")
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert HOSTILE in unescape(text)
    assert "Written down" in visitor.send("/write/emerged", back="/sowings", tray=HOSTILE, count="3")


def form_of(visitor: Visitor, tray: str) -> str:
    """The forms that count a tray."""
    forms = re.findall(
        r'<form method="post" action="/write/emerged".*?</form>', visitor.get("/sowings"), re.S
    )
    return "".join(form for form in forms if f'name="tray" value="{tray}"' in form)


def pressed(visitor: Visitor, tray: str, button: str) -> str:
    """What the button sends."""
    found = re.search(rf'<button name="count" value="(\d*)">{re.escape(button)}', form_of(visitor, tray))
    assert found is not None, button
    return found[1]
