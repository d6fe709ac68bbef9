"""Answers on eighty columns: no word and no date is broken, and numbers are those of the JSON."""

import re

import pytest

from tests.cli.conftest import CommandLine
from traywarden.cli import context

WEEKDAY = r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b"
ASKED: tuple[tuple[str, ...], ...] = (
    ("today",),
    ("outlook",),
    ("outlook", "peppers"),
    ("backtest",),
    ("moisture",),
    ("moisture", "lettuce"),
    ("mix", "advice"),
    ("mix", "compare", "Peat mix", "Bark mix"),
    ("places",),
    ("places", "rank", "tomato"),
    ("places", "hours"),
    ("places", "frame", "Cold frame"),
    ("places", "harden", "tomatoes"),
    ("plan", "tomato", "--place", "Cold frame", "--plants-out", "2027-05-15"),
    ("emergence",),
    ("emergence", "lettuce"),
    ("emergence", "--learned"),
    ("quality",),
    ("waterings",),
)


@pytest.fixture
def narrow(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    monkeypatch.setattr(context.console, "width", 80)
    return little


@pytest.mark.parametrize("words", ASKED)
def test_no_word_and_no_date_is_broken(
    narrow: CommandLine, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every word also stands in the wide answer, and behind a weekday there is its day or hour."""
    out = narrow.ok(*words)
    monkeypatch.setattr(context.console, "width", 200)
    wide = set(narrow.ok(*words).split())
    assert {word for word in out.split() if not set(word) & set("▒░█─·├▕")} <= wide
    assert not re.findall(rf"{WEEKDAY}(?!,)[^\d\n]*\n|{WEEKDAY} [A-Z]", out), out
    assert not re.search(r"\bNone\b|\bnan\b|-0\.0\b|(?<![\d.])-0 ", out), out


def test_the_times_of_the_outlook_are_those_of_the_json(narrow: CommandLine) -> None:
    out = narrow.ok("outlook")
    for tray in narrow.json("outlook")["trays"]:
        row = next(line for line in out.splitlines() if line.startswith(tray["tray"]))
        assert f"{tray['moisture_pct']:.0f}" in row.split()
        if tray["state"] == "dry":
            assert "now: water it" in row
        elif tray["in_s"] < 86_400:
            assert re.search(r"\b\d\d:[03]0\b", row)


def test_what_rests_on_the_same_is_said_once(narrow: CommandLine) -> None:
    out = narrow.ok("outlook")
    assert out.count("rests on its present drying") == 1
    assert out.count("are taken to be like the last three") == 1
