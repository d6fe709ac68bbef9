"""Tables that read well on a narrow terminal: words stay whole, what repeats is said once below."""

import pytest

from traywarden.cli import context
from traywarden.cli.tables import Notes, columns_that_fit, print_table, say

HEADINGS = ("tray", "from", "moisture", "covered", "why")
ROWS = [
    ("Marigold 1", "11 Nov 10:00", "95 → 41", "100 %", ""),
    ("Pepper 1", "14 Nov 20:45", "99 → 41", "42 %", "readings cover too little of the day to say anything"),
]


def lines(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int) -> list[str]:
    monkeypatch.setattr(context.console, "width", width)
    capsys.readouterr()
    print_table(HEADINGS, ROWS, right=("covered",))
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("width", [60, 80, 130])
def test_no_word_is_cut_and_no_line_is_wider_than_the_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    shown = lines(capsys, monkeypatch, width)
    words = " ".join(shown).split()
    assert max(map(len, shown)) <= width
    for cell in (*HEADINGS, *(cell for row in ROWS for cell in row)):
        assert set(cell.split()) <= set(words), cell


def test_where_there_is_room_every_row_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert len(lines(capsys, monkeypatch, 130)) == 1 + len(ROWS)


def test_the_longest_text_gives_way_first_and_short_cells_stay_on_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = lines(capsys, monkeypatch, 72)
    assert any("Marigold 1  11 Nov 10:00" in line for line in shown)
    assert any("14 Nov 20:45" in line for line in shown)


def test_numbers_stand_right(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    shown = lines(capsys, monkeypatch, 130)
    ends = [line.index(cell) + len(cell) for line, cell in zip(shown[1:], ("100 %", "42 %"), strict=True)]
    assert ends[0] == ends[1]


def test_a_terminal_too_narrow_for_whole_words_still_shows_every_letter() -> None:
    widths = columns_that_fit([30, 40], [[20, 20]], 24)
    assert sum(widths) + 2 == 24


def test_short_names_break_between_words_before_any_word_is_cut(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(context.console, "width", 40)
    capsys.readouterr()
    print_table(("place", "mix", "head"), [("Dappled shade", "Wet-cold mix", "02a1f0fffe4b0001/1")])
    shown = capsys.readouterr().out
    assert {"Dappled", "shade", "Wet-cold", "mix", "02a1f0fffe4b0001/1"} <= set(shown.split())
    assert max(map(len, shown.splitlines())) <= 40


def test_a_remark_that_repeats_is_said_once_below(capsys: pytest.CaptureFixture[str]) -> None:
    notes = Notes()
    marks = [notes.mark(text) for text in ("too short", "", "too short", "held")]
    assert marks == ["¹", "", "¹", "²"]
    capsys.readouterr()
    notes.say()
    assert capsys.readouterr().out == "¹ Too short.\n² Held.\n"
    assert Notes().mark("a") == "¹"
    assert [notes.mark(f"{n}") for n in range(9)][-1] == "¹¹"


def test_prose_is_wrapped_at_words_on_a_terminal_and_commands_never_are(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(context.console, "width", 30)
    command = 'Make one with: traywarden garden set "My garden" --time-zone Europe/Lisbon'
    prose = "   Moisture is below the dry line of House mix."
    say(prose)
    assert capsys.readouterr().out == f"{prose}\n"  # into a file or another program: one line
    monkeypatch.setattr(type(context.console), "is_terminal", True)
    say(prose)
    say(command)
    assert capsys.readouterr().out.splitlines() == [
        "   Moisture is below the dry",
        "   line of House mix.",
        command,
    ]


def test_spare_columns_go_first_where_cells_would_have_to_be_broken(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [("Tomato north 12", "House mix with grit", "Frame by the hedge", "2026-03-01")]
    for width, left_out in ((80, set()), (50, {"mix"}), (30, {"mix", "place"})):
        monkeypatch.setattr(context.console, "width", width)
        print_table(("tray", "mix", "place", "sown"), rows, spare=("mix", "place"))
        out = capsys.readouterr().out
        assert {name for name in ("tray", "mix", "place", "sown") if name not in out} == left_out
        assert "2026-03-01" in out
        assert "Tomato north 12" in out
