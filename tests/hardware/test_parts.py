"""The parts list adds up, and is that of the drawings and of the pin table."""

import re

import pytest
from hardware.parts import Part, parts, table, total_usd

from hardware import wiring
from probe.boards import BOARDS

LETTERS = re.compile(r"\b([BCDMQRSTU]\d+)\b")


def on_drawing(board: str, heads: int) -> set[str]:
    """Every part named on a drawing; T1–T4 stands for all four."""
    svg = wiring.drawing(BOARDS[board], heads)
    found = set(
        LETTERS.findall(
            re.sub(r"T1–T(\d)", lambda m: " ".join(f"T{n}" for n in range(1, int(m[1]) + 1)), svg)
        )
    )
    return found - {"S0", "S1"} | ({"S1"} if "SHT40" in svg else set())


def test_totals_are_quantity_times_cost() -> None:
    listed = [Part(("R1",), "a", "b", 2, 3, 0.50, ""), Part((), "c", "d", 0, 1, 1.25, "")]
    assert total_usd(listed, 1) == pytest.approx(1.00)
    assert total_usd(listed, 4) == pytest.approx(2.75)
    with pytest.raises(ValueError, match="1 and 4"):
        total_usd(listed, 2)


def test_a_probe_stays_cheap() -> None:
    assert total_usd(parts(), 1) < 25
    assert total_usd(parts(), 4) < 40


@pytest.mark.parametrize(("board", "heads"), [("esp32-c3", 1), ("esp32-c3-four", 4)])
def test_the_drawing_shows_the_listed_parts_and_no_others(board: str, heads: int) -> None:
    listed = set()
    for part in parts():
        count = part.one_head if heads == 1 else part.four_heads
        listed |= set(part.refs[:count])
    assert on_drawing(board, heads) == listed - {"H1"}  # the holder is drawn as its cell


def test_the_values_are_those_of_the_pin_table() -> None:
    board = BOARDS["esp32-c3"]
    numbers = {ref: part.generic_number for part in parts() for ref in part.refs}
    assert numbers["R1"] == wiring.ohms(board.one_wire_pull_up_ohm) == "4.7 kΩ"
    assert (numbers["R2"], numbers["R3"]) == tuple(wiring.ohms(ohm) for ohm in board.battery_divider_ohm)
    assert (numbers["R4"], numbers["R5"]) == tuple(wiring.ohms(ohm) for ohm in board.moisture_divider_ohm)


def test_values_on_the_drawing_are_those_of_the_list() -> None:
    numbers = {ref: part.generic_number for part in parts() for ref in part.refs}
    svg = wiring.drawing(BOARDS["esp32-c3-four"], 4)
    for ref in ("R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8", "C1", "C2", "C3", "C4", "C5"):
        value = " ".join(numbers[ref].split()[:2])
        assert re.search(rf"{ref}(</tspan><tspan[^>]*>|\s+){re.escape(value)}", svg), (ref, value)


def test_the_table_ends_in_its_totals() -> None:
    assert f"**{total_usd(parts(), 1):.2f}** | **{total_usd(parts(), 4):.2f}**" in table(parts())
