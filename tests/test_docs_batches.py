"""The pages on batches and sowing name what the program computes, and the figures that it prints."""

import dataclasses
import re
from pathlib import Path

import pytest

from tests.figures import sowing
from traywarden.domain.batch_comparison import ALIKE, ALIKE_D
from traywarden.domain.emergence_forecast import emergence_forecast
from traywarden.domain.germination_metrics import GerminationMetrics
from traywarden.domain.lot_germination import TRUSTED, lot_germination
from traywarden.domain.place_emergence import place_emergence
from traywarden.domain.seed_ageing import HALF_PER_KEPT, Ageing
from traywarden.domain.sowing_costs import THIN_S
from traywarden.domain.sowing_plan import CERTAIN, FILL, LEAST_GAIN
from traywarden.services.questions.batches import BY

DOCS = Path(__file__).parents[1] / "docs"
BATCHES = (DOCS / "batches.md").read_text("utf-8")
SOWING = " ".join((DOCS / "sowing.md").read_text("utf-8").split())


@pytest.mark.parametrize("field", [f.name for f in dataclasses.fields(GerminationMetrics)])
def test_every_published_figure_stands_in_the_table(field: str) -> None:
    if field not in ("counted", "sown"):
        assert any(f"`{field}`" in line for line in BATCHES.splitlines() if line.startswith("|"))


def test_every_grouping_and_limit_is_as_stated() -> None:
    for name in BY:
        assert re.search(rf"--by {name}|`{name}`", BATCHES)
    assert (ALIKE, ALIKE_D) == (0.10, 1.0)
    assert "within 10 of 100 seeds, or within one" in " ".join(BATCHES.split())


def test_the_defaults_of_sowing_are_as_stated() -> None:
    assert (FILL, CERTAIN, LEAST_GAIN, THIN_S) == (0.95, 0.90, 0.02, 4.0)
    assert (TRUSTED, HALF_PER_KEPT) == (0.8, 4.9)
    assert "fewer than 2 of 100 cells more" in SOWING
    assert "4 seconds a seedling" in SOWING
    nothing = place_emergence([], {"open bench": False})
    lot = lot_germination([], Ageing(7.0, 0.8, ""))
    place = emergence_forecast(lot, nothing, "open bench", False).place
    assert f"{place.mean_share * 100:.0f} of 100 on average" in SOWING


@pytest.mark.data
def test_the_figures_of_recorded_dishes_are_those_printed() -> None:
    found = sowing.left_out()
    assert f"80 % intervals held {found.held * 100:.0f} % of them" in SOWING
    assert f"tossed for {found.by_chance * 100:.0f} %" in SOWING
    assert f"Off by {found.mean_error:.2f}" in SOWING
    assert f"off by {found.naive_error:.2f}" in SOWING
