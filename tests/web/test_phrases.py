"""Pages say where a thing is done on a page; words of the command line do not stand on them."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.services.little_garden import little_garden
from tests.web.conftest import Visitor
from traywarden.settings import BY_KEY
from traywarden.store import garden
from traywarden.web.phrases import PHRASES, in_plain_words, on_a_page

SERVICES = Path(__file__).parents[2] / "host" / "traywarden" / "services"
ON_PAGES = [
    *sorted((SERVICES / "questions").glob("*.py")),
    *(
        SERVICES / f"{name}.py"
        for name in ("accepting", "batches", "calibrating", "journal", "journal_changes", "lots")
    ),
    *(SERVICES / f"{name}.py" for name in ("password", "position", "soil_years")),
    *sorted((SERVICES.parent / "settings").glob("*.py")),
]
COMMAND = re.compile(r"traywarden [a-z]|(?<![\w-])--[a-z]")


def _sentences(path: Path) -> Iterator[str]:
    """Every text of a module that is not a docstring; what is filled in stands as 7."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    apart: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            apart.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            apart |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in apart:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(p.value) if isinstance(p, ast.Constant) else "7" for p in node.values)


KEY = re.compile("|".join(rf"(?<![\\w.]){re.escape(key)}(?!\\w)" for key in BY_KEY))
ADVICE = [
    (path.stem, text)
    for path in ON_PAGES
    for text in _sentences(path)
    if COMMAND.search(text) or (KEY.search(text) and not KEY.fullmatch(text))
]


@pytest.mark.parametrize(("module", "text"), ADVICE)
def test_no_advice_stands_on_a_page_in_words_of_the_command_line(module: str, text: str) -> None:
    assert not COMMAND.search(in_plain_words(text)), module
    assert not KEY.search(in_plain_words(text)), module


def test_every_phrase_is_said_somewhere() -> None:
    said = "\n".join(text for _, text in ADVICE)
    assert [phrase.said for phrase in PHRASES if not re.search(phrase.said, said)] == []


def test_every_link_of_a_phrase_leads_to_a_page(visitor: Visitor) -> None:
    for phrase in PHRASES:
        if phrase.path and "\\" not in phrase.path:
            visitor.get(phrase.path)


def test_advice_links_to_where_it_is_followed_and_its_sentence_stays_whole() -> None:
    said = 'There is no tray yet; add one with: traywarden tray add A1 --mix "Seed mix" --place "Open bench"'
    assert on_a_page(said) == 'There is no tray yet; <a href="/start">add one</a>'
    said = "how many is not written down; add it with: traywarden journal correct 41 --seeds-per-cell …"
    assert on_a_page(said).endswith('add it <a href="/journal/correct?entry=41">in the journal</a>')


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("2026-11-20 to 2026-11-27: warm", "20 to 27 November 2026: warm"),
        ("from 2026-03-28 to 2026-04-03.", "from 28 March to 3 April 2026."),
        ("2025-12-28 to 2026-01-03", "28 December 2025 to 3 January 2026"),
        ("on 2026-11-07 only 3", "on 7 November 2026 only 3"),
        ("write it like 2027-05-15", "write it like 2027-05-15"),
        ("as in A1@2026-03-20", "as in A1@2026-03-20"),
        ("2026-03-01 08:00 is past", "2026-03-01 08:00 is past"),
        ("2026-13-01 to 2026-13-40", "2026-13-01 to 2026-13-40"),
        ("week-2026-03-15-ab", "week-2026-03-15-ab"),
    ],
)
def test_days_are_said_as_people_say_them(said: str, shown: str) -> None:
    assert in_plain_words(said) == shown


def test_other_words_are_escaped_and_stay() -> None:
    said = "<b>bold</b> & no head is in it; place one with “traywarden probe place”"
    assert on_a_page(said).startswith("&lt;b&gt;bold&lt;/b&gt; &amp; no head is in it; <a href=")
    assert in_plain_words(said) == "<b>bold</b> & no head is in it; place one"


@pytest.mark.parametrize("path", ["/", "/trays", "/places", "/mixes", "/sowings", "/week"])
def test_a_garden_without_readings_says_what_to_do_next(tmp_path: Path, path: str) -> None:
    little_garden(tmp_path, with_readings=False).store.close()
    visitor = Visitor(tmp_path)
    text = visitor.get(path)
    visitor.close()
    assert not COMMAND.search(re.sub(r"<[^>]+>", "", text))
    assert 'href="/start?step=probe">see what to do with a new probe</a>' in text


def test_advice_about_seeds_is_in_words_of_the_page(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Own", "tomato", germination=0.7, tested=True, seeds=500, price=5.0)
    text = visitor.words("/sowings/seeds?what=Own&plants=40")
    assert "Your time to thin has no price" in text
    assert not COMMAND.search(text)
