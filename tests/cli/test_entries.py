"""What was done and seen, by command."""

import pytest

from tests.cli.conftest import CommandLine


def test_a_sowing_says_what_stands_and_how_to_take_it_back(garden: CommandLine) -> None:
    words = garden.ok("sowed", "A1", "--crop", "Tomatoes", "--seeds-per-cell", "2", "--at", "yesterday 18:00")
    assert words == (
        "Tomato is sown in tray “A1” since 2026-06-09 18:00. "
        "Entry 3; to take back: traywarden journal undo 3.\n"
    )
    (line,) = garden.json("journal", "list", "--limit", "1")
    assert line["data"] == {"crop": "tomato", "cells": 72, "seeds_per_cell": 2.0}


def test_a_sowing_from_a_lot_takes_the_lots_crop(garden: CommandLine) -> None:
    garden.ok("lot", "add", "Roma 2025", "--crop", "tomato", "--germination", "85%")
    (entry,) = garden.json("sowed", "A1", "--lot", "roma 2025", "--depth-mm", "6")["entries"]
    assert (entry["lot"], entry["data"]["crop"]) == ("Roma 2025", "tomato")
    assert entry["says"] == "tray A1: sowed Tomato (lot Roma 2025), 72 cells, 6 mm deep"
    assert "is tomato, not pepper" in garden.refused("sowed", "A1", "--lot", "Roma 2025", "--crop", "pepper")


def test_a_sowing_needs_a_crop_that_is_known_and_cells_that_are_there(garden: CommandLine) -> None:
    assert "--crop tomato, or --lot" in garden.refused("sowed", "A1")
    assert "did you mean “Tomato”" in garden.refused("sowed", "A1", "--crop", "tomatto")
    assert "did you mean “A1”" in garden.refused("sowed", "A11", "--crop", "tomato")
    assert "has 72 cells; 80 cannot be sown" in garden.refused(
        "sowed", "A1", "--crop", "pea", "--cells", "80"
    )
    assert "cannot be; give 0 to 500" in garden.refused("sowed", "A1", "--crop", "pea", "--depth-mm", "-1")


def test_several_trays_are_watered_at_once_each_with_its_entry(garden: CommandLine) -> None:
    garden.ok("tray", "add", "A2", "--mix", "Seed mix", "--place", "Bench")
    written = garden.json("watered", "A1", "a2", "A1", "--from-below", "--litres", "0.5", "--at", "2 h ago")
    assert written["says"] == "Trays “A1”, “A2” were watered at 2026-06-10 13:00."
    assert [(e["tray"], e["data"]) for e in written["entries"]] == [
        ("A1", {"how": "below", "litres": 0.5}),
        ("A2", {"how": "below", "litres": 0.5}),
    ]


def test_one_unknown_tray_among_several_writes_nothing(garden: CommandLine) -> None:
    before = len(garden.json("journal", "list"))
    garden.refused("watered", "A1", "Z9")
    assert len(garden.json("journal", "list")) == before


def test_a_move_says_where_the_tray_stands_and_a_second_one_is_refused(garden: CommandLine) -> None:
    assert "Tray “A1” stands in “Bench” since 2026-06-10 15:00." in garden.ok("moved", "A1", "--to", "bench")
    assert "already stands in “Bench”" in garden.refused("moved", "A1", "--to", "Bench")
    assert garden.json("tray", "show", "A1")["place"]["name"] == "Bench"


@pytest.mark.parametrize("command", ["emerged", "potted-up", "planted-out"])
def test_seedlings_need_a_sowing(garden: CommandLine, command: str) -> None:
    assert "write the sowing first" in garden.refused(command, "A1", "--count", "3")
    garden.ok("sowed", "A1", "--crop", "tomato", "--seeds-per-cell", "1", "--at", "2 days ago")
    assert "write the sowing first" in garden.refused(command, "A1", "--at", "3 days ago")
    assert "Only 72 seeds were sown" in garden.refused(command, "A1", "--count", "73")
    assert garden.ok(command, "A1", "--count", "72")


def test_a_tray_planted_out_is_free_again(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "tomato", "--at", "2 days ago")
    garden.ok("emerged", "A1", "--count", "30", "--at", "1 day ago")
    assert garden.json("tray", "show", "A1")["emerged"] == "2026-06-09 15:00"
    garden.ok("planted-out", "A1", "--count", "28", "--note", "bed 4")
    assert garden.json("tray", "show", "A1")["crop"] is None


def test_venting_rain_weight_and_notes(garden: CommandLine) -> None:
    assert "“South frame” was vented at 2026-06-10 10:30." in garden.ok(
        "vented", "south frame", "--at", "10:30"
    )
    assert "It rained 6 mm at 2026-06-09 16:00." in garden.ok(
        "rained", "--mm", "6", "--at", "yesterday 16:00"
    )
    assert "put level" in garden.ok("levelled", "A1", "--at", "8:00")
    assert "weighed (5200 g)" in garden.ok("weighed", "A1", "--grams", "5200")
    garden.ok("note", "A1", "slugs on the north edge")
    assert garden.json("journal", "list", "--limit", "1")[0]["note"] == "slugs on the north edge"
    assert "needs words" in garden.refused("note", "A1", " ")


def test_rain_and_depth_are_shown_in_inches_where_the_settings_say_so(garden: CommandLine) -> None:
    (garden.home / "settings.toml").write_text('[display]\nlength = "in"\n', encoding="utf-8")
    assert "It rained 1.00 in" in garden.ok("rained", "--mm", "25.4")


def test_a_time_to_come_a_skipped_one_and_an_unreadable_one_are_refused(garden: CommandLine) -> None:
    assert "still to come" in garden.refused("watered", "A1", "--at", "today 18:00")
    assert "clocks jumped over it" in garden.refused("watered", "A1", "--at", "2026-03-29 01:30")
    assert "write it like" in garden.refused("watered", "A1", "--at", "soonish")


def test_a_clock_time_that_came_twice_is_taken_as_the_first_with_one_sentence(garden: CommandLine) -> None:
    words = garden.ok("watered", "A1", "--at", "2025-10-26 01:30")
    assert "came twice on 2025-10-26; the first is meant" in words
    assert (
        garden.json("watered", "A1", "--at", "2025-10-26 01:30")["entries"][0]["at"]
        == "2025-10-26 01:30+0100"
    )


def test_a_number_that_cannot_be_read_is_told_in_plain_words(garden: CommandLine) -> None:
    assert "not a number; write it like 0.5" in garden.refused("watered", "A1", "--litres", "0,5")
    assert "not a whole number" in garden.refused("emerged", "A1", "--count", "many")
    assert "give at least 0" in garden.refused("emerged", "A1", "--count", "-3")
