"""The packaged crop table, value by value against the published ones."""

import csv

import pytest

from tests.shared_data import reference_file
from traywarden.errors import UnknownNameError
from traywarden.store.crops import crop_named, load_crops, load_heat_sums, load_seed


def published(name: str) -> list[dict[str, str]]:
    with reference_file(name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def number(text: str) -> float | None:
    return float(text) if text else None


def test_every_preferred_row_of_the_germination_table_is_there_with_its_source() -> None:
    """Exact: values are copied, °F whole numbers in °C to four decimals. Lettuce's maximum is chosen."""
    crops = load_crops()
    rows = [row for row in published("germination_temperatures.csv") if row["preferred"] == "yes"]
    assert len(rows) == 27
    for row in rows:
        crop = crops[row["crop"]]
        assert (crop.min_c, crop.opt_low_c, crop.opt_high_c) == tuple(
            number(row[c]) for c in ("min_c", "opt_low_c", "opt_high_c")
        ), row
        assert crop.citations[crop.source] == row["source"]
        if row["crop"] != "lettuce":
            assert crop.max_c == number(row["max_c"])
            assert crop.max_source == crop.source


def test_lettuce_stops_where_heat_inhibits_it_and_says_why() -> None:
    """The Alabama copy's 85 °F, not the Oregon copy's 95 °F: see the note beside the value."""
    lettuce = load_crops()["lettuce"]
    (row,) = [
        row
        for row in published("germination_temperatures.csv")
        if row["crop"] == "lettuce" and row["max_f"] == "85" and "Harrington" in row["table"]
    ]
    assert lettuce.max_c == number(row["max_c"])
    assert lettuce.citations[lettuce.max_source] == row["source"]
    assert "12 % at 86 °F" in lettuce.notes


def test_days_to_emergence_are_the_published_ones_and_unchecked_rows_are_marked() -> None:
    crops = load_crops()
    checked = 0
    for row in published("days_to_emergence.csv"):
        if row["crop"] not in crops:
            continue
        expected = []
        for column, text in row.items():
            if column.startswith("d_") and text:
                temp_c = float(column.rpartition("_")[2].removesuffix("C"))
                expected.append((temp_c, None if text == "NG" else float(text)))
        crop = crops[row["crop"]]
        assert list(crop.days_to_emergence) == expected, row
        assert crop.days_verified == (row["verified"] == "yes")
        assert crop.citations[crop.days_source] == row["source"]
        checked += 1
    assert checked == 28
    assert crops["tomato"].days_to_emergence[2] == (10.0, 43.0)


def test_base_temperatures_are_the_fitted_ones_and_say_that_they_are_computed() -> None:
    fitted = {
        row["crop"]: number(row["base_temp_c"]) for row in published("thermal_time_from_days_table.csv")
    }
    for crop in load_crops().values():
        assert crop.base_temp_c == fitted.get(crop.key)
        assert crop.base_temp_source.startswith("computed") == (crop.base_temp_c is not None)


def test_flowers_and_herbs_have_a_recommended_range_and_no_invented_minimum() -> None:
    rows: dict[str, dict[str, str]] = {}
    for row in published("flowers_herbs_germination.csv"):
        rows.setdefault(row["crop"], row)
    raised = [c for c in load_crops().values() if c.kind in ("flower", "herb") and c.key != "parsley"]
    assert len(raised) >= 20
    for crop in raised:
        row = rows[crop.name]
        assert (crop.min_c, crop.max_c) == (None, None)
        assert (crop.opt_low_c, crop.opt_high_c) == (number(row["germ_low_c"]), number(row["germ_high_c"]))
        assert crop.floor_kind == "recommended range begins at"
        assert crop.citations[crop.source] == row["source"]
        if row["days_low"]:
            assert crop.days_in_range == (float(row["days_low"]), float(row["days_high"]))


def test_every_value_of_every_crop_has_a_source_with_its_whole_citation() -> None:
    for crop in load_crops().values():
        pairs = [
            (crop.floor_c, crop.source),
            (crop.max_c, crop.max_source),
            (crop.days_to_emergence, crop.days_source),
            (crop.base_temp_c, crop.base_temp_source),
            (crop.light, crop.light_source),
        ]
        for value, source in pairs:
            assert bool(value is not None and value not in ((), "")) == bool(source), crop
            assert not source or len(crop.citations[source]) > len(source), crop
        assert crop.opt_low_c is not None
        assert crop.opt_high_c is not None
        assert (crop.min_c or crop.opt_low_c) <= crop.opt_low_c <= crop.opt_high_c <= (crop.max_c or 99)


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("tomato", "tomato"),
        ("Tomatoes", "tomato"),
        ("SWEET CORN", "corn_sweet"),
        ("corn_sweet", "corn_sweet"),
        ("snap-beans", "bean_snap"),
        ("lima bean", "bean_lima"),
        ("peas", "pea"),
        ("radishes", "radish"),
        ("Bachelor's button", "bachelors_button"),
        ("bachelors buttons", "bachelors_button"),
        ("black eyed susans", "black_eyed_susan"),
        ("pansies", "pansy"),
        ("Cosmos", "cosmos"),
        ("impatiens", "impatiens"),
        ("asparagus", "asparagus"),
        ("courgettes", "squash"),
        ("Swiss chard", "chard"),
        ("four o'clock", "four_oclock"),
    ],
)
def test_a_crop_answers_to_what_a_grower_would_type(typed: str, key: str) -> None:
    assert crop_named(typed).key == key


def test_every_crop_answers_to_its_key_and_its_name() -> None:
    for crop in load_crops().values():
        assert crop_named(crop.key) is crop
        assert crop_named(crop.name) is crop


def test_an_unknown_crop_says_what_is_near() -> None:
    with pytest.raises(UnknownNameError, match="did you mean “Tomato”"):
        crop_named("tomatto")
    with pytest.raises(UnknownNameError, match="did you mean “aubergine”"):
        crop_named("aubergin")
    with pytest.raises(UnknownNameError, match="There is no crop called “qqq”"):
        crop_named("qqq")


def test_years_that_seed_keeps_are_those_of_the_extension_page() -> None:
    """“Life Expectancy of Vegetable Seeds”, Iowa State University Extension, 2 April 1999: read there."""
    printed = {
        "onion": 1,
        "parsnip": 1,
        "okra": 2,
        "pepper": 2,
        "carrot": 3,
        "tomato": 4,
        "radish": 5,
        "lettuce": 6,
    }
    for key, years in printed.items():
        seed = load_seed()[key]
        assert seed.life_years == years
        assert seed.life_source == "Iowa State University Extension 1999"


def test_every_heat_sum_names_its_source() -> None:
    assert all(found.source and not found.fitted for found in load_heat_sums().values())
    assert set(load_heat_sums()) <= set(load_crops())
    assert set(load_seed()) <= set(load_crops())
