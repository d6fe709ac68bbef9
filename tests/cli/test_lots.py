"""Lots of seed by command."""

import pytest

from tests.cli.conftest import CommandLine
from traywarden.errors import UsageError
from traywarden.services.fractions import fraction_from_text


def test_a_lot_is_added_and_listed(garden: CommandLine) -> None:
    words = garden.ok(
        "lot", "add", "Roma 2025", "--crop", "tomatoes", "--germination", "85%", "--tested", "--seeds", "50"
    )
    assert "Lot “Roma 2025” is Tomato: germination 85 % tested, 50 seeds." in words
    (lot,) = garden.json("lot", "list")
    assert (lot["crop"], lot["germination"], lot["tested"], lot["price"]) == ("tomato", 0.85, True, None)
    assert "Roma 2025" in garden.ok("lot", "list")


def test_a_lot_needs_a_known_crop_and_a_test_its_result(garden: CommandLine) -> None:
    assert "did you mean “Lettuce”" in garden.refused("lot", "add", "X", "--crop", "letuce")
    assert "A tested lot needs the result" in garden.refused(
        "lot", "add", "X", "--crop", "lettuce", "--tested"
    )


@pytest.mark.parametrize(
    ("text", "share"), [("85%", 0.85), ("85", 0.85), ("0.85", 0.85), ("0.5%", 0.005), ("", None)]
)
def test_germination_is_read_as_people_write_it(text: str, share: float | None) -> None:
    assert fraction_from_text(text) == share


@pytest.mark.parametrize("text", ["120%", "-3", "most", "nan"])
def test_a_germination_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="write it like 85%"):
        fraction_from_text(text)
