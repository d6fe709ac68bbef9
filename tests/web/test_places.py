"""The pages of places say what the same questions answer, and take “opened”."""

import re
from collections.abc import Iterator
from datetime import date
from html import unescape

import pytest

from tests.services import place_garden
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.services.questions.harden import HardenAsked, ask_harden
from traywarden.services.questions.place_outlook import ask_place_outlook
from traywarden.services.questions.places import PlacesAsked, ask_places
from traywarden.services.questions.places_now import ask_places_now
from traywarden.services.questions.rank import RankAsked, ask_rank
from traywarden.web.phrases import in_plain_words

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eabc 🍅 a/b?c&d"


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """In the garden of three places, whose climates are known; for pages that write nothing."""
    home = tmp_path_factory.mktemp("three")
    place_garden.place_garden(home).store.close()
    made = Visitor(home, place_garden.NOW_MS)
    yield made
    made.close()


def ids(visitor: Visitor) -> dict[str, int]:
    with visitor.face.asking() as on:
        return {place.name: place.place_id for place in on.places.values()}


def days(first: str, last: str) -> tuple[date, date]:
    return date.fromisoformat(first), date.fromisoformat(last)


def compared(visitor: Visitor, asked: CompareAsked) -> CompareAnswer:
    with visitor.face.asking() as on:
        return ask_compare(on, asked)


def test_every_place_shows_what_it_is_now_and_what_the_night_brings(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        now, night = ask_places_now(on), ask_place_outlook(on)
        show = on.display
    words = visitor.words("/places")
    assert night.sentence in words
    for place in now.places:
        assert f"{place.place} {place.kind}, rain {'kept off' if place.covered else 'reaches it'}" in words
        for side in (place.air, place.soil):
            if side.temp_c is None:
                assert side.reason in words.replace("No ", "no ")
            else:
                assert side.low_c is not None
                assert side.high_c is not None
                today = show.temp_range(side.low_c, side.high_c)
                assert f"{show.temp(side.temp_c)} today {today}" in words
    for coming in night.places:
        for side_ahead in (coming.air, coming.soil):
            if side_ahead.low is not None:
                assert f"low tonight {show.temp(side_ahead.low.estimate_c, 0)}" in words


def test_trays_are_reached_by_their_number(visitor: Visitor) -> None:
    text = visitor.get("/places")
    with visitor.face.asking() as on:
        for tray in on.trays.values():
            assert f'<a href="/trays/{tray.tray_id}">{tray.name}</a>' in text


def test_the_page_sets_the_frame_against_the_bench_unasked(visitor: Visitor) -> None:
    said = compared(visitor, CompareAsked("Cold frame", "Open bench")).sentence
    assert in_plain_words(said) in visitor.words("/places")


def test_two_places_are_compared_over_the_days_asked_for(visitor: Visitor) -> None:
    place = ids(visitor)
    asked = f"a={place['Open bench']}&b={place['Cold frame']}&from=2026-03-05&to=2026-03-09&measured=soil"
    words = visitor.words(f"/places/compare?{asked}&crop=tomato")
    with visitor.face.asking() as on:
        span = days("2026-03-05", "2026-03-09")
        answer = ask_compare(on, CompareAsked("Open bench", "Cold frame", *span, "tomato", "soil"))
        show = on.display
    found = answer.comparison
    assert in_plain_words(answer.sentence) in words
    assert len(found.days) == 5
    for interval in (found.min_difference_c, found.max_difference_c, found.night_difference_c):
        assert interval.estimate is not None
        assert interval.low is not None
        assert show.temp_difference(interval.estimate) in words
        assert f"{show.temp_difference(interval.low).split()[0]} to " in words
    assert found.hours is not None
    assert found.gained_c_days is not None
    assert f"hours too cold, below 10 °C {found.hours.a_below_h:.1f} {found.hours.b_below_h:.1f}" in words
    assert f"gained {show.degree_days(found.gained_c_days)}" in words
    for day in found.days:
        assert f"{day.day}" in words
    text = visitor.get(f"/places/compare?{asked}&crop=tomato")
    assert re.search(r'<option value="soil" selected>', text), "the form keeps what was asked"
    assert 'value="2026-03-05"' in text


def test_the_chart_of_a_page_is_of_what_the_page_says(visitor: Visitor) -> None:
    place = ids(visitor)
    page = f"/places/compare?a={place['Cold frame']}&b={place['Open bench']}&from=2026-03-04&to=2026-03-08"
    found = re.search(r'data-chart="([^"]+)"', visitor.get(page))
    assert found is not None
    address = unescape(found[1])
    spec = visitor.client.get(address).json()
    assert "4 to 8 March 2026" in spec["title"]["subtitle"]
    ranges = spec["datasets"]["ranges"]
    answer = compared(visitor, CompareAsked("Cold frame", "Open bench", *days("2026-03-04", "2026-03-08")))
    lows = [d.a_min_c for d in answer.comparison.days if d.a_min_c is not None]
    assert [r["low"] for r in ranges if r["place"] == "Cold frame"] == [round(low, 2) for low in lows]
    table = visitor.client.get(address.replace(".json", ".csv")).text.splitlines()
    assert table[0].startswith('day,"Cold frame min, °C"')
    assert len(table) == 6
    assert visitor.client.get(address.replace(".json", ".svg")).text.startswith("<svg")


def test_all_places_stand_side_by_side(three: Visitor) -> None:
    with three.face.asking() as on:
        answer = ask_places(on, PlacesAsked())
    words = three.words("/places/side-by-side")
    assert answer.sentence in words
    for place in answer.places:
        assert f"{place.name} {place.days}" in words
    bench = ids(three)["Cold frame"]
    assert "Against Cold frame, on the same days" in three.words(f"/places/side-by-side?against={bench}")
    for name in ("place_days", "place_months"):
        chart = three.client.get(f"/charts/{name}.csv").text
        assert "Cold frame" in chart


def test_places_are_ranked_for_a_crop_and_a_month(three: Visitor) -> None:
    with three.face.asking() as on:
        answer = ask_rank(on, RankAsked("tomato", 4))
    words = three.words("/places/rank?crop=tomato&month=4")
    assert answer.sentence in words
    for place in answer.ranking.ranked:
        assert f"{place.rank} {place.name} {place.hours_h.estimate:.1f}" in words
    for pair in answer.ranking.pairs:
        assert f"{pair.better} over {pair.worse}" in words
    assert words != three.words("/places/rank?crop=tomato&month=4&best=yes")


def test_a_frame_is_told_with_its_openings(three: Visitor) -> None:
    with three.face.asking() as on:
        answer = ask_frame(on, FrameAsked("Cold frame"))
    words = three.words(f"/places/frame?frame={ids(three)['Cold frame']}")
    assert answer.sentence in words
    assert answer.night in words
    assert answer.openings
    for row in answer.openings:
        assert f"{row.opened:%H:%M}" in words
        assert row.known_from in words


def test_hardening_is_told_for_a_tray_and_for_a_place(three: Visitor) -> None:
    with three.face.asking() as on:
        tray_id = next(t.tray_id for t in on.trays.values() if t.name == "frame a")
        answer = ask_harden(on, HardenAsked("frame a"))
        of_place = ask_harden(on, HardenAsked("Cold frame"))
    words = three.words(f"/places/harden?plants=tray-{tray_id}")
    assert answer.sentence in words
    for line in answer.nights:
        assert line in words
    assert of_place.sentence in three.words(f"/places/harden?plants=place-{ids(three)['Cold frame']}")


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("/places/compare?a=1&b=1", "cannot be compared with itself"),
        ("/places/compare?a=1&b=999", "There is no such place"),
        ("/places/compare?a=1&b=2&from=soon", "soon"),
        ("/places/compare?a=1&b=2&measured=rain", "not by “rain”"),
        ("/places/compare?a=x", "not a whole number"),
        ("/places/rank?crop=tomatoo", "did you mean “Tomato”"),
        ("/places/rank?crop=tomato&month=13", "no month 13"),
        ("/places/rank?month=4", "Choose a crop"),
        ("/places/frame?frame=2", "is not covered"),
        ("/places/harden?plants=tray-99", "Choose a tray or a place"),
        ("/places/harden?plants=tray-²", "Choose a tray or a place"),
        ("/places/side-by-side?from=2026-03-09&to=2026-03-01", "there is no day"),
    ],
)
def test_what_cannot_be_asked_is_said_and_the_form_stays(visitor: Visitor, path: str, why: str) -> None:
    assert why in visitor.words(path)
    assert f'<form method="get" action="{path.partition("?")[0]}"' in visitor.get(path)


