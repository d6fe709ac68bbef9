"""Trays by command."""

from tests.cli.conftest import CommandLine


def test_a_new_tray_is_filled_and_stands_somewhere_from_its_time_on(garden: CommandLine) -> None:
    written = garden.json(
        "tray",
        "add",
        "B2",
        "--mix",
        "seed mix",
        "--place",
        "bench",
        "--litres",
        "4",
        "--at",
        "2026-06-01 08:00",
    )
    assert (
        written["says"] == "Tray “B2” is filled with “Seed mix” and stands in “Bench” since 2026-06-01 08:00."
    )
    assert [(e["kind"], e["at"]) for e in written["entries"]] == [
        ("filled", "2026-06-01 08:00"),
        ("moved", "2026-06-01 08:00"),
    ]


def test_a_tray_with_an_unknown_mix_or_place_is_not_half_made(garden: CommandLine) -> None:
    assert "did you mean “Seed mix”" in garden.refused(
        "tray", "add", "C", "--mix", "sed mix", "--place", "Bench"
    )
    assert "did you mean “Bench”" in garden.refused(
        "tray", "add", "C", "--mix", "Seed mix", "--place", "Bnech"
    )
    assert [t["tray"]["name"] for t in garden.json("tray", "list")] == ["A1"]


def test_a_tray_shows_place_mix_crop_heads_and_its_last_entries(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "tomato", "--at", "3 days ago")
    garden.ok("watered", "A1", "--at", "2 h ago")
    card = garden.json("tray", "show", "a1", "--lines", "1")
    assert (card["place"]["name"], card["mix"]["name"], card["crop_name"]) == (
        "South frame",
        "Seed mix",
        "Tomato",
    )
    assert card["sown"] == "2026-06-07 15:00"
    assert [e["says"] for e in card["journal"]] == ["tray A1: watered"]
    words = garden.ok("tray", "show", "A1")
    for part in (
        "Tray “A1” (72 cells)",
        "South frame (cold frame)",
        "dry at 0.275",
        "Tomato, sown",
        "none; see",
    ):
        assert part in words


def test_a_refill_changes_the_mix_from_then_on(garden: CommandLine) -> None:
    garden.ok("mix", "add", "Rich", "--parts", "compost")
    assert "is filled with “Rich” since 2026-06-09 10:00" in garden.ok(
        "tray", "refill", "A1", "--mix", "rich", "--at", "yesterday 10:00"
    )
    assert garden.json("tray", "show", "A1")["mix"]["name"] == "Rich"
    garden.ok("journal", "undo", "3")
    assert garden.json("tray", "show", "A1")["mix"]["name"] == "Seed mix"


def test_the_list_of_trays_tells_what_grows_where(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "peppers")
    words = garden.ok("tray", "list")
    assert "A1" in words
    assert "Pepper" in words
    assert "no head" in words
