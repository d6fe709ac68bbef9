"""What programs are answered: what the command of that name prints, asked with that command's options."""

import json
import re
from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest
import typer.main
from fastapi.testclient import TestClient

from tests.services.little_garden import NOW_MS
from tests.web.conftest import ADDRESS, Visitor
from traywarden.cli import context
from traywarden.cli.app import app
from traywarden.cli.asking import PANEL
from traywarden.cli.main import main
from traywarden.domain.journal import Kind
from traywarden.services.doctor import ask_doctor
from traywarden.services.journal import Draft, put
from traywarden.services.plain import plain
from traywarden.store import garden
from traywarden.web.api.document import document

COMMANDS = {  # addresses whose command is called otherwise
    "plan": "plan crop",
    "journal": "journal list",
    "trays": "tray list",
    "trays/show": "tray show",
    "places": "place list",
    "mixes": "mix list",
    "lots": "lot list",
    "lots/show": "lot show",
    "crops": "crop list",
    "crops/show": "crop show",
    "probes": "probe list",
    "notices": "notices list",
}
NOT_ASKED_OF_PROGRAMS = {"json", "picture", "ics", "file", "pdf"}
"""A program draws for itself, and files of the host's disk are not for it to write."""
ALWAYS_WHOLE = {"notices/replay": {"all"}}
"""What a program is given in any case."""
ASKED = [
    ("today", "", "today"),
    ("outlook", "", "outlook"),
    ("outlook", "tray=tomatoes", "outlook tomatoes"),
    ("backtest", "days=30", "backtest --days 30"),
    ("emergence", "", "emergence"),
    ("emergence", "tray=lettuce", "emergence lettuce"),
    ("emergence", "learned=true&crop=tomato", "emergence --learned --crop tomato"),
    ("seeds", "what=tomato&plants=30&tray=tomatoes&fill=90%25&seed-price=0.1&temp=21",
     "seeds tomato --plants 30 --tray tomatoes --fill 90% --seed-price 0.1 --temp 21"),
    ("degree-days", "tray=tomatoes", "degree-days tomatoes"),
    ("degree-days", "place=Cold+frame&air=true&crop=pepper&from=2026-03-04&to=2026-03-09&upper=30",
     "degree-days --place Cold_frame --air --crop pepper --from 2026-03-04 --to 2026-03-09 --upper 30"),
    ("waterings", "days=9.5", "waterings --days 9.5"),
    ("moisture", "tray=peppers", "moisture peppers"),
    ("dry-down", "mix=Bark+mix&days=10", "dry-down --mix Bark_mix --days 10"),
    ("compare", "place_a=Cold+frame&place_b=Open+bench&crop=tomato&air=false",
     "compare Cold_frame Open_bench --crop tomato --soil"),
    ("batch", "tray=tomatoes", "batch tomatoes"),
    ("batches", "by=place", "batches --by place"),
    ("level", "", "level"),
    ("quality", "tray=lettuce", "quality lettuce"),
    ("places/compare", "from=2026-03-03&against=Open+bench",
     "places compare --from 2026-03-03 --against Open_bench"),
    ("places/now", "", "places now"),
    ("places/rank", "crop=tomato&month=March&best=true", "places rank tomato --month March --best"),
    ("places/hours", "crops=tomato&crops=lettuce", "places hours tomato lettuce"),
    ("places/frame", "frame=Cold+frame", "places frame Cold_frame"),
    ("places/harden", "subject=tomatoes&days=7", "places harden tomatoes --days 7"),
    ("mix/compare", "a=Bark+mix&b=Peat+mix", "mix compare Bark_mix Peat_mix"),
    ("mix/soaked", "name=Bark+mix&days=30", "mix soaked Bark_mix --days 30"),
    ("mix/advice", "", "mix advice"),
    ("plan", "crop=tomato&place=Cold+frame&plants-out=2026-05-15",
     "plan crop tomato --place Cold_frame --plants-out 2026-05-15"),
    ("plan/season", "wanted=tomato&wanted=lettuce&place=Cold+frame&plants-out=2026-05-15",
     "plan season tomato lettuce --place Cold_frame --plants-out 2026-05-15"),
    ("plan/warm", "crop=lettuce&place=Open+bench", "plan warm lettuce --place Open_bench"),
    ("notices/worth", "days=90", "notices worth --days 90"),
    ("notices/hushed", "all=true", "notices hushed --all"),
    ("forecast/show", "", "forecast show"),
    ("weather/show", "", "weather show"),
    ("journal", "tray=tomatoes&limit=3", "journal list --tray tomatoes --limit 3"),
    ("journal", "all=true&kind=watered", "journal list --all --kind watered"),
    ("trays", "", "tray list"),
    ("trays/show", "name=tomatoes&lines=2", "tray show tomatoes --lines 2"),
    ("places", "", "place list"),
    ("mixes", "", "mix list"),
    ("lots", "", "lot list"),
    ("lots/show", "lot=Roma", "lot show Roma"),
    ("crops", "kind=flower", "crop list --kind flower"),
    ("crops/show", "name=lettuce", "crop show lettuce"),
    ("probes", "", "probe list"),
    ("notices", "all=true", "notices list --all"),
    ("notices/show", "notice=abc", "notices show abc"),
    ("notices/replay", "from=2026-03-10&rule=waterlogged&rule=vent&set=waterlogged.above%3D0.9",
     "notices replay --from 2026-03-10 --rule waterlogged --rule vent --set waterlogged.above=0.9"),
    ("notices/explain", "rule=dry&subject=tomatoes", "notices explain dry tomatoes"),
    ("record", "tray=tomatoes&days=3", "record tomatoes --days 3"),
    ("week", "ending=2026-03-15", "week --ending 2026-03-15"),
]  # fmt: skip


