"""The drawing shows the pins of the table, all of them and no others."""

import re

import pytest

from hardware import wiring
from probe.boards import BOARDS

every_drawing = pytest.mark.parametrize(
    ("name", "heads"),
    [
        ("esp32-c3", 1),
        ("esp32-c3", 2),
        ("esp32-c3-four", 4),
        ("esp32-c3-four", 3),
        ("esp32-s3", 4),
        ("esp32", 4),
    ],
)


@every_drawing
def test_every_pin_in_use_is_drawn_and_no_other(name: str, heads: int) -> None:
    board = BOARDS[name]
    drawn = [int(number) for number in re.findall(r"GPIO(\d+)", wiring.drawing(board, heads))]
    wanted = [wire.gpio for wire in wiring.wires(board, heads)]
    assert drawn == wanted
    assert set(wanted) <= set(board.roles().values())


@every_drawing
def test_the_wires_are_the_tables_roles(name: str, heads: int) -> None:
    board = BOARDS[name]
    roles = board.roles()
    for wire in wiring.wires(board, heads):
        assert roles[wire.role] == wire.gpio
    unused = set(roles) - {wire.role for wire in wiring.wires(board, heads)}
    assert unused <= {f"moisture_{number}" for number in range(heads + 1, 5)}


@every_drawing
def test_what_the_chip_says_as_it_starts_feeds_no_part_that_has_no_power(name: str, heads: int) -> None:
    """A console pin drives high before the firmware runs (ESP32-C3 data sheet, “Pin Overview”: U0TXD)."""
    board = BOARDS[name]
    for wire in wiring.wires(board, heads):
        assert wire.gpio not in board.console or wire.to[0] == "R8"


def test_a_board_is_not_drawn_with_more_heads_than_it_reads() -> None:
    with pytest.raises(ValueError, match="1 to 2 heads"):
        wiring.wires(BOARDS["esp32-c3"], 3)


def test_the_switch_is_drawn_with_its_data_sheets_pins() -> None:
    """NXP 74HC4052 data sheet rev. 10: 13 common, 12 14 15 11 channels, 10 S0, 9 S1; 6, 7, 8 low."""
    svg = wiring.drawing(BOARDS["esp32-c3-four"], 4)
    words = " ".join(re.findall(r">([^<>]+)</tspan>", svg))
    for pin in ("13 X", "10 S0", "9 S1", "X0 12", "X1 14", "X2 15", "X3 11", "ground: 6, 7, 8"):
        assert pin in re.sub(r"\s+", " ", words)
