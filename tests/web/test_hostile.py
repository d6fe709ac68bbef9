"""Names and notes that could break a page are words on every page, and nothing else."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from tests.web.conftest import Visitor
from tests.web.form_client import Reader
from tests.web.hostile import ASKED, MARKS, NAMES, NO_BREAK, NOTE, RIGHT_TO_LEFT, SIGNS, made_hostile

CALLED = (RIGHT_TO_LEFT, SIGNS, NO_BREAK)
SHOWN = {
    "/": CALLED, "/trays": (*CALLED, "0<b class=hostile>"), "/trays/1": (RIGHT_TO_LEFT, NOTE),
    "/places": CALLED,
    "/mixes": (MARKS, SIGNS), "/sowings": CALLED, "/journal": (RIGHT_TO_LEFT, NOTE), "/week": CALLED,
    "/probes": CALLED, "/settings/places": (*CALLED, NOTE), "/settings/trays": CALLED,
    "/settings/mixes": (MARKS, SIGNS, NOTE), "/settings/lots": (MARKS, NO_BREAK, NOTE),
    "/settings/notices": ("<b class=hostile>c</b>",),
}  # fmt: skip
"""What must be read on which pages, to the letter."""
ASKING = (
    "/sowings/batch?tray={}", "/sowings/batch?tray={}&other={}", "/sowings/seeds?what={}&plants={}",
    "/trays/{}",
    "/sowings/plan?crop={}&place={}&day={}", "/sowings/warm?crop={}&place={}",
    "/sowings/batches?crop={}&by={}&start={}",
    "/journal?tray={}&kind={}&page_no={}", "/journal/write?what={}", "/journal/write?what=note&tray={}",
    "/journal/correct?entry={}", "/places/compare?a={}&b={}&from={}&crop={}", "/places/rank?crop={}&month={}",
    "/places/frame?frame={}", "/places/harden?plants={}", "/places/side-by-side?against={}&from={}",
    "/mixes?days={}", "/mixes/compare?a={}&b={}&days={}", "/week?ending={}", "/start?step={}",
    "/charts/{}.html",
    "/charts/tray.html?tray={}", "/settings/{}", "/settings/crops/{}",
    "/weather/file?file={}&zone={}&source={}",
    "/nowhere/{}", "/probes/heads/1?pot_litres={}&dry_grams={}",
)  # fmt: skip
FILES = (".png", ".csv", ".zip", ".ics", ".json")


@pytest.fixture(scope="module")
def visitor(_little_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    home = tmp_path_factory.mktemp("hostile") / "home"
    shutil.copytree(_little_home, home)
    made_hostile(home)
    made = Visitor(home)
    yield made
    made.close()


def test_every_page_and_picture_has_them_as_words(visitor: Visitor) -> None:
    seen, to_do, read = {"/"}, ["/"], {}
    while to_do:
        path = to_do.pop()
        answer = visitor.client.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"].startswith(("text/html", "image/svg")):
            assert "class=hostile>" not in answer.text, path
            assert "49--" not in answer.text, "a name is filled in as a template"
        if answer.headers["content-type"].startswith("text/html"):
            page = Reader.read(answer)
            read[path.partition("?")[0].partition("#")[0]] = page.words
            for href, _ in page.links:
                kind = href.partition("?")[0].partition("#")[0]
                if (
                    kind.startswith("/")
                    and kind not in seen
                    and not kind.endswith(FILES)
                    and "/crops/" not in kind
                ):
                    seen.add(kind)
                    to_do.append(href)
    for path, wanted in SHOWN.items():
        for words in wanted:
            assert " ".join(words.split()) in read[path], f"{words[:40]} on {path}"


@pytest.mark.parametrize("address", ASKING)
def test_what_an_address_asks_comes_back_as_words(visitor: Visitor, address: str) -> None:
    for words in (ASKED, *NAMES, "9" * 400, "\x00"):
        answer = visitor.client.get(address.replace("{}", quote(words, safe="")))
        assert answer.status_code < 500, words
        assert "class=hostile>" not in answer.text
