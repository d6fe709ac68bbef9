"""The pages before sowing say what `seeds`, `plan` and `plan warm` say."""

import shutil
from datetime import date
from pathlib import Path

import pytest
from icalendar import Calendar, Event

from tests.services.field_garden import PLACE, field_garden
from tests.shared_data import shared_file
from tests.web.conftest import Visitor
from traywarden.services.outside_import import import_weather
from traywarden.services.outside_mapping import guess_outside
from traywarden.services.questions.plan import PlanAsked, ask_plan, ask_warm
from traywarden.services.questions.seeds import SeedsAsked, ask_seeds
from traywarden.store import garden
from traywarden.web.phrases import in_plain_words

OUT = date(2026, 5, 15)
PLAN = {"crop": "Tomato", "place": "Cold frame", "day": OUT.isoformat()}


def got(visitor: Visitor, path: str, **params: str) -> str:
    return visitor.words(str(visitor.client.build_request("GET", path, params=params).url.raw_path, "ascii"))


def test_seeds_are_asked_by_lot_plants_and_fill(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Own & <old>", "tomato", germination=0.7, tested=True, seeds=500, price=5.0)
    asked = SeedsAsked("Own & <old>", 60, fill=0.9, place="Cold frame")
    with visitor.face.asking() as on:
        answer = ask_seeds(on, asked)
    words = got(visitor, "/sowings/seeds", what="Own & <old>", plants="60", fill="90", place="Cold frame")
    assert answer.sentence in words
    for sentence in filter(None, answer.advice):
        assert in_plain_words(sentence) in words
    for row in answer.plan.rows:
        assert f"{row.cells} {row.filled_middle} {row.filled_low} to {row.filled_high}" in words
        assert f"{row.price:.2f}" in words
    assert answer.evidence[0].says in words


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"what": "Tomato"}, "Say how many plants are wanted"),
        ({"what": "Tomato", "plants": "many"}, "“many” is not a number"),
        ({"what": "Tomato", "plants": "1.5"}, "not a whole number"),
        ({"what": "Tomato", "plants": "0"}, "cannot be asked for"),
        ({"what": "Tomato", "plants": "9", "fill": "all"}, "A fill of “all” cannot be"),
        ({"what": "Tomatoo", "plants": "9"}, "did you mean"),
    ],
)
def test_what_cannot_be_asked_of_seeds_is_said_beside_the_form(
    visitor: Visitor, fields: dict[str, str], says: str
) -> None:
    words = got(visitor, "/sowings/seeds", **fields)
    assert "Cannot be told" in words
    assert says in words
    assert "How many seeds?" in words


def test_a_plan_is_counted_back_drawn_and_taken_into_a_calendar(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        season = ask_plan(on, [PlanAsked("Tomato", "Cold frame", OUT)])
    (plan,) = season.plans
    words = got(visitor, "/sowings/plan", **PLAN)
    assert season.sentence in words
    assert plan.sow is not None
    assert f"{plan.sow.usual:%a} {plan.sow.usual.day} {plan.sow.usual:%b}" in words
    assert plan.weeks_source in words
    answer = visitor.client.get("/sowings/plan.ics", params=PLAN)
    assert answer.headers["content-type"].startswith("text/calendar")
    days = {
        str(part["summary"]): part.decoded("dtstart")
        for part in Calendar.from_ical(answer.content).walk()
        if isinstance(part, Event)
    }
    assert days["Sow Tomato in Cold frame"] == plan.sow.usual
    assert days["Plant out Tomato"] == OUT
    spec = visitor.client.get("/charts/season.json", params=PLAN).json()
    assert {row["stage"] for row in spec["datasets"]["stretches"]} >= {"sow", "harden off"}
    assert visitor.client.get("/charts/season.svg", params=PLAN).text.startswith("<svg")
    assert str(plan.sow.usual) in visitor.client.get("/charts/season.csv", params=PLAN).text


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"day": ""}, "choose all three"),
        ({"day": "May"}, "“May” is not a day"),
        ({"crop": "Kohlrabbit"}, "no crop called “Kohlrabbit”"),
        ({"place": "<i>Moon</i>"}, "There is no place called “<i>Moon</i>”"),
    ],
)
def test_what_cannot_be_planned_is_said_beside_the_form(
    visitor: Visitor, changed: dict[str, str], says: str
) -> None:
    words = got(visitor, "/sowings/plan", **PLAN | changed)
    assert says in words
    assert "Plants out on" in words
    assert visitor.client.get("/sowings/plan.ics", params=PLAN | changed).status_code == 400


def test_without_past_years_the_warm_page_says_what_is_missing(visitor: Visitor) -> None:
    words = got(visitor, "/sowings/warm", crop="Tomato", place="Cold frame")
    assert "no past weather was imported" in words


@pytest.fixture(scope="module")
def field_home(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    home = tmp_path_factory.mktemp("field")
    made = field_garden(home)
    path = shared_file("weather_seattle_daily.csv")
    mapping = guess_outside(path, zone="America/Los_Angeles").mapping
    import_weather(made.store, path, mapping, "station", made.field.zone)
    at_ms = made.at_ms("08-20", 18)
    made.store.close()
    return home, at_ms


@pytest.mark.data
def test_with_past_years_first_and_last_warm_days_are_told_and_drawn(
    field_home: tuple[Path, int], tmp_path: Path
) -> None:
    home, at_ms = field_home
    shutil.copytree(home, tmp_path / "home")
    visitor = Visitor(tmp_path / "home", at_ms)
    try:
        with visitor.face.asking() as on:
            answer = ask_warm(on, "Lettuce", PLACE)
        words = got(visitor, "/sowings/warm", crop="Lettuce", place=PLACE)
        assert answer.sentence in words
        assert answer.limits in words
        params = {"crop": "Lettuce", "place": PLACE}
        spec = visitor.client.get("/charts/warm.json", params=params).json()
        drawn = [row["chance"] for row in spec["datasets"]["chances"]]
        assert drawn == [row.chance for row in answer.chances]
        assert visitor.client.get("/charts/warm.svg", params=params).text.startswith("<svg")
        season = got(visitor, "/sowings/plan", crop="Lettuce", place=PLACE, day="2027-05-15")
        assert "in four years of five" in season
        assert "% of years" in season
    finally:
        visitor.close()
