"""Every number on every page is one that the same question's `--json` prints.

The garden is three weeks of an invented one. Pages show its numbers in °C and in °F.
"""

import contextlib
import io
import json
import re
import shlex
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi.routing import APIRoute
from starlette.routing import Match

from tests.web.conftest import Visitor
from tests.web.numbers_answered import Answered
from tests.web.numbers_shown import Names, Shown, shown_on
from tests.web.season_home import season_home
from traywarden.cli import context
from traywarden.cli.main import main
from traywarden.web.app import PAGES
from traywarden.web.charts import CHARTS
from traywarden.web.words import PageWords

NOUNS = ("tray", "place", "mix", "lot")
TODAY = ("today", "outlook", "emergence")
OF_TRAY = ("today", "outlook 'Tray 1'", "emergence 'Tray 1'", "waterings 'Tray 1' --days 7", "tray list",
           "degree-days 'Tray 1'", "journal list --tray 'Tray 1' --limit 100")  # fmt: skip
PLACES = ("places now", "outlook", "compare 'cold frame' 'open bench'")
COMPARE = "compare 'cold frame' 'open bench' --crop tomato"
BATCH = "batch 'Tray 1' 'Tray 8'"
PLAN = "plan crop tomato --place 'cold frame' --plants-out 2026-05-15"
PLAN_ASKED = "crop=Tomato&place=cold+frame&day=2026-05-15"

QUESTIONS: Mapping[str, tuple[str, ...]] = {
    "/": TODAY,
    "/trays": TODAY,
    "/trays?by=water": TODAY,
    "/trays/1": OF_TRAY,
    "/trays/2": tuple(question.replace("Tray 1", "Tray 2") for question in OF_TRAY),
    "/trays/9": tuple(q.replace("Tray 1", "Tray 9") for q in OF_TRAY if not q.startswith("degree")),
    "/places": PLACES,
    "/places/compare?a=2&b=1&crop=tomato": (COMPARE,),
    "/places/side-by-side": ("places compare",),
    "/places/rank?crop=tomato": ("places rank tomato",),
    "/places/frame?frame=2": ("places frame 'cold frame'",),
    "/places/harden?plants=tray-1": ("places harden 'Tray 1'",),
    "/mixes": ("mix list", "mix advice", "dry-down", "mix soaked", "moisture",
               "mix compare 'Heavy mix' 'Middle mix'", "mix compare 'Open mix' 'Heavy mix'",
               "mix compare 'Open mix' 'Middle mix'"),
    "/mixes/compare?a=1&b=3": ("mix compare 'Open mix' 'Heavy mix'",),
    "/sowings": ("emergence",),
    "/sowings/batches": ("batches",),
    "/sowings/batches?by=place": ("batches --by place",),
    "/sowings/batch?tray=Tray+1&other=Tray+8": (BATCH,),
    "/sowings/seeds?what=Roma+2025&plants=60&place=cold+frame": (
        "seeds 'Roma 2025' --plants 60 --place 'cold frame'",),
    f"/sowings/plan?{PLAN_ASKED}": (PLAN,),
    "/sowings/warm?crop=Lettuce&place=open+bench": ("plan warm lettuce --place 'open bench'",),
    "/weather": ("weather show",),
    "/journal": ("journal list --limit 1000",),
    "/journal?tray=2&all=yes": ("journal list --tray 'Tray 2' --all --limit 1000",),
    "/week": ("week",),
    "/notices": ("notices --all --limit 40",),
    "/probes": ("probe list", "quality"),
    "/probes/1": ("probe list", "quality"),
    "/probes/heads/1": ("probe list", "calibrate volts open-bench-1/1"),
    "/settings/places": ("place list",),
    "/settings/trays": ("tray list",),
    "/settings/mixes": ("mix list",),
    "/settings/lots": ("lot list",),
    "/settings/crops": ("crop list",),
    "/settings/crops/tomato": ("crop show tomato",),
    "/charts/tray.html?tray=1&days=3": ("record 'Tray 1' --days 3",),
    "/charts/compare.html?a=2&b=1": (COMPARE,),
    "/charts/place_days.html": ("places compare",),
    "/charts/place_months.html": ("places hours",),
    "/charts/dry_down.html": ("dry-down",),
    "/charts/soaked.html": ("mix soaked",),
    "/charts/batch.html?tray=Tray+1&other=Tray+8": (BATCH,),
    f"/charts/season.html?{PLAN_ASKED}": (PLAN,),
    "/charts/warm.html?crop=Lettuce&place=open+bench": ("plan warm lettuce --place 'open bench'",),
    "/charts/week-compare.html?a=cold+frame&b=open+bench&ending=2026-03-23": (
        "compare 'cold frame' 'open bench' --from 2026-03-17 --to 2026-03-23",),
}  # fmt: skip
"""By page the questions it shows the answers of, as they are typed."""


