"""Transplant ages and planting temperatures, value by value as the sources print them."""

import csv
import re

import pytest

from tests.shared_data import reference_file
from traywarden.domain.units import f_from_c
from traywarden.store.crops import crop_named, load_crops
from traywarden.store.raising import load_planting_temperatures, load_raising

CALLED = {"melon": "muskmelon", "summer squash": "squash", "watermelon; seedless": "watermelon"}


def page() -> str:
    return reference_file("heat_and_frost.md").read_text(encoding="utf-8")


def span(text: str) -> tuple[float, float]:
    low, high = re.fullmatch(r"(\d+)–(\d+)", text.split(";", maxsplit=1)[0].strip()).groups()  # type: ignore[union-attr]
    return float(low), float(high)


@pytest.mark.data
def test_every_row_of_table_a_4_is_there_and_is_preferred() -> None:
    section = page().split("Table A-4")[1].split("Other lists")[0]
    rows = [
        [cell.strip() for cell in line.strip("| ").split("|")]
        for line in section.splitlines()
        if line.startswith("| ") and "crop" not in line
    ]
    assert len(rows) == 12
    for crop, germination, _, _, weeks in rows:
        found = load_raising()[CALLED.get(crop, crop)][0]
        assert (found.weeks_low, found.weeks_high) == span(weeks), crop
        low, high = (f_from_c(t) for t in (found.germination_low_c, found.germination_high_c))
        assert (low, high) == pytest.approx(span(germination)), crop
        assert "Table A-4" in found.source


@pytest.mark.data
def test_every_row_of_the_flower_and_herb_weeks_is_there() -> None:
    with reference_file("flowers_herbs_germination.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    checked = 0
    for row in rows:
        names = ("squash", "pumpkin") if row["crop"] == "Squash and pumpkin" else (row["crop"],)
        for name in names:
            year = "2023" if "(2023)" in row["source"] else "2017"
            (found,) = [
                each
                for each in load_raising()[crop_named(name).key]
                if each.source == f"Iowa State University Extension {year}"
            ]
            assert (found.weeks_low, found.weeks_high) == (
                float(row["weeks_sow_to_plant_low"]),
                float(row["weeks_sow_to_plant_high"]),
            ), name
            checked += 1
    assert checked == 50


@pytest.mark.data
def test_every_temperature_realistic_for_planting_is_there_as_printed() -> None:
    """The page itself calls them “realistic”, between least and best; our copy of it says “minimum”."""
    line = next(line for line in page().splitlines() if line.startswith("Minimum planting soil temperatures"))
    printed: dict[str, float] = {}
    for part in line.split("°F:")[1].rstrip(".").split(","):
        names, value = re.fullmatch(r"\s*([a-z/]+)\s*≈?\s*(\d+)\s*", part).groups()  # type: ignore[union-attr]
        printed |= dict.fromkeys(names.split("/"), float(value))
    assert len(printed) == 15
    found = load_planting_temperatures()
    keys = {crop_named({"corn": "sweet corn", "beans": "snap bean"}.get(name, name)).key for name in printed}
    assert set(found) == keys
    for name, value in printed.items():
        one = found[crop_named({"corn": "sweet corn", "beans": "snap bean"}.get(name, name)).key]
        assert f_from_c(one.realistic_c) == pytest.approx(value)
        assert one.source == "Texas A&M AgriLife Extension"


def test_every_key_is_a_crop_of_the_table() -> None:
    assert set(load_raising()) <= set(load_crops())
    assert set(load_planting_temperatures()) <= set(load_crops())


def test_weeks_run_from_few_to_many() -> None:
    for ages in load_raising().values():
        for age in ages:
            assert 1 <= age.weeks_low <= age.weeks_high <= 20
