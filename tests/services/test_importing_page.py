"""The page on importing names every quantity, unit, finding and key there is, and its example works."""

import re
import tomllib
from pathlib import Path

import pytest
import typer.main

from traywarden.cli.app import app
from traywarden.services import mapping, mapping_file
from traywarden.services.column_units import UNITS
from traywarden.services.findings import Kind

PAGE = (Path(__file__).parents[2] / "docs" / "importing.md").read_text(encoding="utf-8")


def test_every_quantity_with_its_units_and_every_finding_is_there() -> None:
    table = {
        name: [unit.strip() for unit in units.split(",")]
        for names, units in re.findall(r"^\| (`[^|]*`) \| ([^|]*) \|$", PAGE, flags=re.MULTILINE)
        for name in re.findall(r"`([^`]+)`", names)
    }
    assert table == {quantity: list(units) for quantity, units in UNITS.items()}
    assert [kind for kind in Kind if f"| {kind} |" not in PAGE] == []


def test_the_example_mapping_is_valid_and_shows_every_key() -> None:
    tree = tomllib.loads(PAGE.split("```toml")[1].split("```")[0])
    found = mapping.mapping_from(tree, "the page")
    assert found.columns[0].unit == "°F"
    assert set(tree["file"]) == set(mapping_file.FILE_KEYS)
    assert set(tree["time"]) == set(mapping_file.TIME_KEYS)
    assert set(tree["column"][0]) == set(mapping._COLUMN_KEYS)


@pytest.mark.parametrize("name", ["import", "replay"])
def test_every_option_on_the_page_exists(name: str) -> None:
    group = typer.main.get_group(app)
    known = {option for command in group.commands.values() for p in command.params for option in p.opts}
    assert name in group.commands
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", PAGE)) <= known