NO_ANSWER = {
    "/journal/write": "a form",
    "/journal/correct": "a form; its entry is a line of the journal",
    "/start": "forms",
    "/settings": "forms",
    "/sign-in": "a form",
    "/download": "a form",
    "/download/garden.zip": "a file",
    "/week/file.html": "the week's page as a file, from the same answer and the same template",
    "/weather/file": "a file that is not read in yet, as it is written",
    "/sowings/plan.ics": "a file",
    "/scripts-of-charts.js": "a script",
    "/live": "says only that there is news",
}
"""What a page that is asked nothing holds instead of an answer."""
OTHER_DEGREES = ("/", "/trays/1", "/places", "/places/compare?a=2&b=1&crop=tomato", "/week",
                 "/settings/crops/tomato", "/charts/compare.html?a=2&b=1")  # fmt: skip

MOST_MISSED = 0.25
EXCEPTED = {
    r"\b(80|95) %": "how wide a band is, the same in every answer",
    r"(last|over|Last) \d+ days": "what was asked: so many days back",
    r"in 4 trays of 5|of 100\b|from 10 to 90 % of those up|95 times in 100": "how numbers are meant",
    r"up to \d+ MB": "how large a file may be",
    r"^[123] (Dry mix|Drained mix|Write it)": "the steps of calibrating",
}
"""Words around numbers that are none of an answer, and why."""


def untold_on(path: str) -> tuple[str, ...]:
    """Lists of the answers that this page tells in no number: it draws them, or leaves them out."""
    if path.startswith("/charts/"):
        return ()
    return ("path", "hours", "measured", "errors", *(("days",) if path.startswith("/trays/") else ()))


def _derived(part: Any) -> Iterator[tuple[str, float]]:
    """What pages work out from numbers of an answer: a part of a recipe, how far a heat sum has come."""
    if isinstance(part, list):
        for each in part:
            yield from _derived(each)
    elif isinstance(part, dict):
        parts = part.get("parts")
        if isinstance(parts, dict):
            yield from (("of_the_recipe", share / sum(parts.values())) for share in parts.values())
        if part.get("needed_c_days"):
            yield "of_the_heat", part["gathered_c_days"] / part["needed_c_days"]
        if "container_capacity_m3_m3" in part and "dry_line_m3_m3" in part:
            yield "of_capacity", part["dry_line_m3_m3"] / part["container_capacity_m3_m3"]
        for each in part.values():
            yield from _derived(each)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    home = tmp_path_factory.mktemp("season") / "home"
    return home, season_home(home)


class Sides:
    """The pages, and the command line, of one garden at one instant in one unit."""

    def __init__(self, home: Path, now_ms: int, degrees: str) -> None:
        (home / "settings.toml").write_text(f'[display]\ntemperature = "{degrees}"\n')
        self.visitor, self.now_ms = Visitor(home, now_ms, display__temperature=degrees), now_ms
        self._printed: dict[str, Any] = {}
        by_kind = {
            noun: [each.get(noun, each)["name"] for each in self.printed(f"{noun} list")] for noun in NOUNS
        }
        probes = self.printed("probe list")
        heads = [head["head"] for probe in probes for head in probe["heads"]]
        self.names = Names({**by_kind, "probe": [probe["probe"] for probe in probes], "head": heads})

    def printed(self, command: str) -> Any:
        """What the command prints with --json."""
        if command not in self._printed:
            said = io.StringIO()
            with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(said):
                patch.setattr(context, "now_ms", lambda: self.now_ms)
                code = main(["--home", str(self.visitor.home), *shlex.split(command), "--json"])
            assert code == 0, f"{command}: {code}"
            self._printed[command] = json.loads(said.getvalue())
        return self._printed[command]

    def answered(self, path: str) -> Answered:
        answers = [self.printed(command) for command in QUESTIONS[path]]
        now = datetime.fromtimestamp(self.now_ms / 1000, ZoneInfo("Europe/Lisbon"))
        return Answered(answers, self.names, now, _derived(answers), untold_on(path))

    def shown(self, path: str) -> list[Shown]:
        return shown_on(self.visitor.get(path), self.names)