def keeps(address: str) -> Any:
    """What checks an answer against the document."""
    schema = GETS[address]["responses"]["200"]["content"]["application/json"]["schema"]
    whole = {**schema, "components": document()["components"]}
    return jsonschema_rs.validator_for(whole, validate_formats=True)


REFUSED = ("forecast/show", "plan/warm", "notices/show", "level")
"""What this garden's record cannot answer: the sentence is the command's too."""


def words_of(command: str) -> list[str]:
    """The words typed; an underscore stands for a space within a name."""
    return [word if word.startswith("--") else word.replace("_", " ") for word in command.split()]


def commands(group: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*path, name))
        else:
            yield " ".join((*path, name)), command


EVERY = dict(commands(typer.main.get_command(app)))
GETS = {
    address.removeprefix("/api/v1/"): methods["get"]
    for address, methods in document()["paths"].items()
    if "get" in methods
}


@pytest.mark.parametrize("address", GETS)
def test_an_address_takes_the_options_of_its_command_and_no_others(address: str) -> None:
    command = EVERY[COMMANDS.get(address, address.replace("/", " "))]
    options = {
        max(parameter.opts, key=len).lstrip("-")
        for parameter in command.params
        if max(parameter.opts, key=len).lstrip("-") not in NOT_ASKED_OF_PROGRAMS
    } - ALWAYS_WHOLE.get(address, set())
    assert {each["name"] for each in GETS[address].get("parameters", ())} == options


@pytest.mark.parametrize("address", GETS)
def test_a_default_is_that_of_the_command(address: str) -> None:
    command = EVERY[COMMANDS.get(address, address.replace("/", " "))]
    usual = {max(each.opts, key=len).lstrip("-"): each for each in command.params}
    for parameter in GETS[address].get("parameters", ()):
        of_command, schema = usual[parameter["name"]], parameter["schema"]
        if address == "plan/season" or of_command.nargs == -1:
            continue  # a file may say it instead, on the command line; several words have no default
        assert parameter["required"] == of_command.required, parameter["name"]
        if not of_command.required:
            assert schema.get("default") == of_command.default, parameter["name"]


def test_every_question_of_the_command_line_has_an_address() -> None:
    questions = {name for name, command in EVERY.items() if command.rich_help_panel == PANEL}
    assert {"today", "record", "week"} <= questions <= set(GETS)


def test_every_address_is_compared_with_its_command() -> None:
    assert {address for address, _, _ in ASKED} == set(GETS) - {"doctor"}


