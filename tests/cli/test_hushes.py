"""`notices hush`, `hushed`, `unhush` on a real store."""

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine
from tests.services.watched_garden import WatchedGarden


@pytest.fixture
def garden(run: CommandLine) -> CommandLine:
    with run.store() as store:
        WatchedGarden(store)
    return run


def test_a_hush_is_kept_listed_and_taken_back(garden: CommandLine) -> None:
    assert "Nothing is hushed." in garden.ok("notices", "hushed")
    said = garden.ok(
        "notices", "hush", "A", "--rule", "dry", "--until", "3 h", "--why", "potting up", "--by", "Ana"
    )
    assert "Tray A, rule dry: nothing is sent until" in said
    assert "traywarden notices unhush 1" in said
    (line,) = garden.json("notices", "hushed")["hushes"]
    assert (line["about"], line["name"], line["rule"], line["who"], line["why"], line["holds"]) == (
        "tray",
        "A",
        "dry",
        "Ana",
        "potting up",
        True,
    )
    for part in ("Tray A, rule dry", "Ana", "potting up"):
        assert part in garden.ok("notices", "hushed")
    assert "is heard of again" in garden.ok("notices", "unhush", "1")
    assert garden.json("notices", "hushed")["hushes"] == []
    (over,) = garden.json("notices", "hushed", "--all")["hushes"]
    assert over["holds"] is False
    assert over["ended"] is not None


def test_places_and_all_can_be_hushed_too(garden: CommandLine) -> None:
    assert garden.json("notices", "hush", "--place", "open bench", "--until", "2 days")["about"] == "place"
    whole = garden.json("notices", "hush", "--all", "--until", "tomorrow morning")
    assert (whole["about"], whole["rule"]) == ("all", "")
    assert whole["who"]  # the account of this computer, where nobody says


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("A", "--until", "someday"), "cannot be read"),
        (("A",), "--until"),
        (("--until", "3 h"), "Say what to hush"),
        (("B", "--until", "3 h"), "no tray called “B”"),
        (("A", "--until", "3 h", "--rule", "drye"), "dry"),
    ],
)
def test_what_cannot_be_hushed_is_said_in_a_sentence(
    garden: CommandLine, words: tuple[str, ...], says: str
) -> None:
    assert says in garden.refused("notices", "hush", *words)
    assert garden.json("notices", "hushed")["hushes"] == []


def test_today_shows_a_hushed_need_last_and_who_hushed_it(
    little: CommandLine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(little, "home", shutil.copytree(little.home, tmp_path / "own"))
    needs = little.json("today")["needs"]
    assert needs[0]["hushed"] is None
    named, rule = needs[0]["tray"], needs[0]["rule"]
    little.ok(
        "notices", "hush", named, "--rule", rule, "--until", "3 h", "--by", "Ana", "--why", "on purpose"
    )
    after = little.json("today")["needs"]
    assert {(n["tray"], n["rule"]) for n in after} == {(n["tray"], n["rule"]) for n in needs}
    assert (after[-1]["tray"], after[-1]["rule"], after[-1]["hushed"]["who"]) == (named, rule, "Ana")
    assert "Hushed until 12:00 by Ana: on purpose (hush 1)." in little.ok("today")


def test_what_notices_were_worth_is_told_as_far_as_it_can_be(garden: CommandLine) -> None:
    assert "No notice of the last 60 days can be judged yet." in garden.ok("notices", "worth")
    answer = garden.json("notices", "worth", "--days", "7")
    assert (answer["days"], answer["lines"], answer["proposals"]) == (7.0, [], [])
