"""Places as they are now, in the little garden, whose temperatures are known at every instant."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.services.little_garden import FRAME_WARMER_C, NOW_MS, START_MS, LittleGarden, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, put, undo
from traywarden.services.questions.places_now import PlaceNow, PlacesNowAnswer, ask_places_now
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

HOUR_MS = 3_600_000


@pytest.fixture
def own(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path)
    yield made
    made.store.close()


def asked(made: LittleGarden, now_ms: int = NOW_MS) -> dict[str, PlaceNow]:
    return by_name(answered(made, now_ms))


def answered(made: LittleGarden, now_ms: int = NOW_MS) -> PlacesNowAnswer:
    with grounded(made.store, now_ms) as ground:
        return ask_places_now(ground)


def by_name(answer: PlacesNowAnswer) -> dict[str, PlaceNow]:
    return {place.place: place for place in answer.places}


def test_air_and_soil_are_those_of_the_last_reading_and_the_range_is_todays(little: LittleGarden) -> None:
    answer = answered(little)
    places = by_name(answer)
    bench, frame = places["Open bench"], places["Cold frame"]
    # At nine the wave stands at its mean; it was lowest at three, and has risen since.
    for found in (bench.air, bench.soil):
        assert found.temp_c == pytest.approx(10.0, abs=0.01)
        assert found.low_c == pytest.approx(5.0, abs=0.01)
        assert found.high_c == pytest.approx(10.0, abs=0.01)
    assert frame.air.temp_c == pytest.approx(10.0 + FRAME_WARMER_C, abs=0.01)
    assert frame.air.at is not None
    assert round(frame.air.at.timestamp() * 1000) == NOW_MS
    assert (bench.soil.heads, frame.soil.heads, bench.air.heads) == (2, 1, 1)
    assert answer.sentence == "The air now: 14.0 °C in Cold frame and 10.0 °C in Open bench."


def test_each_place_names_its_trays_and_one_without_heads_says_so(little: LittleGarden) -> None:
    places = asked(little)
    assert places["Open bench"].trays == ("lettuce", "peppers")
    assert (places["Cold frame"].trays, places["Cold frame"].covered) == (("tomatoes",), True)
    shade = places["Shade"]
    assert (shade.trays, shade.air.temp_c, shade.soil.temp_c) == ((), None, None)
    assert shade.air.reason == "no head hangs here, and none is in a tray that stands here"
    assert shade.soil.reason == "no tray stands here"


def test_what_is_silent_is_not_taken_for_now(little: LittleGarden) -> None:
    places = asked(little, NOW_MS + 7 * HOUR_MS)
    bench = places["Open bench"]
    assert (bench.air.temp_c, bench.air.at) == (None, None)
    assert bench.air.reason == "no air temperature was measured in the last 6 h"
    assert bench.air.high_c == pytest.approx(10.0, abs=0.01)
    tomorrow = asked(little, NOW_MS + 24 * HOUR_MS)["Open bench"]
    assert (tomorrow.soil.low_c, tomorrow.soil.high_c) == (None, None)


def test_just_after_midnight_now_is_known_and_the_range_is_of_those_minutes(little: LittleGarden) -> None:
    bench = asked(little, START_MS + 24 * HOUR_MS + 600_000)["Open bench"]
    assert bench.air.low_c is not None
    assert bench.air.high_c is not None
    assert bench.air.high_c - bench.air.low_c < 0.3  # the wave falls 0.9 °C an hour at midnight
    assert bench.air.temp_c == pytest.approx(bench.air.low_c)


def test_a_tray_that_moved_takes_its_soil_along_until_the_move_is_taken_back(own: LittleGarden) -> None:
    with own.store.write() as tx:
        shade = garden_store.place_named(tx, "Shade").place_id
        draft = Draft(Kind.MOVED, NOW_MS - HOUR_MS, tray_id=own.tray_ids["lettuce"], place_id=shade)
        moved = put(tx, draft, NOW_MS)
    places = asked(own)
    assert (places["Shade"].trays, places["Open bench"].trays) == (("lettuce",), ("peppers",))
    assert places["Shade"].soil.temp_c == pytest.approx(10.0, abs=0.01)
    assert places["Shade"].soil.low_c == pytest.approx(8.7, abs=0.1)  # an hour of it: the wave at eight
    with own.store.write() as tx:
        undo(tx, moved.entry_id, NOW_MS)
    assert asked(own)["Shade"].trays == ()


def test_a_garden_without_places_says_how_to_add_one(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path / 'bare.sqlite3'}") as store:
        with store.write() as tx:
            garden_store.set_garden(tx, "Bare", "Europe/Lisbon", now_ms=START_MS)
        with grounded(store) as ground, pytest.raises(UsageError, match="There is no place yet; add one"):
            ask_places_now(ground)
