"""Batches by command."""

from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine
from traywarden.cli import context


def counted(garden: CommandLine) -> CommandLine:
    garden.ok(
        "tray", "add", "B1", "--mix", "Seed mix", "--place", "Bench", "--cells", "72", "--at", "10 days ago"
    )
    for tray, counts in {"A1": (0, 30, 60, 61, 61), "B1": (0, 8, 43, 44, 44)}.items():
        garden.ok("sowed", tray, "--crop", "lettuce", "--seeds-per-cell", "1", "--at", "9 days ago")
        for days, count in zip((6, 4, 2, 1, 0), counts, strict=True):
            garden.ok(
                "emerged", tray, "--count", str(count), "--filled", str(count), "--at", f"{days} days ago"
            )
    return garden


def test_one_batch_shows_its_curve_and_its_figures(garden: CommandLine) -> None:
    words = counted(garden).ok("batch", "A1")
    assert words.startswith("A1: 61 of 72 seeds came up, 85 % (75 to 91 %).")
    assert "Lettuce, Seed mix, South frame; sown 2026-06-01 15:00." in words
    assert "████████████████████▍···" in words
    assert "from 10 to 90 % of those up  3.3 days" in words


def test_two_batches_are_put_side_by_side(garden: CommandLine) -> None:
    words = counted(garden).ok("batch", "A1", "B1")
    assert words.startswith("More of A1 came up than of B1: 61 of 72 against 44 of 72")
    assert "place: South frame against Bench" in words
    assert "about these two trays" in words


