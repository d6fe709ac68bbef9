"""Seeds per cell, and what is learnt of a lot, by command."""

import pytest

from tests.cli.conftest import CommandLine
from traywarden.cli import context


@pytest.fixture
def seeded(garden: CommandLine) -> CommandLine:
    garden.ok(
        "lot", "add", "Roma", "--crop", "tomato", "--germination", "85%", "--seeds", "200", "--price", "6"
    )
    return garden


def test_the_answer_comes_first_then_the_table_then_why(seeded: CommandLine) -> None:
    words = seeded.ok(
        "seeds", "Roma", "--plants", "60", "--tray", "A1", "--cell-price", "0.1", "--hour-price", "15"
    )
    assert words.startswith(
        "Of the 200 seeds left of “Roma” sow 2 in each of 72 cells, to stand in “South frame”"
    )
    assert "60+" in words
    assert "◀" in words
    assert words.count("seed in each cell pays if an empty cell costs you more than") == 1
    assert words.index("pays if an empty") < words.index("a cell  cells") < words.index("Why:")
    assert "85 % by the packet, worth 200 seeds of your own: Louisiana Adm. Code" in words
    assert "common practice, without a source" in words
    assert "For 60: cells that give them 90 times in 100." in words


def test_all_of_it_is_in_the_json(seeded: CommandLine) -> None:
    answer = seeded.json(
        "seeds", "Roma", "--cells", "72", "--place", "South frame", "--fill", "90%", "--temp", "25"
    )
    rows, enough = answer["plan"]["rows"], answer["plan"]["for_fill"]
    assert rows[enough - 2]["middle_share"] < 0.9 <= rows[enough - 1]["middle_share"]
    assert answer["warmth_share"] == pytest.approx(97 / 98)
    assert answer["seed_price"] == 0.03
    assert len(answer["plan"]["rows"]) >= 2


def test_a_test_is_written_down_shown_and_taken_back(seeded: CommandLine) -> None:
    words = seeded.ok("lot", "test", "Roma", "--seeds", "50", "--sprouted", "20", "--days", "9")
    assert "Of lot “Roma”, 20 of 50 seeds sprouted (40%)." in words
    shown = seeded.ok("lot", "show", "Roma")
    assert "20 of 50 sprouted in your test (2026-06-10)." in shown
    assert "150 of 200 seeds are left" in shown
    entry = seeded.json("journal", "list")[-1]
    assert entry["says"] == "lot Roma: 20 of 50 sprouted in 9 days"
    assert "30 of 50" in seeded.ok("journal", "correct", str(entry["entry"]), "--sprouted", "30")
    seeded.ok("journal", "undo", str(entry["entry"] + 1))
    assert "20 of 50" in seeded.ok("lot", "show", "Roma")


def test_replicates_too_far_apart_ask_for_another_test(seeded: CommandLine) -> None:
    words = seeded.ok("lot", "test", "Roma", "--replicates", "90/100, 88/100 70/100 91/100")
    assert "differ by 21 of 100, and only 14 is tolerated (7 CFR 201.55): test again." in words
    assert "it counts for less" in seeded.ok("lot", "show", "Roma")
    even = seeded.ok("lot", "test", "Roma", "--replicates", "22/25 23/25 21/25 24/25")
    assert "test again" not in even
    assert "lot Roma: 90 of 100 sprouted (22/25, 23/25, 21/25, 24/25)" in seeded.ok("journal", "list")


