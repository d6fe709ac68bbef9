"""A garden without a written position: what stands in for it, and that it is said."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.services.little_garden import NOW_MS, START_MS, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.hourly import Hourly
from traywarden.services.mix_drying import reference_demand
from traywarden.services.position import Position, position_of
from traywarden.services.questions.compare import CompareAsked, ask_compare
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.services.questions.outlook import ask_outlook
from traywarden.store import garden
from traywarden.store.store import Store


def position(folder: Path, zone: str, latitude_deg: float | None, longitude_deg: float | None) -> Position:
    store = Store.open(f"sqlite:///{folder / 'where.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "Where", zone, latitude_deg, longitude_deg, now_ms=START_MS)
    with grounded(store) as ground:
        found = position_of(ground)
    store.close()
    return found


def test_a_written_position_stands_and_needs_no_words(tmp_path: Path) -> None:
    assert position(tmp_path, "Europe/Lisbon", 39.0, -8.0) == Position(39.0, -8.0)


def test_the_town_of_the_time_zone_stands_in_for_what_is_missing(tmp_path: Path) -> None:
    found = position(tmp_path, "Pacific/Auckland", None, None)
    assert (found.latitude_deg, found.longitude_deg) == pytest.approx((-36.87, 174.77), abs=0.05)
    assert "latitude and longitude is not written down" in found.stand_in
    assert "Auckland (37° south, 175° east)" in found.stand_in


def test_only_what_is_missing_is_stood_in_for(tmp_path: Path) -> None:
    found = position(tmp_path, "Pacific/Auckland", -45.0, None)
    assert found.latitude_deg == -45.0
    assert "garden's longitude is not written down" in found.stand_in


def test_a_zone_of_no_place_is_taken_to_lie_north_and_that_is_said(tmp_path: Path) -> None:
    found = position(tmp_path, "Etc/GMT-2", None, None)
    assert (found.latitude_deg, found.longitude_deg) == (45.0, 30.0)
    assert "45° north, on the meridian of its clock" in found.stand_in


@pytest.mark.parametrize(("zone", "thirstier"), [("Europe/Lisbon", 6), ("Pacific/Auckland", 12)])
def test_the_same_air_is_thirstier_in_the_summer_of_the_gardens_own_half_of_the_earth(
    tmp_path: Path, zone: str, thirstier: int
) -> None:
    store = Store.open(f"sqlite:///{tmp_path / 'half.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "Half", zone, now_ms=START_MS)
    with grounded(store) as ground:
        demand = reference_demand(ground)
    store.close()

    def asked_mm(month: int) -> float:
        start_s = datetime(2026, month, 21, tzinfo=UTC).timestamp()
        hour_s = np.asarray(start_s + 3600.0 * np.arange(72), np.float64)
        blank, air_c = np.full(72, np.nan), 18 + 6 * np.sin(np.arange(72) / 24 * 2 * np.pi)
        names = Hourly.__dataclass_fields__
        values = dict.fromkeys(set(names) - {"label", "hour_s"}, blank)
        air = Hourly("air", hour_s, **{**values, "air_temp_c": air_c, "vpd_kpa": np.full(72, 0.8)})
        return float(np.nansum(demand(air)))

    assert asked_mm(thirstier) > 1.5 * asked_mm(18 - thirstier)


def test_answers_that_lean_on_it_say_so_once(tmp_path: Path) -> None:
    made = little_garden(tmp_path)
    with grounded(made.store) as ground:
        outlook = ask_outlook(ground)
        pair = ask_compare(ground, CompareAsked("Cold frame", "Open bench"))
        frame = ask_frame(ground, FrameAsked("Cold frame"))
    assert "Lisbon (39° north, 9° west)" in outlook.stand_in
    assert pair.comparison.night_rule.startswith("night from sunset to sunrise; the garden's latitude")
    assert sum("stands in" in remark for remark in frame.remarks) == 1
    with made.store.write() as tx:
        garden.set_garden(tx, "Little", "Europe/Lisbon", 38.7, -9.1, now_ms=NOW_MS)
    with grounded(made.store) as ground:
        assert ask_outlook(ground).stand_in == ""
        own = ask_compare(ground, CompareAsked("Cold frame", "Open bench"))
    made.store.close()
    assert own.comparison.night_rule == "night from sunset to sunrise"