def test_a_batch_is_drawn_into_a_file(garden: CommandLine, tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    counted(garden).ok("batch", "A1", "--picture", str(path))
    assert "days since sowing" in path.read_text(encoding="utf-8")
    assert "end the name in .svg" in garden.refused("batch", "A1", "--picture", str(tmp_path / "a.txt"))


def test_all_of_it_is_in_the_json(garden: CommandLine) -> None:
    answer = counted(garden).json("batch", "A1", "B1")
    assert answer["first"]["metrics"]["uncertainty_bits"] > 0
    assert answer["comparison"]["timing"]["log_rank"]["p_value"] < 0.05
    assert answer["second"]["filled_cells"] == 44


def test_batches_lists_them_and_holds_groups_against_each_other(garden: CommandLine) -> None:
    words = counted(garden).ok("batches", "--by", "place")
    assert "Bench against South frame: 24 of 100 seeds fewer (1 against 1 tray: one tray on a side" in words
    assert "B1" in words
    (pair,) = garden.json("batches", "--by", "place")["pairs"]
    assert pair["pct"]["p_value"] is None


def test_cells_filled_must_fit_the_seedlings_and_the_tray(garden: CommandLine) -> None:
    counted(garden)
    assert "cannot fill 70 cells" in garden.refused("emerged", "A1", "--count", "62", "--filled", "70")
    assert "72 cells; 80 cannot" in garden.refused("emerged", "A1", "--filled", "80")


def test_a_count_is_corrected_with_its_cells(garden: CommandLine) -> None:
    counted(garden)
    entry = garden.json("journal", "list", "--tray", "A1")[-1]["entry"]
    assert "61 seedlings up, 59 cells filled" in garden.ok("journal", "correct", str(entry), "--filled", "59")


def test_nothing_counted_is_one_helpful_sentence(garden: CommandLine) -> None:
    assert "Nothing was sown in tray “A1”" in garden.refused("batch", "A1", code=9)
    assert "traywarden emerged TRAY --count 0" in garden.refused("batches", code=9)


def test_trays_of_two_places_are_compared_tray_by_tray(garden: CommandLine) -> None:
    counted(garden)
    for tray, place, counts in (("A2", "South frame", (0, 66, 66)), ("B2", "Bench", (0, 40, 40))):
        garden.ok(
            "tray", "add", tray, "--mix", "Seed mix", "--place", place, "--cells", "72", "--at", "10 days ago"
        )
        garden.ok("sowed", tray, "--crop", "lettuce", "--seeds-per-cell", "1", "--at", "9 days ago")
        for days, count in zip((6, 2, 1), counts, strict=True):
            garden.ok("emerged", tray, "--count", str(count), "--at", f"{days} days ago")
    garden.ok("sowed", "A2", "--crop", "tomato", "--seeds-per-cell", "1", "--at", "5 h ago")
    garden.ok("emerged", "A2", "--count", "0")
    words = garden.ok("batches", "--by", "place", "--crop", "lettuce")
    assert "Bench against South frame: 30 of 100 seeds fewer (" in words
    assert "2 against 2 trays), " in words
    assert "chance" in words
    everything = garden.ok("batches", "--by", "place")
    assert "Several crops are mixed here" in everything


def test_two_batches_that_cannot_be_told_apart_say_so(garden: CommandLine) -> None:
    garden.ok(
        "tray", "add", "B1", "--mix", "Seed mix", "--place", "Bench", "--cells", "72", "--at", "10 days ago"
    )
    for tray, counts in {"A1": (0, 9), "B1": (2, 7)}.items():
        garden.ok(
            "sowed", tray, "--crop", "lettuce", "--cells", "10", "--seeds-per-cell", "1", "--at", "9 days ago"
        )
        for days, count in zip((5, 2), counts, strict=True):
            garden.ok("emerged", tray, "--count", str(count), "--at", f"{days} days ago")
    words = garden.ok("batch", "A1", "B1")
    assert "Whether more of A1 or of B1 came up cannot be told: 9 of 10 against 7 of 10" in words
    assert "Both: the last count still brought new seedlings" in words


def test_what_one_late_count_leaves_open_is_not_given_in_days(garden: CommandLine) -> None:
    garden.ok("sowed", "A1", "--crop", "lettuce", "--seeds-per-cell", "1", "--at", "9 days ago")
    garden.ok("emerged", "A1", "--count", "40", "--at", "1 h ago")
    words = garden.ok("batch", "A1")
    assert "40 of 72 seeds up so far" in words
    assert "All of them were up at the first count, 9 days after sowing; nobody had counted before." in words
    assert "It was counted once only: count every day or two" in words
    for useless in ("standard deviation", "half of those up", "synchrony", "4.5"):
        assert useless not in words
    listed = garden.ok("batches")
    assert "<9.0" in listed
    assert "Not yet counted to the end" in listed


@pytest.mark.parametrize(
    "asked", [("batches",), ("batches", "--by", "lot"), ("batches", "--by", "mix"), ("batch",)]
)
def test_no_word_of_a_table_is_cut_at_eighty_columns(
    garden: CommandLine, monkeypatch: pytest.MonkeyPatch, asked: tuple[str, ...]
) -> None:
    """With names as long as growers give them."""
    monkeypatch.setattr(context.console, "width", 80)
    names = ("Tomato north side 12", "Peppers, south wall 3")
    garden.ok("place", "add", "Frame by the hedge", "--kind", "cold frame")
    garden.ok("mix", "add", "Compost with perlite", "--parts", "compost 2, perlite 1")
    garden.ok("lot", "add", "Roma, own seed 2025", "--crop", "tomato")
    for name in names:
        garden.ok(
            *("tray", "add", name, "--mix", "Compost with perlite", "--place", "Frame by the hedge"),
            *("--cells", "128", "--at", "10 days ago"),
        )
        garden.ok(
            "sowed", name, "--lot", "Roma, own seed 2025", "--seeds-per-cell", "1", "--at", "9 days ago"
        )
        for days, count in zip((6, 4, 2, 1), (0, 30, 110, 118), strict=True):
            garden.ok("emerged", name, "--count", str(count), "--at", f"{days} days ago")
    pair = names if asked == ("batch",) else ()
    lines = garden.ok(*asked, *pair).splitlines()
    table = [line for line in lines if len(line) <= 80 and not line.endswith(".")]
    words = {word for line in table for word in line.split()}
    told = ("118", "(92", "%)") if pair else ("118/128", "92", "86–96", "2026-06-01")
    for word in (*" ".join(names).split(), *told):
        assert word in words
    for by, name in (("lot", "Roma, own seed 2025"), ("mix", "Compost with perlite")):
        assert (by not in asked) or set(name.split()) <= words
