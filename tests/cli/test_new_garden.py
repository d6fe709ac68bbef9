"""Every question asked of a garden that cannot answer yet: one helpful sentence, never a traceback."""

import re
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import NOW_MS, CommandLine
from traywarden.cli import context
from traywarden.cli.main import main

ASKED: tuple[tuple[str, ...], ...] = (
    ("today",),
    ("outlook",),
    ("outlook", "A1"),
    ("backtest",),
    ("moisture",),
    ("moisture", "A1"),
    ("mix", "advice"),
    ("mix", "compare", "Seed mix", "Bark mix"),
    ("places",),
    ("places", "rank", "tomato"),
    ("places", "rank", "tomato", "--month", "1"),
    ("places", "hours", "tomato"),
    ("places", "frame", "South frame"),
    ("places", "harden", "South frame"),
    ("places", "harden", "A1"),
    ("level",),
    ("plan", "tomato", "--place", "Bench", "--plants-out", "2027-05-15"),
    ("plan", "season", "tomato", "basil", "--place", "Bench", "--plants-out", "2027-05-15"),
    ("plan", "warm", "tomato", "--place", "Bench"),
    ("emergence",),
    ("emergence", "A1"),
    ("emergence", "--learned"),
    ("quality",),
    ("forecast", "show"),
    ("weather", "show"),
    ("batch", "A1"),
    ("batches",),
    ("waterings",),
    ("dry-down",),
    ("degree-days", "A1"),
)
HELP = re.compile(r"traywarden [a-z-]+|add --|there is “")


def said(run: CommandLine, words: tuple[str, ...]) -> str:
    answer = run(*words)
    both = answer.out + answer.err
    assert "Traceback" not in both
    assert not (answer.out and answer.err), answer
    assert both.strip(), words
    assert not re.search(r"\bNone\b|\bnan\b|\binf\b|-0\.0\b", both), both
    if answer.code:
        assert len(answer.err.strip().splitlines()) == 1, answer
    return both


@pytest.mark.parametrize("words", ASKED)
def test_before_there_is_a_garden_it_says_how_to_make_one(run: CommandLine, words: tuple[str, ...]) -> None:
    assert "traywarden garden set" in said(run, words)


@pytest.mark.parametrize("words", ASKED)
def test_before_the_first_reading_it_says_what_to_do(garden: CommandLine, words: tuple[str, ...]) -> None:
    told = said(garden, words)
    assert HELP.search(told) or words[:2] == ("plan", "tomato"), told


@pytest.fixture(scope="module")
def _imported(tmp_path_factory: pytest.TempPathFactory, _made_garden: Path) -> Path:
    """The garden after a logger file was read in, and before any of its heads was placed."""
    folder = tmp_path_factory.mktemp("imported")
    shutil.copytree(_made_garden, folder / "home")
    rows = [
        f"2026-06-{day:02} {hour:02}:00,{15 + hour / 4:.1f},70,{14 + hour / 5:.1f},{0.5 - 0.01 * day:.3f}"
        for day in range(1, 11)
        for hour in range(24)
        if (day, hour) < (10, 15)
    ]
    header = "time,air temperature (°C),relative humidity (%),soil temperature (°C),soil moisture (m³/m³)"
    log = folder / "log.csv"
    log.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(context, "now_ms", lambda: NOW_MS)
        assert main(["--home", str(folder / "home"), "import", str(log), "--yes"]) == 0
    return folder / "home"


@pytest.fixture(scope="module")
def _placed(tmp_path_factory: pytest.TempPathFactory, _imported: Path) -> Path:
    """The same with its heads placed and the tray sown."""
    home = tmp_path_factory.mktemp("placed") / "home"
    shutil.copytree(_imported, home)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(context, "now_ms", lambda: NOW_MS)
        for words in (
            ("sowed", "A1", "--crop", "tomato", "--at", "2026-06-02"),
            ("probe", "place", "log/0", "--place", "South frame", "--at", "2026-06-01"),
            ("probe", "place", "log/1", "--tray", "A1", "--at", "2026-06-01"),
        ):
            assert main(["--home", str(home), *words]) == 0
    return home


@pytest.fixture
def imported(run: CommandLine, _imported: Path, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    monkeypatch.setattr(run, "home", _imported)
    return run


@pytest.fixture
def placed(run: CommandLine, _placed: Path, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    monkeypatch.setattr(run, "home", _placed)
    monkeypatch.setattr(context.console, "width", 80)
    return run


@pytest.mark.parametrize("words", ASKED)
def test_with_readings_of_heads_that_have_no_place_it_still_says_what_to_do(
    imported: CommandLine, words: tuple[str, ...]
) -> None:
    said(imported, words)


def test_heads_without_a_place_are_what_it_points_to(imported: CommandLine) -> None:
    for words in (("places",), ("places", "rank", "tomato"), ("places", "hours", "tomato")):
        assert "traywarden probe list" in imported.refused(*words, code=9)
    assert "traywarden probe place" in imported.ok("moisture")
    assert "traywarden probe place" in imported.ok("outlook", "A1")


@pytest.mark.parametrize("words", ASKED)
def test_a_few_days_are_answered_or_refused_in_words(placed: CommandLine, words: tuple[str, ...]) -> None:
    said(placed, words)
