"""Another name by command, and back."""

from tests.cli.conftest import CommandLine


def test_a_tray_is_renamed_and_taken_back_by_its_entry(garden: CommandLine) -> None:
    written = garden.json("tray", "rename", "a1", "Tomato 1")
    assert written["says"] == "The tray “A1” is called “Tomato 1” from now on."
    assert [t["tray"]["name"] for t in garden.json("tray", "list")] == ["Tomato 1"]
    garden.ok("journal", "undo", str(written["entries"][0]["entry"]))
    assert [t["tray"]["name"] for t in garden.json("tray", "list")] == ["A1"]


def test_places_mixes_and_lots_are_renamed_too(garden: CommandLine) -> None:
    garden.ok("lot", "add", "Roma", "--crop", "tomato")
    for noun, name in (("place", "Bench"), ("mix", "Seed mix"), ("lot", "Roma")):
        garden.ok(noun, "rename", name, f"{name} 2")
        assert f"{name} 2" in garden.ok(noun, "list")
    assert "did you mean “Bench 2”" in garden.refused("place", "rename", "Bnech 2", "x")
