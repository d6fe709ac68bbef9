"""The housing builds without a warning into bodies that can be printed."""

import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from hardware.parts import parts

from hardware import housing

pytestmark = pytest.mark.system
PETG_G_CM3 = 1.27
"""Density of PETG, usual value in filament makers' data sheets."""


@pytest.fixture(autouse=True)
def openscad() -> None:
    if shutil.which("openscad"):
        return
    sentence = "openscad is not installed; install with: scripts/debian-parts"
    if os.environ.get("CI") == "true":
        pytest.fail(sentence)
    pytest.skip(sentence)


@pytest.mark.parametrize("part", housing.PRINTED)
def test_a_part_builds_closed_and_lies_on_the_bed(part: str, tmp_path: Path) -> None:
    said = housing.build(part, tmp_path / "part.stl")
    assert "Simple:        yes" in said
    corners = housing.triangles(tmp_path / "part.stl")
    assert housing.open_edges(corners) == 0
    assert corners[..., 2].min() == pytest.approx(0, abs=1e-3)
    assert np.ptp(corners.reshape(-1, 3), axis=0).max() < 200  # a common printer's bed


@pytest.mark.parametrize("heads", [1, 2, 3, 4])
def test_the_base_has_room_for_as_many_glands_as_heads(heads: int, tmp_path: Path) -> None:
    housing.build("base", tmp_path / "base.stl", heads=heads)
    assert housing.open_edges(housing.triangles(tmp_path / "base.stl")) == 0


def test_each_cable_has_a_gland_of_its_own_in_base_and_parts_list() -> None:
    """One cable for each head and one for the air sensor: a gland seals one round cable."""
    assert "glands = heads + 1;" in housing.SCAD.read_text(encoding="utf-8")
    listed = {part.part: (part.one_head, part.four_heads) for part in parts()}
    assert listed["cable gland"] == listed["cable"] == (1 + 1, 4 + 1)


def test_hood_base_and_stake_do_not_overlap_when_together(tmp_path: Path) -> None:
    volumes = {}
    for part in ("hood", "base", "stake", "together"):
        housing.build(part, tmp_path / f"{part}.stl")
        volumes[part] = housing.volume_cm3(housing.triangles(tmp_path / f"{part}.stl"))
    apart_cm3 = volumes["hood"] + volumes["base"] + volumes["stake"]
    assert volumes["together"] == pytest.approx(apart_cm3, rel=1e-3)


def test_the_parts_list_buys_enough_plastic(tmp_path: Path) -> None:
    grams = 0.0
    for part in (*housing.PRINTED, "shield_plate", "shield_plate"):  # three plates under the top one
        housing.build(part, tmp_path / "part.stl")
        grams += housing.volume_cm3(housing.triangles(tmp_path / "part.stl")) * PETG_G_CM3
    (line,) = [part.generic_number for part in parts() if part.part == "printed housing"]
    listed = float(line.split(",")[1].split()[0])
    assert listed == pytest.approx(grams, rel=0.1)


def test_an_impossible_housing_is_refused_with_the_reason(tmp_path: Path) -> None:
    with pytest.raises(housing.HousingError, match="heads: 1 to 4"):
        housing.build("base", tmp_path / "base.stl", heads=5)
    with pytest.raises(housing.HousingError, match="no such part"):
        housing.build("lid", tmp_path / "lid.stl")


def test_a_picture_shows_the_part_and_nothing_around_it(tmp_path: Path) -> None:
    housing.build("stake", tmp_path / "stake.stl")
    colours = housing.picture(housing.triangles(tmp_path / "stake.stl"), dots_per_mm=2)
    assert (colours[0] == 255).all()
    assert (colours[:, 0] == 255).all()
    assert (colours < 250).any()
    assert housing.png(colours).startswith(b"\x89PNG\r\n")