@pytest.mark.parametrize(("address", "query", "command"), ASKED)
def test_the_answer_is_what_the_command_prints(
    visitor: Visitor,
    address: str,
    query: str,
    command: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS)
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato", 0.85, True, 50, 3.0, "")
        tray_id = garden.tray_named(tx, "tomatoes").tray_id
        for count, hours in ((4, 50), (21, 3)):
            at_ms = NOW_MS - hours * 3_600_000
            put(tx, Draft(Kind.EMERGED, at_ms, tray_id=tray_id, data={"count": count}), NOW_MS)
    code = main(["--home", str(visitor.home), *words_of(command), "--json"])
    printed, refused = capsys.readouterr()
    answer = visitor.client.get(f"/api/v1/{address}?{query}")
    assert (code != 0) == (address in REFUSED)
    if code == 0:
        assert answer.status_code == 200, answer.text
        assert answer.text == printed
        assert answer.headers["content-type"] == "application/json"
        assert [str(error) for error in keeps(address).iter_errors(answer.json())] == []
    else:
        assert answer.status_code == {2: 404, 9: 409}[code], answer.text
        assert answer.json()["detail"] == refused.replace("\n", "").strip()


def test_the_doctor_looks_at_the_same_things(visitor: Visitor) -> None:
    answer = visitor.client.get("/api/v1/doctor").json()
    direct = plain(ask_doctor(visitor.face.settings, NOW_MS))
    assert [each["name"] for each in answer["checks"]] == [each["name"] for each in direct["checks"]]
    assert answer["probes"] == direct["probes"]


def test_an_error_is_a_problem_with_one_sentence(visitor: Visitor) -> None:
    wrong = {
        "outlook?tray=nowhere": (404, "There is no tray called “nowhere”"),
        "waterings?days=0": (422, "“days” cannot be used: input should be greater than or equal to 0.1."),
        "waterings?days=nan": (422, "“days” cannot be used"),
        "waterings?dayz=3": (400, "There is no parameter “dayz” here; did you mean “days”?"),
        "compare?place_a=Shade": (422, "“place_b” is missing; give it."),
        "places/rank?crop=tomato&month=Brumaire": (400, "“Brumaire” is no month"),
        "outlook?tray=" + "x" * 201: (422, "“tray” cannot be used"),
        "notices/replay?from=2025-01-01": (400, "From 2025-01-01 to "),
        "outlook?tray=%00": (422, "“tray” cannot be used"),
        "emergence?crop=tomato": (400, "A crop is asked about with learned=true"),
        "no-such": (404, "There is no such address here."),
    }
    for address, (status, sentence) in wrong.items():
        answer = visitor.client.get(f"/api/v1/{address}")
        assert answer.headers["content-type"] == "application/problem+json", address
        told = answer.json()
        assert (answer.status_code, told["status"]) == (status, status), address
        assert told["detail"].startswith(sentence), (address, told)
        assert told["title"]
        assert told["type"] == "about:blank"


def test_what_stands_before_the_addresses_tells_problems_too(visitor: Visitor) -> None:
    answer = visitor.client.get("/api/v1/today", headers={"host": "evil.example"})
    assert (answer.status_code, answer.json()["status"]) == (421, 421)
    assert answer.headers["content-type"] == "application/problem+json"
    answer = visitor.client.delete("/api/v1/today")
    assert (answer.status_code, answer.json()["status"], answer.headers["allow"]) == (405, 405, "GET")


def test_a_failure_nobody_foresaw_is_one_sentence_without_its_insides(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(on: object) -> None:
        raise ZeroDivisionError("secret insides")

    monkeypatch.setattr("traywarden.web.api.lists.garden_store.places", fails)
    client = TestClient(visitor.client.app, base_url=ADDRESS, raise_server_exceptions=False)
    for address in ("/api/v1/places", "/"):
        answer = client.get(address)
        assert answer.status_code == 500
        assert "secret" not in answer.text
        assert "failed where it should not (ZeroDivisionError)" in answer.text
    assert client.get("/api/v1/places").headers["content-type"] == "application/problem+json"


def test_an_answer_shows_what_was_just_written(visitor: Visitor) -> None:
    before = visitor.client.get("/api/v1/journal").json()
    visitor.send("/write/watered", tray="lettuce")
    after = visitor.client.get("/api/v1/journal").json()
    assert [entry["kind"] for entry in after[len(before) :]] == ["watered"]


def test_the_page_of_it_names_every_address_and_loads_nothing(visitor: Visitor) -> None:
    page = visitor.get("/api")
    for address, methods in document()["paths"].items():
        for method in methods:
            assert f"{method.upper()} {address}<" in page
    assert set(re.findall(r"<script[^>]*src=\"([^\"]+)", page)) <= {"/scripts/live.js"}
    assert visitor.client.get("/api/openapi.json").json() == json.loads(json.dumps(document()))
