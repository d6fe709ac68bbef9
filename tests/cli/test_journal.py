"""Reading, correcting and undoing the journal by command."""

from tests.cli.conftest import CommandLine


def says(garden: CommandLine, *words: str) -> list[str]:
    return [line["says"] for line in garden.json("journal", "list", *words)]


def test_the_list_shows_what_holds_oldest_first_and_the_newest_of_it(garden: CommandLine) -> None:
    garden.ok("watered", "A1", "--at", "2 days ago")
    garden.ok("rained", "--mm", "3", "--at", "5 days ago")
    assert says(garden) == [
        "tray A1: filled with Seed mix",
        "tray A1: moved to South frame",
        "rained 3 mm",
        "tray A1: watered",
    ]
    assert says(garden, "--limit", "1") == ["tray A1: watered"]
    assert "rained 3 mm" not in says(garden, "--tray", "A1")
    assert "there is “A1”" in garden.refused("journal", "list", "--tray", "A2")
    assert says(garden, "--kind", "watered") == ["tray A1: watered"]
    assert "no kind of entry called “prayed”" in garden.refused("journal", "list", "--kind", "prayed")


def test_a_correction_is_a_new_entry_and_the_old_one_stays_readable(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "tomato", "--cells", "60", "--at", "4 days ago")
    words = garden.ok(
        "journal", "correct", "3", "--cells", "66", "--at", "5 days ago", "--note", "miscounted"
    )
    assert "tray A1: sowed Tomato, 66 cells, 2026-06-05 15:00 (miscounted) (was entry 3). Entry 4" in words
    assert garden.json("tray", "show", "A1")["sown"] == "2026-06-05 15:00"
    lines = {line["entry"]: line for line in garden.json("journal", "list", "--all")}
    assert lines[3]["state"] == "replaced by 4"
    assert lines[3]["data"]["cells"] == 60
    assert (lines[4]["state"], lines[4]["replaces"]) == ("holds", 3)
    assert "replaced by 4" in garden.ok("journal", "list", "--all")


def test_undoing_a_correction_brings_the_original_back(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "tomato")
    garden.ok("journal", "correct", "3", "--crop", "pepper")
    assert garden.json("tray", "show", "A1")["crop"] == "pepper"
    assert "Entry 3 holds again: tray A1: sowed Tomato" in garden.ok("journal", "undo", "4")
    assert garden.json("tray", "show", "A1")["crop"] == "tomato"


def test_undo_takes_an_entry_back_and_undoing_that_brings_it_back(garden: CommandLine) -> None:
    garden.ok("moved", "A1", "--to", "Bench")
    assert "Entry 3 is taken back: tray A1: moved to Bench" in garden.ok("journal", "undo", "3")
    assert garden.json("tray", "show", "A1")["place"]["name"] == "South frame"
    assert "already taken back, by entry 4" in garden.refused("journal", "undo", "3")
    assert "Entry 3 holds again" in garden.ok("journal", "undo", "4")
    assert garden.json("tray", "show", "A1")["place"]["name"] == "Bench"


def test_a_correction_may_not_contradict_what_holds(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "tomato", "--seeds-per-cell", "1", "--at", "4 days ago")
    garden.ok("emerged", "A1", "--count", "20")
    assert "Only 72 seeds" in garden.refused("journal", "correct", "4", "--count", "99")
    assert "write the sowing first" in garden.refused("journal", "correct", "4", "--at", "5 days ago")


def test_what_cannot_be_corrected_is_refused_in_one_sentence(garden: CommandLine) -> None:
    garden.ok("watered", "A1")
    assert "Nothing of entry 3 would change" in garden.refused("journal", "correct", "3")
    assert "(watered) has no count to correct" in garden.refused("journal", "correct", "3", "--count", "4")
    assert "(watered) has no place to correct" in garden.refused("journal", "correct", "3", "--to", "Bench")
    assert "no journal entry 99" in garden.refused("journal", "correct", "99", "--note", "x")
    garden.ok("journal", "correct", "3", "--litres", "2")
    assert "has been replaced by entry 4" in garden.refused("journal", "correct", "3", "--litres", "3")
    garden.ok("journal", "undo", "4")
    assert "traywarden journal undo 5" in garden.refused("journal", "correct", "5", "--note", "x")


def test_a_correction_of_a_correction_replaces_only_the_last(garden: CommandLine) -> None:
    """The first wording must not come back when the second is replaced."""
    garden.ok("watered", "A1", "--litres", "1")
    garden.ok("journal", "correct", "3", "--litres", "2")
    garden.ok("journal", "correct", "4", "--litres", "3", "--from-above")
    assert says(garden, "--limit", "1") == ["tray A1: watered from above, 3 l"]
    assert len(says(garden)) == 3


def test_a_move_is_corrected_to_the_place_it_was(garden: CommandLine) -> None:
    garden.ok("place", "add", "Shade", "--kind", "dappled shade")
    garden.ok("moved", "A1", "--to", "Bench")
    garden.ok("journal", "correct", "3", "--to", "shade")
    assert garden.json("tray", "show", "A1")["place"]["name"] == "Shade"
