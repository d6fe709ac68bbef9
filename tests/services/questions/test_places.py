"""Questions about places on a garden whose climates are known exactly."""

from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import msgspec
import numpy as np
import pytest

from tests.services import place_garden as made
from tests.services.place_garden import NOW_MS, PlaceGarden, climate
from tests.services.questions.conftest import grounded
from traywarden.domain.exposure import Exposure
from traywarden.domain.journal import Kind
from traywarden.domain.many_places import Measured
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.links.pictures import draw
from traywarden.services.journal import Draft, put
from traywarden.services.questions.germination_hours import ask_hours
from traywarden.services.questions.harden import HardenAsked, ask_harden
from traywarden.services.questions.place_picture import days_picture, months_picture
from traywarden.services.questions.places import PlacesAsked, ask_places
from traywarden.services.questions.rank import RankAsked, ask_rank


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PlaceGarden]:
    built = made.place_garden(tmp_path_factory.mktemp("garden"))
    yield built
    built.store.close()


def difference(garden: PlaceGarden, place: str) -> Measured:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_places(ground, PlacesAsked())
    found = next(p for p in answer.places if p.name == place).difference
    assert found is not None
    return found


def of_days(values: np.ndarray) -> np.ndarray:
    return np.asarray(values).reshape(-1, 144)


