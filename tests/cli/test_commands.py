"""What holds for every command: help with an example, --json, and a page that says the same."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from tests.cli.conftest import CommandLine
from traywarden.cli.app import app
from traywarden.cli.context import emit
from traywarden.cli.main import ALONE, app_for, main

ROOT = Path(__file__).resolve().parents[2]
WITHOUT_JSON = {
    ("run",): "runs until it is told to end and answers nothing",
    ("pages",): "serves until it is told to end and answers nothing",
    ("demo",): "a show for a person to watch",
}


def commands(group: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*path, name))
        else:
            yield (*path, name), command


EVERY = dict(commands(typer.main.get_command(app)))


@pytest.mark.parametrize("path", EVERY, ids=" ".join)
def test_every_command_explains_itself_with_an_example_that_names_it(path: tuple[str, ...]) -> None:
    text = EVERY[path].help or ""
    assert "Example: `traywarden " in text
    example = text.partition("Example: `")[2].partition("`")[0]
    assert " ".join(path) in example


@pytest.mark.parametrize("path", EVERY, ids=" ".join)
def test_every_command_can_answer_in_json(path: tuple[str, ...]) -> None:
    options = {name for parameter in EVERY[path].params for name in parameter.opts}
    assert ("--json" in options) != (path in WITHOUT_JSON)


@pytest.mark.parametrize("name", ALONE)
def test_a_command_loaded_alone_is_the_one_among_all(name: str) -> None:
    alone = dict(commands(typer.main.get_command(app_for(["--home", "/nowhere", name, "--json"]))))
    assert alone[(name,)].callback.__wrapped__ is EVERY[(name,)].callback.__wrapped__
    assert alone.keys() <= EVERY.keys()


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--help"],
        ["--help", "today"],
        ["--home", "here", "-h", "today"],
        ["tray", "list"],
        ["todya"],
        ["--home", "today"],
    ],
)
def test_whatever_is_no_command_of_its_own_finds_all_commands(words: list[str]) -> None:
    assert app_for(words) is app


def test_one_question_does_not_load_what_only_others_need() -> None:
    """What a grower asks most starts in two thirds of the time without it."""
    program = (
        "import sys; from traywarden.cli.main import app_for; app_for(['today']); "
        "print([name for name in ('openpyxl', 'amqtt', 'scipy.stats', 'sqlalchemy.dialects.postgresql', "
        "'traywarden.demo.play') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stdout == "[]\n"


@pytest.mark.parametrize("path", EVERY, ids=" ".join)
def test_every_option_says_what_it_is_for(path: tuple[str, ...]) -> None:
    for parameter in EVERY[path].params:
        assert getattr(parameter, "help", None), parameter.name


def test_help_prints_and_ends_well(run: CommandLine) -> None:
    words = run.ok("watered", "--help")
    assert "Trays were watered." in words
    assert "--from-below" in words


def test_what_nobody_foresaw_is_still_one_sentence_and_a_traceback_only_with_debug(
    garden: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise KeyError("crop")

    monkeypatch.setattr("traywarden.cli.trays.tray_cards", broken)
    told = garden.refused("tray", "list", code=1)
    assert "KeyError: 'crop'" in told
    assert "traywarden --debug" in told
    with pytest.raises(KeyError, match="crop"):
        main(["--debug", "--home", str(garden.home), "tray", "list"])


def test_a_number_that_is_not_known_is_null_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    """NaN and Infinity are not JSON (RFC 8259, section 6); other programs refuse the whole answer."""
    emit({"known": 1.5, "rows": [float("nan"), float("inf")]}, print, as_json=True)
    assert json.loads(capsys.readouterr().out, parse_constant=pytest.fail) == {
        "known": 1.5,
        "rows": [None, None],
    }


def test_a_mistyped_command_or_option_is_one_short_error(run: CommandLine) -> None:
    assert "No such command 'waterd'" in run.refused("waterd", "A1")
    assert "No such option: --kin" in run.refused("place", "add", "X", "--kin", "cold frame")
    assert "Missing option" in run.refused("place", "add", "X")


@pytest.mark.system
def test_the_page_of_commands_is_current() -> None:
    """Run scripts/make-command-page after changing a command."""
    made = subprocess.run(
        [ROOT / "scripts" / "make-command-page", "--print"],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    ).stdout
    assert (ROOT / "docs" / "commands.md").read_text(encoding="utf-8") == made
    for path in EVERY:
        assert f"## {' '.join(path)}\n" in made
