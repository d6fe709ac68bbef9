"""A mapping file says everything that is wrong with it, and survives being written."""

import tomllib
from pathlib import Path

import pytest

from traywarden.errors import UsageError
from traywarden.links.chunks import Shape
from traywarden.services.column_units import UNITS, Scale, scale_for, unit_named
from traywarden.services.mapping import ColumnMap, Mapping, load_mapping, mapping_from, mapping_toml
from traywarden.services.mapping_file import TimeMap

MAPPINGS = sorted((Path(__file__).parent / "mappings").glob("*.toml"))


@pytest.mark.parametrize("path", MAPPINGS, ids=lambda path: path.stem)
def test_a_mapping_written_and_read_again_is_the_same(path: Path) -> None:
    mapping = load_mapping(path)
    assert mapping_from(tomllib.loads(mapping_toml(mapping)), "again") == mapping


def test_awkward_names_survive_too() -> None:
    mapping = Mapping(
        Shape("latin-1", "\t", 3, False, ",", ".", 'a "sheet"'),
        TimeMap(("Dat\\um", "Zeit\u0007"), "%d.%m.%Y %H:%M", "", "Europe/Lisbon", -900.0, True),
        (ColumnMap("Temp (°C)", 3, "soil_temp_c", "°C", (("a b", ("1", "2")),)),),
        ("", "-6999"),
        (("plot", ("x",)),),
    )
    assert mapping_from(tomllib.loads(mapping_toml(mapping)), "again") == mapping


def test_every_mistake_is_named_at_once() -> None:
    tree = tomllib.loads("""
        wher = {plot = "1"}
        [file]
        delimiter = ";;"
        decimal = "x"
        [time]
        columns = "t"
        offset = "6"
        zone = "Europe/Lissabon"
        [[column]]
        name = "rain"
        head = 77
        quantity = "rain_mm"
        unit = "°C"
        [[column]]
        name = "t"
        head = 1
        quantity = "soil_temp"
        unit = "°C"
        [[column]]
        name = "u"
    """)
    with pytest.raises(UsageError) as caught:
        mapping_from(tree, "m.toml")
    said = str(caught.value)
    for part in (
        "there is no “wher”; did you mean “where”",
        "file.delimiter",
        "file.decimal",
        "both an offset and a zone",
        "time.offset is “6”",
        "Europe/Lissabon",
        "head is 77",
        "unit “°C” does not fit rain_mm (rain since the reading before); use one of mm, cm, in",
        "“soil_temp”; did you mean “soil_temp_c”",
        "[[column]] 3 lacks head, quantity, unit",
    ):
        assert part in said
    assert all(line.startswith("m.toml: ") for line in said.splitlines())


def test_two_columns_cannot_give_the_same_quantity_of_a_head() -> None:
    row = {"head": 1, "quantity": "soil_temp_c", "unit": "°C"}
    tree = {"time": {"columns": "t"}, "column": [{"name": "a", **row}, {"name": "b", **row}]}
    with pytest.raises(UsageError, match="columns “a” and “b” both give soil_temp_c of head 1"):
        mapping_from(tree, "m.toml")


def test_a_file_that_is_no_toml_or_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is no mapping file"):
        load_mapping(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("[time\n", encoding="utf-8")
    with pytest.raises(UsageError, match=r"bad\.toml is not valid TOML"):
        load_mapping(tmp_path / "bad.toml")


# By definition: water freezes at 32 °F = 273.15 K and boils at 212 °F; the international inch is 25.4 mm.
@pytest.mark.parametrize(
    ("quantity", "unit", "number", "inside"),
    [
        ("soil_temp_c", "F", 32.0, 0.0),
        ("air_temp_c", "degF", 212.0, 100.0),
        ("soil_temp_c", "K", 273.15, 0.0),
        ("rain_mm", "inches", 1.0, 25.4),
        ("rain_mm", "cm", 1.0, 10.0),
        ("moisture_m3_m3", "Volume %", 37.0, 0.37),
        ("moisture_v", "mV", 1234.0, 1.234),
        ("rh_pct", "fraction", 0.5, 50.0),
    ],
)
def test_units_convert(quantity: str, unit: str, number: float, inside: float) -> None:
    scale = scale_for(quantity, unit)
    assert isinstance(scale, Scale)
    # 1e-12: rounding of one multiplication and one addition.
    assert number * scale.factor + scale.offset == pytest.approx(inside, abs=1e-12)


def test_every_unit_is_known_by_its_own_name() -> None:
    assert all(unit_named(unit) == unit for units in UNITS.values() for unit in units)