def made_sides(home: tuple[Path, int], folder: Path, degrees: str) -> Sides:
    shutil.copytree(home[0], folder)
    return Sides(folder, home[1], degrees)


@pytest.fixture(scope="module")
def celsius(home: tuple[Path, int], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sides]:
    made = made_sides(home, tmp_path_factory.mktemp("C") / "home", "C")
    yield made
    made.visitor.close()


@pytest.fixture(scope="module")
def fahrenheit(home: tuple[Path, int], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sides]:
    made = made_sides(home, tmp_path_factory.mktemp("F") / "home", "F")
    yield made
    made.visitor.close()


def _excepted(one: Shown) -> bool:
    return any(re.search(pattern, one.where) for pattern in EXCEPTED)


def not_in_the_answers(sides: Sides, path: str) -> list[str]:
    answered = sides.answered(path)
    return [str(one) for one in sides.shown(path) if not answered.has(one) and not _excepted(one)]


@pytest.mark.parametrize("path", QUESTIONS)
def test_every_number_on_a_page_is_in_the_answer_to_its_question(celsius: Sides, path: str) -> None:
    unknown = not_in_the_answers(celsius, path)
    assert not unknown, "\n".join(unknown)


@pytest.mark.parametrize("path", OTHER_DEGREES)
def test_the_same_where_pages_show_degrees_fahrenheit(fahrenheit: Sides, path: str) -> None:
    assert any(one.unit.startswith("°F") or "°F" in one.where for one in fahrenheit.shown(path))
    unknown = not_in_the_answers(fahrenheit, path)
    assert not unknown, "\n".join(unknown)


def test_every_page_is_asked_about_or_shows_no_answer() -> None:
    scopes = [{"type": "http", "method": "GET", "path": path.partition("?")[0]} for path in QUESTIONS]
    for route in (route for module in PAGES for route in module.router.routes):
        if isinstance(route, APIRoute) and "GET" in (route.methods or ()):
            asked = any(route.matches(scope)[0] is Match.FULL for scope in scopes)
            assert asked != (route.path in NO_ANSWER), route.path
    drawn = {
        path.removeprefix("/charts/").partition(".")[0] for path in QUESTIONS if path.startswith("/charts/")
    }
    assert drawn == set(CHARTS)


@pytest.mark.parametrize(
    ("how", "changed", "path"),
    [
        ("temp", lambda usual: lambda w, temp_c, n=1: usual(w, temp_c and temp_c + 0.4, n), "/trays"),
        ("percent", lambda usual: lambda w, pct: usual(w, pct and pct + 3), "/trays"),
        ("ago", lambda usual: lambda w, seconds: usual(w, seconds and seconds + 7_500), "/trays"),
        ("clock", lambda usual: lambda w, at: usual(w, at and at + timedelta(minutes=17)), "/trays/2"),
        ("day", lambda usual: lambda w, at: usual(w, at and at + timedelta(days=40)), "/trays"),
        ("degree_days", lambda usual: lambda w, c_days: usual(w, c_days and c_days * 1.8 + 3), "/trays/1"),
        ("limit", lambda usual: lambda w, temp_c: usual(w, temp_c and temp_c * 1.8 + 32), "/settings/crops"),
        ("number", lambda usual: lambda w, n, *how: usual(w, n and n * 1.1 + 1, *how), "/week"),
    ],
)
def test_a_page_that_says_another_number_is_found(
    celsius: Sides, monkeypatch: pytest.MonkeyPatch, how: str, changed: Any, path: str
) -> None:
    """So that nothing found means nothing wrong: the words of pages are made wrong, one way at a time."""
    monkeypatch.setattr(PageWords, how, changed(getattr(PageWords, how)))
    assert not_in_the_answers(celsius, path)


def test_most_single_numbers_that_are_off_are_found(celsius: Sides) -> None:
    """Each number in turn is off by a little; it may then be another one of the same thing and unit."""
    missed, tried = 0, 0
    for path in QUESTIONS:
        answered = celsius.answered(path)
        for one in celsius.shown(path):
            if one.unit not in ("day", "clock", "span") and not _excepted(one):
                off = abs(one.value) * 1.13 + 3 * 10.0**-one.digits
                tried += 1
                missed += answered.has(replace(one, words=f"{off:.{one.digits}f}"))
    assert tried > 3_000
    assert missed < MOST_MISSED * tried, f"{missed} of {tried}"
