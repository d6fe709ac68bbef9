"""Cells become numbers only when they are numbers."""

import math

import pytest

from traywarden.services.cells import CellReader


@pytest.mark.parametrize(
    ("reader", "cell", "value"),
    [
        (CellReader(), "12.5", 12.5),
        (CellReader(), " -0 ", 0.0),
        (CellReader(), "1e-3", 0.001),
        (CellReader(decimal=","), "12,5", 12.5),
        (CellReader(decimal=","), "7", 7.0),
        (CellReader(thousands=","), "1,234.5", 1234.5),
        (CellReader(decimal=",", thousands="."), "1.234,5", 1234.5),
        (CellReader(thousands=","), "999.25", 999.25),
    ],
)
def test_numbers_read(reader: CellReader, cell: str, value: float) -> None:
    values, bad = reader.read([cell])
    assert (values.tolist(), bad) == ([value], [])


@pytest.mark.parametrize(
    ("reader", "cell"),
    [
        (CellReader(), "12,5"),
        (CellReader(), "1_0"),
        (CellReader(), "inf"),
        (CellReader(), "nan"),
        (CellReader(), "1e999"),
        (CellReader(), "#N/A"),
        (CellReader(), "12.5 °C"),
        (CellReader(decimal=","), "12.5"),
        (CellReader(thousands=","), "1,5"),
        (CellReader(thousands=","), "12,34,567"),
    ],
)
def test_what_is_no_number_is_told_and_is_missing(reader: CellReader, cell: str) -> None:
    values, bad = reader.read(["1", cell, "3"])
    assert bad == [1]
    assert math.isnan(values[1])
    assert values[[0, 2]].tolist() == [1.0, 3.0]


@pytest.mark.parametrize("cell", ["-6999", "-6999.00", " -6999 ", "NA", ""])
def test_a_sentinel_is_missing_whatever_its_digits_and_is_no_fault(cell: str) -> None:
    values, bad = CellReader(missing=("-6999", "NA", "")).read([cell, "2"])
    assert bad == []
    assert math.isnan(values[0])
    assert values[1] == 2.0
