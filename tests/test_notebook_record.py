"""A tray's record in a notebook is what `record` tells."""

from collections.abc import Iterator

import pandas as pd
import pytest

from tests.services.little_garden import NOW_MS, little_garden
from traywarden.errors import UnknownNameError
from traywarden.notebook import NotebookGarden, open_garden
from traywarden.services.questions.tray_record import ask_tray_record


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NotebookGarden]:
    home = tmp_path_factory.mktemp("home")
    little_garden(home).store.close()
    with open_garden(home, now=pd.Timestamp(NOW_MS, unit="ms", tz="UTC")) as opened:
        yield opened


def test_every_drawn_reading_is_a_row_and_the_rest_is_beside_them(garden: NotebookGarden) -> None:
    with garden._ground() as on:
        told = ask_tray_record(on, "tomatoes", 20.0)
    table = garden.record("tomatoes", days=20)
    assert str(table.index.tz) == "Europe/Lisbon"  # type: ignore[attr-defined]
    for name in ("moisture", "soil", "air"):
        drawn = [point.value for line in getattr(told, name) for part in line.stretches for point in part]
        assert sorted(table.loc[table["measured"] == name, "value"]) == sorted(drawn)
    assert table.attrs["says"] == told.says
    assert len(table.attrs["waterings"]) == len(told.waterings) > 0
    assert len(table.attrs["journal"]) == len(told.journal)
    low = {(line["measured"], line["of"]): line["low"] for line in table.attrs["lines"]}
    assert low["soil", told.soil[0].of] == told.soil[0].low


def test_a_tray_that_is_not_there_is_said(garden: NotebookGarden) -> None:
    with pytest.raises(UnknownNameError, match="tomatoes"):
        garden.record("tomatos")