@pytest.mark.parametrize("page", ["compare", "rank", "frame", "harden"])
def test_a_page_that_was_asked_nothing_shows_its_form_without_blame(visitor: Visitor, page: str) -> None:
    assert "Choose" not in visitor.words(f"/places/{page}")


def test_opened_is_written_for_the_covered_place_alone_and_can_be_taken_back(visitor: Visitor) -> None:
    before = len(visitor.entries())
    assert visitor.get("/places").count('action="/write/vented"') == 1
    words = visitor.send(
        "/write/vented", back="/places", place="Cold frame", at="today 8:00", note="lid up <b>"
    )
    assert "Written down" in words
    entry = visitor.entries()[-1]
    assert (entry.kind, entry.place_id, entry.note) == (Kind.VENTED, ids(visitor)["Cold frame"], "lid up <b>")
    assert "journal lid up <b>" in visitor.words(f"/places/frame?frame={ids(visitor)['Cold frame']}")
    visitor.send("/undo", entry=str(entry.entry_id))
    assert len(visitor.entries()) == before


def test_fahrenheit_is_shown_throughout(visitor: Visitor) -> None:
    made = Visitor(visitor.home, display__temperature="F")
    try:
        for path in ("/places", "/places/compare?a=1&b=2", "/places/side-by-side"):
            words = made.words(path)
            assert "°F" in words
            assert "°C" not in words
    finally:
        made.close()


def test_hostile_names_are_shown_as_text_on_every_page_of_places(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE place SET name = ?, note = ? WHERE name = 'Cold frame'", (HOSTILE, HOSTILE)
        )
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'tomatoes'", (HOSTILE,))
    place = ids(visitor)[HOSTILE]
    for path in (
        "/places",
        f"/places/compare?a={place}&b=2",
        "/places/side-by-side",
        "/places/rank?crop=tomato",
        f"/places/frame?frame={place}",
        f"/places/harden?plants=place-{place}",
        f"/charts/compare.html?a={place}&b=2",
    ):
        text = visitor.get(path)
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text, path
    svg = visitor.client.get(f"/charts/compare.svg?a={place}&b=2").text
    assert "<script>" not in svg
    assert "Written down" in visitor.send("/write/vented", back="/places", place=HOSTILE)


def test_without_readings_or_places_the_page_says_what_comes_next(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    words = visitor.words("/places")
    assert "There are no readings yet" in words
    assert "Cold frame" in words
