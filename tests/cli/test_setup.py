"""Garden, places and mixes by command."""

import pytest

from tests.cli.conftest import CommandLine
from traywarden.errors import UsageError
from traywarden.services.setting_up import parts_from_text


def test_without_a_garden_a_command_says_how_to_make_one(run: CommandLine) -> None:
    assert "make one with: traywarden garden set" in run.refused("place", "list")


def test_a_garden_is_made_shown_and_changed(run: CommandLine) -> None:
    words = run.ok("garden", "set", "Hill garden", "--time-zone", "Europe/Lisbon", "--latitude", "38.7")
    assert "Garden “Hill garden” in Europe/Lisbon" in words
    assert "traywarden/v1/hill-garden/<probe>/readings" in words
    run.ok("garden", "set", "Hill", "--time-zone", "Europe/Paris")
    shown = run.json("garden", "show")
    assert shown["garden"]["name"] == "Hill"
    assert shown["garden"]["latitude_deg"] == 38.7
    assert shown["garden"]["slug"] == "hill-garden"


def test_an_unknown_time_zone_says_what_is_near(run: CommandLine) -> None:
    assert "did you mean “Europe/Lisbon”?" in run.refused("garden", "set", "G", "--time-zone", "Europe/Lisbo")
    assert "give a name such as Europe/Lisbon." in run.refused("garden", "set", "G", "--time-zone", "qqqq")


def test_places_say_whether_rain_reaches_them(run: CommandLine) -> None:
    run.ok("garden", "set", "G", "--time-zone", "UTC")
    assert "Place “F” is a cold frame; rain is kept off." in run.ok(
        "place", "add", "F", "--kind", "Cold-Frame"
    )
    assert "an open bench; rain is kept off" in run.ok("place", "add", "B", "-k", "open bench", "--covered")
    assert [p["covered"] for p in run.json("place", "list")] == [True, True]
    assert "did you mean “greenhouse”" in run.refused("place", "add", "X", "--kind", "green house")
    assert "already a place called “F”" in run.refused("place", "add", "f", "--kind", "greenhouse")


def test_names_are_printed_as_given_and_never_read_as_markup(run: CommandLine) -> None:
    run.ok("garden", "set", "G", "--time-zone", "UTC")
    assert "“[red]F[/red]”" in run.ok("place", "add", "[red]F[/red]", "--kind", "cold frame")
    assert "[red]F[/red]" in run.ok("place", "list")


def test_a_mix_is_added_and_changed(garden: CommandLine) -> None:
    words = garden.ok(
        "mix", "add", "Rich", "--parts", "compost", "--container-capacity", "0.6", "--dry-line", "0.3"
    )
    assert "Mix “Rich” is 1 compost; it holds 0.6 m³/m³ after draining and is dry at 0.3 m³/m³." in words
    garden.ok("mix", "change", "rich", "--dry-line", "0.25")
    (mix,) = [m for m in garden.json("mix", "list") if m["name"] == "Rich"]
    assert (mix["dry_line_m3_m3"], mix["container_capacity_m3_m3"], mix["parts"]) == (
        0.25,
        0.6,
        {"compost": 1.0},
    )
    assert "did you mean “Seed mix”" in garden.refused("mix", "change", "seedmix", "--dry-line", "0.2")
    assert "Say what is to change" in garden.refused("mix", "change", "Rich")
    assert "cannot be" in garden.refused("mix", "change", "Rich", "--dry-line", "0.7")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("perlite 2, compost 1, coir 1", {"perlite": 2, "compost": 1, "coir": 1}),
        ("2 perlite,1 parts compost", {"perlite": 2, "compost": 1}),
        ("leaf mould: 1.5, sand", {"leaf mould": 1.5, "sand": 1}),
        ("3 parts of coir", {"coir": 3}),
    ],
)
def test_parts_are_read_as_people_write_them(text: str, parts: dict[str, float]) -> None:
    assert parts_from_text(text) == parts


@pytest.mark.parametrize("text", ["", ",", "2", "perlite 2, perlite 1", "perlite 2 coir 1"])
def test_parts_that_cannot_be_read_are_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parts_from_text(text)


def test_empty_lists_say_what_to_do(run: CommandLine) -> None:
    run.ok("garden", "set", "G", "--time-zone", "UTC")
    for noun in ("place", "mix", "tray", "lot"):
        assert f"traywarden {noun} add" in run.ok(noun, "list")
        assert run.json(noun, "list") == []
    assert "traywarden run" in run.ok("probe", "list")