def test_age_is_kept_in_the_journal(seeded: CommandLine) -> None:
    assert "was packed on 2022-11-01" in seeded.ok("lot", "packed", "Roma", "--at", "2022-11-01")
    fresh = seeded.json("lot", "show", "Roma")
    assert "3.6 years old" in seeded.ok("lot", "show", "Roma")
    assert fresh["germination"] < 0.80
    assert "packed or harvested" in seeded.ok("journal", "list")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("lot", "test", "Roma"), "how many were laid out"),
        (("lot", "test", "Roma", "--seeds", "5", "--sprouted", "6"), "6 cannot have sprouted"),
        (("lot", "test", "Roma", "--replicates", "5/4"), "A replicate “5/4” cannot be"),
        (("lot", "test", "Roma", "--replicates", "4/5", "--seeds", "5"), "not both"),
        (("seeds", "Roma"), "Say how many plants are wanted"),
        (("seeds", "Roma", "--cells", "72", "--fill", ""), "write it like 95%"),
        (("seeds", "Rema", "--cells", "72"), "did you mean “Roma”"),
    ],
)
def test_what_cannot_be_is_one_sentence(seeded: CommandLine, words: tuple[str, ...], says: str) -> None:
    assert says in seeded.refused(*words)


def test_a_test_in_replicates_cannot_be_corrected_to_another_sum(seeded: CommandLine) -> None:
    seeded.ok("lot", "test", "Roma", "--replicates", "22/25 23/25")
    entry = seeded.json("journal", "list")[-1]["entry"]
    assert "replicates do not add up" in seeded.refused("journal", "correct", str(entry), "--sprouted", "44")


def test_more_plants_than_cells_say_how_many_cells_they_need(seeded: CommandLine) -> None:
    words = seeded.ok("seeds", "Roma", "--plants", "100", "--cells", "72")
    assert "100 plants need more cells." in words
    assert (
        "For 100 plants 90 times in 100 take more cells rather than more seeds in each: 3 in each of" in words
    )


@pytest.mark.parametrize("asked", [("--cells", "128"), (), ("--cells", "128", "--cell-price", "0.1")])
def test_the_table_is_whole_at_eighty_columns(
    seeded: CommandLine, monkeypatch: pytest.MonkeyPatch, asked: tuple[str, ...]
) -> None:
    seeded.ok("lot", "add", "Roma, own seed 2025", "--crop", "tomato", "--seeds", "900", "--price", "12")
    monkeypatch.setattr(context.console, "width", 80)
    words = ("seeds", "Roma, own seed 2025", "--plants", "110", "--hour-price", "15", *asked)
    answer, shown = seeded.json(*words), seeded.ok(*words)
    for row in answer["plan"]["rows"]:
        ends = f"{row['filled_low']}–{row['filled_high']}"
        line = f"{row['per_cell']} {row['cells']} {row['filled_middle']} {ends}"
        assert any(" ".join(shown_line.split()).startswith(line) for shown_line in shown.splitlines()), line


def test_the_gardens_own_trays_are_shown_by_kind_of_place(seeded: CommandLine) -> None:
    seeded.ok("sowed", "A1", "--crop", "lettuce", "--seeds-per-cell", "2", "--at", "9 days ago")
    for days, count, filled in ((5, 0, 0), (3, 120, 66), (1, 122, 67)):
        seeded.ok("emerged", "A1", "--count", str(count), "--filled", str(filled), "--at", f"{days} days ago")
    words = seeded.ok("seeds", "Roma", "--cells", "72", "--place", "South frame", "--temp", "30")
    assert "by 1 tray of other seed" in words
    assert "Seeds of one cell share its luck by" in words
    assert "cold frame" in words
    assert "At that temperature 85 of 100" in words  # 83 against 98 normal seedlings
    mine = seeded.ok("seeds", "lettuce", "--cells", "72", "--place", "South frame")
    assert "by 1 tray of other seed" in mine


def test_temperatures_are_in_the_degrees_that_are_displayed(seeded: CommandLine) -> None:
    (seeded.home / "settings.toml").write_text('[display]\ntemperature = "F"\n', encoding="utf-8")
    hot = seeded.json("seeds", "lettuce", "--cells", "40", "--temp", "86")
    assert hot["warmth_share"] == pytest.approx(12 / 99)
    assert "122.0 °F is not published" in seeded.refused("seeds", "lettuce", "--cells", "40", "--temp", "122")
