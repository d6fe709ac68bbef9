"""Batches and seeds to sow in a notebook."""

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from tests.services.little_garden import NOW_MS, little_garden
from tests.services.questions.test_batch import BENCH, FRAME, sow
from traywarden.notebook import NotebookGarden, open_garden


@pytest.fixture
def garden(tmp_path: Path) -> Iterator[NotebookGarden]:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        sow(tx, made.tray_ids["tomatoes"], "tomato", FRAME)
        sow(tx, made.tray_ids["lettuce"], "tomato", BENCH)
    made.store.close()
    with open_garden(tmp_path, now=pd.Timestamp(NOW_MS, unit="ms", tz="UTC")) as opened:
        yield opened


def test_a_batch_is_its_counts_with_the_figures_beside_them(garden: NotebookGarden) -> None:
    one = garden.batch("tomatoes")
    assert one["newly_up"].tolist() == [0, 8, 14, 11, 5, 0]
    assert str(one.index.tz) == "Europe/Lisbon"  # type: ignore[attr-defined]
    assert one.attrs["metrics"]["tomatoes"]["germination_pct"] == 95
    both = garden.batch("tomatoes", "lettuce")
    assert set(both["tray"]) == {"tomatoes", "lettuce"}
    assert both.attrs["comparison"]["timing"]["sooner_d"] == pytest.approx(2.9, abs=0.1)
    assert both.attrs["sentences"][0].startswith("More of tomatoes came up")


def test_batches_are_one_row_each(garden: NotebookGarden) -> None:
    table = garden.batches(crop="tomato", by="place", start="2026-03-01")
    assert table["share"].to_dict() == {"tomatoes": 38 / 40, "lettuce": 26 / 40}
    assert (table["share_low"] < table["share"]).all()
    assert table.attrs["pairs"][0]["pct"]["estimate"] == pytest.approx(30)


def test_seeds_are_one_row_for_each_number(garden: NotebookGarden) -> None:
    table = garden.seeds("tomato", plants=30, cells=40, place="Cold frame")
    assert table.index.tolist()[0] == 1
    assert table["fill_share"].is_monotonic_increasing
    assert table.attrs["sentence"].startswith(f"Sow {table.attrs['chosen']} seed")
    assert 0 < table.attrs["comes_up"]["mean_share"] < 1
