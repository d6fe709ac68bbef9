"""Tables about places and levels in a notebook."""

from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest

from tests.services.place_garden import BENCH_RATIO, DAYS, LID_DAYS, place_garden
from traywarden.notebook import NotebookGarden, open_garden


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NotebookGarden]:
    folder = tmp_path_factory.mktemp("home")
    place_garden(folder).store.close()
    (folder / "settings.toml").write_text('[host]\nclock = "readings"\n', encoding="utf-8")
    with open_garden(folder) as opened:
        yield opened


def test_places_side_by_side_are_a_row_each(garden: NotebookGarden) -> None:
    table = garden.compare_places(start="2026-04-01", end="2026-04-30")
    assert set(table.index) == {"Open bench", "Cold frame", "Shade"}
    cells: Any = table.to_dict("index")
    frame = cells["Cold frame"]
    assert frame["difference_low_c_estimate"] == pytest.approx(4.0, abs=0.2)
    assert frame["difference_low_c_low"] < frame["difference_low_c_high"]
    assert pd.isna(cells["Open bench"]["difference_low_c_estimate"])
    drying = {row["place"]: row["ratio"]["estimate"] for row in table.attrs["drying"]}
    assert drying["Cold frame"] == pytest.approx(1 / BENCH_RATIO, rel=0.1)


def test_places_as_they_are_now_are_a_row_each(garden: NotebookGarden) -> None:
    table = garden.places_now()
    cells: Any = table.to_dict("index")
    assert cells["Cold frame"]["trays"] == ("frame a", "frame b", "frame c")
    assert cells["Cold frame"]["air_temp_c"] > cells["Open bench"]["air_temp_c"] + 3
    assert cells["Empty corner"]["soil_reason"] == "no tray stands here"
    assert pd.isna(cells["Empty corner"]["air_temp_c"])
    assert table.attrs["sentence"].startswith("The air now: ")


def test_waterings_after_which_a_mix_was_soaked_are_a_row_each(garden: NotebookGarden) -> None:
    table = garden.soaked()
    medians = {mix["mix"]: mix for mix in table.attrs["mixes"]}
    assert len(table) == sum(mix["waterings"] for mix in medians.values()) > 0
    assert set(table["mix"]) <= set(medians)


def test_a_ranking_and_hours_by_month_are_tables(garden: NotebookGarden) -> None:
    ranked = garden.rank_places("tomato", month=4)
    assert ranked.index[0] == "Cold frame"
    assert ranked["rank"].tolist()[0] == 1
    assert ranked.attrs["sentence"].startswith("Tomato, April, soil: Cold frame first")
    hours = garden.germination_hours("tomato", "lettuce")
    cells: Any = hours.to_dict("index")
    april = cells["Tomato", "Cold frame", "2026-04"]
    assert april["days"] in (DAYS - 1, DAYS)
    assert april["hours_h"] == pytest.approx(ranked["hours_h"].tolist()[0], abs=0.3)


def test_openings_of_a_frame_are_in_the_gardens_zone(garden: NotebookGarden) -> None:
    table = garden.frame_openings("Cold frame", start="2026-04-01")
    assert isinstance(table.index, pd.DatetimeIndex)
    assert str(table.index.tz) == "Europe/Lisbon"
    assert [day - 1 for day in table.index.day] == list(LID_DAYS)
    assert str(table["closed"].dt.tz) == "Europe/Lisbon"
    assert table.attrs["night_c"]["estimate"] == pytest.approx(4.2, abs=0.3)
    assert len(garden.frame_openings("Cold frame", start="2026-04-02", end="2026-04-04")) == 0


def test_hardening_and_level_keep_their_sentences(garden: NotebookGarden) -> None:
    days = garden.hardening("frame a")
    assert len(days) == 14
    assert days.attrs["need"] == "yes"
    level = garden.level()
    assert level.loc["long", "drier"] == "north"
    assert level.loc["base long base", "verdict"] == "out of level"
