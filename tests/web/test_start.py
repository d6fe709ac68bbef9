"""An empty garden is led through naming it, a place, a mix, a tray and a probe."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.store import garden as garden_store
from traywarden.store import readings as reading_store
from traywarden.store.zones import computers_zone

HOSTILE = "<script>alert(1)</script>\"'><img src=x> \u202eabc 🍅"


@pytest.fixture
def newcomer(tmp_path: Path) -> Iterator[Visitor]:
    """In a home that holds nothing yet."""
    made = Visitor(tmp_path)
    yield made
    made.close()


def name_garden(visitor: Visitor, name: str = "Hill") -> str:
    return visitor.send("/make/garden", back="/start", name=name, zone="Europe/Lisbon")


def test_every_page_of_an_empty_home_leads_to_naming_the_garden(newcomer: Visitor) -> None:
    for path in ("/", "/start", "/start?step=tray", "/charts/none.json"):
        if path != "/charts/none.json":
            assert "What is your garden called?" in newcomer.words(path)
    assert newcomer.client.get("/", follow_redirects=False).headers["location"] == "/start"


def test_the_computers_own_time_zone_is_chosen_beforehand(newcomer: Visitor) -> None:
    own = computers_zone() or "Etc/UTC"
    text = newcomer.get("/start")
    assert f"<option selected>{own}</option>" in text
    assert text.count(" selected>") == 2, "the zone, and the light"
    assert "<option>Pacific/Auckland</option>" in text


def test_step_by_step_to_a_placed_probe(newcomer: Visitor) -> None:
    words = name_garden(newcomer)
    assert "The garden is called “Hill” and goes by the time of Europe/Lisbon." in words
    assert "Where do trays stand?" in words
    words = newcomer.send("/make/place", back="/start", name="South frame", kind="cold frame", covered="")
    assert "Place “South frame” (cold frame) is there; rain is kept off there." in words
    assert "What are trays filled with?" in words
    recipe = {"part1": "perlite", "share1": "2", "part2": "compost", "share2": "1,5", "part3": "coir"}
    words = newcomer.send("/make/mix", back="/start", name="Seed mix", **recipe)
    assert "Which tray first?" in words
    with newcomer.store.read() as tx:
        (mix,) = garden_store.mixes(tx)
        assert mix.parts == {"perlite": 2.0, "compost": 1.5, "coir": 1.0}
        assert garden_store.places(tx)[0].kind is PlaceKind.COLD_FRAME
    words = newcomer.send(
        "/make/tray", back="/start", name="A1", mix="Seed mix", place="South frame", cells="72", litres="4"
    )
    assert "Tray “A1” is filled with “Seed mix” and stands in “South frame”." in words
    assert "No probe has reported yet" in words
    assert "To be told on your phone as well, choose where notices go" in words
    assert "traywarden/v1/hill/NAME/readings" in words
    assert "The host is not running here" in words

    with newcomer.store.write() as tx:
        reading_store.insert(
            tx, [Reading("b1", n, 1, n, NOW_MS, NOW_MS, soil_temp_c=15.0, moisture_v=1.8) for n in (0, 1)]
        )
    words = newcomer.words("/start")
    assert "Head b1/1 waits for its place" in words
    assert "Air sensor b1/0 waits for its place" in words
    words = newcomer.send("/make/head", back="/start", head="b1/1", where="tray A1")
    assert "Written down" in words
    assert "Every head that has reported has its place" in words, "the air sensor goes with its tray"
    assert [e.kind for e in newcomer.entries()] == [Kind.FILLED, Kind.MOVED, Kind.HEAD_PLACED]


def test_each_step_can_be_skipped(newcomer: Visitor) -> None:
    name_garden(newcomer)
    for step, following in (("place", "mix"), ("mix", "tray"), ("tray", "probe")):
        assert f'<a class="button" href="/start?step={following}">Skip this</a>' in newcomer.get(
            f"/start?step={step}"
        )
    assert '<a class="button" href="/">To the garden</a>' in newcomer.get("/start?step=probe")
    assert "add a place first" in newcomer.words("/start?step=tray")
    assert "add a mix first" in newcomer.words("/start?step=tray")


@pytest.mark.parametrize(
    ("what", "fields", "says"),
    [
        ("garden", {"name": "", "zone": "Europe/Lisbon"}, "A garden needs a name"),
        ("garden", {"name": "Hill", "zone": "Europe/Lisbo"}, "did you mean “Europe/Lisbon”?"),
        ("garden", {"name": "Hill", "zone": "Europe/Lisbon", "latitude": "38.7"}, "needs both degrees"),
        ("garden", {"name": "Hill", "zone": "UTC", "latitude": "98", "longitude": "0"}, "latitude of 98"),
        ("place", {"name": "X", "kind": "cold fram"}, "did you mean “cold frame”?"),
        ("mix", {"name": "X"}, "at least one part"),
        ("mix", {"name": "X", "part1": "coir", "share1": "-1"}, "a number above 0"),
        ("mix", {"name": "X", "part1": "coir", "part2": "coir"}, "there twice"),
        ("mix", {"name": "X", "part1": "coir", "capacity": "155"}, "container capacity of 1.55"),
        ("tray", {"name": "X", "mix": "Peat", "place": "X"}, "There is no mix called “Peat”"),
        ("lot", {"name": "X", "crop": "tomato", "tested": "yes"}, "needs the result"),
        ("lot", {"name": "X", "crop": "tomatillos"}, "There is no crop called “tomatillos”"),
        ("head", {"head": "b1/1", "where": "tray A1"}, "No probe has reported yet"),
        ("head", {"head": "b1/1", "where": ""}, "Choose where the head is"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_sentence(
    newcomer: Visitor, what: str, fields: dict[str, str], says: str
) -> None:
    if what != "garden":
        name_garden(newcomer)
    words = newcomer.send(f"/make/{what}", back="/start?step=probe", again="/start?step=mix", **fields)
    assert "Not written" in words
    assert says in words
    assert "What are trays filled with?" in words or what == "garden", "back where it was typed"
    with newcomer.store.read() as tx:
        assert not garden_store.mixes(tx)
        assert (garden_store.the_garden(tx) is None) == (what == "garden")


def test_hostile_names_are_shown_as_text(newcomer: Visitor) -> None:
    name_garden(newcomer, HOSTILE)
    newcomer.send("/make/place", name=HOSTILE, kind="open bench")
    newcomer.send("/make/mix", name=HOSTILE, part1=HOSTILE)
    newcomer.send("/make/tray", name=HOSTILE, mix=HOSTILE, place=HOSTILE)
    for step in ("place", "mix", "tray", "probe"):
        text = newcomer.get(f"/start?step={step}")
        assert "<script>alert" not in text
        assert "<img src=x" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in newcomer.get("/start?step=tray")