def test_the_open_bench_is_what_the_others_are_held_against(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_places(ground, PlacesAsked())
        named = ask_places(ground, PlacesAsked(against="shade"))
    assert (answer.against, answer.measured) == ("Open bench", "air")
    assert named.against == "Shade"
    assert [place.days for place in answer.places] == [30, 30, 30]
    assert answer.remarks[0] == "not measured (air): Empty corner"


def test_nights_and_days_differ_as_the_climates_were_made(garden: PlaceGarden) -> None:
    bench, frame = (of_days(climate(place)[0]) for place in ("Open bench", "Cold frame"))
    low, high = (frame.min(axis=1) - bench.min(axis=1)).mean(), (frame.max(axis=1) - bench.max(axis=1)).mean()
    found = difference(garden, "Cold frame")
    assert found.low_c.estimate == pytest.approx(low, abs=0.1)
    assert found.high_c.estimate == pytest.approx(high, abs=0.1)
    assert found.low_c.low is not None
    assert found.low_c.low > 3.5


def test_drying_beyond_the_air_is_what_it_was_made_to_be(garden: PlaceGarden) -> None:
    """The bench dries twice as fast; fits of short dry-downs are off by up to a tenth."""
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_places(ground, PlacesAsked())
    of_place: dict[str, Exposure] = {each.place: each for each in answer.drying}
    for place in ("Cold frame", "Shade"):
        ratio = of_place[place].ratio
        assert ratio.estimate == pytest.approx(1 / made.BENCH_RATIO, rel=0.1)
        assert ratio.high is not None
        assert ratio.high < 0.6
        assert (of_place[place].trays, of_place[place].held_alike) == (3, "mix")
    assert "dried 0.5 times as fast as Open bench would in the same air" in answer.sentence


def test_the_sentence_speaks_the_growers_degrees_and_only_of_what_is_clear(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS, display__temperature="F") as ground:
        words = ask_places(ground, PlacesAsked()).sentence
    assert "Cold frame had warmer nights (7.2 °F)" in words
    shade = words.partition("Shade ")[2]
    assert shade.startswith("had cooler days")
    assert "nights" not in shade


def test_soil_can_be_asked_for_and_a_span_without_readings_is_refused(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        assert ask_places(ground, PlacesAsked(measured="soil")).measured == "soil"
        with pytest.raises(UsageError, match="“air” or “soil”, not by “water”"):
            ask_places(ground, PlacesAsked(measured="water"))
        with pytest.raises(ShortOfDataError, match="hang a head there"):
            ask_places(ground, PlacesAsked(date(2026, 1, 1), date(2026, 1, 20)))
        with pytest.raises(ShortOfDataError, match="choose another place with --against"):
            ask_places(ground, PlacesAsked(against="empty corner"))
        with pytest.raises(UnknownNameError, match="did you mean “Shade”"):
            ask_places(ground, PlacesAsked(against="shde"))


def test_the_frame_ranks_first_for_tomato_in_april_and_hours_are_those_counted(garden: PlaceGarden) -> None:
    """Soil is the place's air here; tomato comes up from 10 to 35 °C."""
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_rank(ground, RankAsked("tomato", 4))
    assert answer.sentence.startswith("Tomato, April, soil: Cold frame first, ")
    assert (answer.low_c, answer.high_c, answer.years) == (10.0, 35.0, (2026,))
    for ranked in answer.ranking.ranked:
        air = climate(ranked.name)[0]
        counted = ((air >= 10) & (air <= 35)).mean() * 24
        assert ranked.hours_h.estimate == pytest.approx(counted, abs=0.25)
    assert answer.ranking.pairs[0].verdict == "better"
    assert "all of it from 2026" in answer.remarks[-2]


def test_hours_and_rank_say_the_same_of_the_same_days(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        ranked = ask_rank(ground, RankAsked("tomato", 4)).ranking
        months = ask_hours(ground, ["tomato"]).months
    of_month = {row.place: row.hours_h for row in months if row.month == 4 and row.days == ranked.days}
    assert of_month
    for place in ranked.ranked:
        if place.name in of_month:
            assert place.hours_h == of_month[place.name]


def test_a_month_never_measured_and_a_month_that_is_none_are_refused(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        with pytest.raises(ShortOfDataError, match="in any November; the garden's heads were first placed"):
            ask_rank(ground, RankAsked("tomato", 11))
        with pytest.raises(UsageError, match="no month 13"):
            ask_rank(ground, RankAsked("tomato", 13))
        year = ask_rank(ground, RankAsked("tomato"))
    assert year.sentence.startswith("Tomato, the last year, soil: ")


def test_hours_by_month_are_for_the_garden_s_crops_unless_named(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        own = ask_hours(ground)
        named = ask_hours(ground, ["lettuce", "pepper"], measured="air")
    assert own.crops == ("Tomato",)
    april = [row for row in own.months if row.month == 4]
    assert {row.place for row in april} == {"Open bench", "Cold frame", "Shade"}
    assert all(row.days == 30 for row in april)
    assert (named.measured, named.crops) == ("air", ("Lettuce", "Pepper"))


def test_answers_are_json_able(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        built = msgspec.to_builtins(ask_places(ground, PlacesAsked()))
        ranked = msgspec.to_builtins(ask_rank(ground, RankAsked("tomato", 4)))
    assert built["places"][1]["difference"]["low_c"]["n"] == 30
    assert ranked["ranking"]["ranked"][0]["name"] == "Cold frame"


@pytest.mark.parametrize("unit", ["C", "F"])
def test_pictures_name_every_place_and_the_growers_degrees(
    garden: PlaceGarden, tmp_path: Path, unit: str
) -> None:
    with grounded(garden.store, NOW_MS, display__temperature=unit) as ground:
        day = days_picture(ask_places(ground, PlacesAsked()), ground.display)
        months = months_picture(ask_hours(ground, ["tomato", "lettuce"]), ground.display)
    for name, spec, wanted in (
        ("day", day, {"The day in 3 places", "Cold frame", "Open bench", "Shade", f"temperature (°{unit})"}),
        ("months", months, {"Cold frame", "Shade", "Hours a day in which seed can come up"}),
    ):
        draw(spec, tmp_path / f"{name}.svg")
        drawn = ElementTree.parse(tmp_path / f"{name}.svg")
        words = {"".join(e.itertext()) for e in drawn.iter("{http://www.w3.org/2000/svg}text")}
        assert wanted <= words, words
    assert ("Tomato: 10 to 35 °C" if unit == "C" else "Tomato: 50 to 95 °F") in words


def test_labels_of_lines_that_end_at_one_height_are_moved_apart(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        spec = days_picture(ask_places(ground, PlacesAsked()), Display())
    heights = sorted(row["at"] for row in spec["datasets"]["labels"])
    temps = [row["temp"] for row in spec["datasets"]["hours"]]
    apart = (max(temps) - min(temps)) * 0.055
    assert all(b - a >= apart - 1e-3 for a, b in pairwise(heights))


def test_plants_in_the_frame_need_hardening_off_and_those_on_the_bench_do_not(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        frame = ask_harden(ground, HardenAsked("frame a"))
        bench = ask_harden(ground, HardenAsked("bench a", against="shade"))
        place = ask_harden(ground, HardenAsked("Cold frame"))
    assert (frame.hardening.need, frame.against, frame.crop) == ("yes", "Open bench", "Tomato")
    assert frame.hardening.low_difference_c.estimate == pytest.approx(4.0, abs=0.2)
    assert frame.stood == (("Cold frame", 14),)
    assert (
        "frame a still needs hardening off, one to two weeks of it: 0 of its last 14 days" in frame.sentence
    )
    assert "below 18.3 °C: hardening minimum of basil, tomato and pepper" in frame.nights[0]
    assert bench.hardening.need == "no"
    assert place.subject_kind == "place"
    assert place.hardening.low_difference_c.estimate == frame.hardening.low_difference_c.estimate


def test_a_tray_that_stood_in_the_open_place_itself_is_not_held_against_it(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_harden(ground, HardenAsked("bench a"))
    assert answer.sentence.startswith(f"bench a stood in {answer.against} itself all these days")
    assert "colder" not in answer.sentence


def test_a_tray_is_as_hard_as_the_places_it_stood_in_on_each_day(tmp_path: Path) -> None:
    """Moved out of the frame at midnight six days ago: six of fourteen days were outdoors."""
    garden = made.place_garden(tmp_path)
    at_ms = NOW_MS - 6 * made.DAY_MS
    with garden.store.write() as tx:
        put(
            tx,
            Draft(
                Kind.MOVED,
                at_ms,
                tray_id=garden.tray_ids["frame b"],
                place_id=garden.place_ids["Open bench"],
            ),
            at_ms,
        )
    with grounded(garden.store, NOW_MS) as ground:
        found = ask_harden(ground, HardenAsked("frame b"))
    garden.store.close()
    assert (found.hardening.need, found.hardening.days_outdoors) == ("partly", 6)
    assert dict(found.stood) == {"Cold frame": 8, "Open bench": 6}
    assert [day.outdoors for day in found.hardening.days[-7:]] == [False] + [True] * 6
    assert "1 more days as outdoors to go" in found.sentence


def test_what_cannot_be_hardened_against_is_said(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        with pytest.raises(UnknownNameError, match="no tray or place called “frame x”; did you mean “frame"):
            ask_harden(ground, HardenAsked("frame x"))
        with pytest.raises(ShortOfDataError, match="“Empty corner”"):
            ask_harden(ground, HardenAsked("frame a", against="empty corner"))
        with pytest.raises(UsageError, match="--days 1 to 366"):
            ask_harden(ground, HardenAsked("frame a", days=0))
