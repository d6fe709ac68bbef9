"""The table of seeds in each cell: against binomials, drawing, and figures by hand."""

import numpy as np
import pytest
from scipy import stats

from tests.figures.sowing import filled_cells, gardens, left_out
from traywarden.domain.cell_fill import CLUSTERING
from traywarden.domain.emergence_forecast import EmergenceForecast, Middle
from traywarden.domain.sowing_costs import Costs
from traywarden.domain.sowing_plan import Wanted, filled_range, sowing_plan

NONE = np.eye(CLUSTERING.size)[0]


def sure(p: float) -> EmergenceForecast:
    return EmergenceForecast(np.array([p]), np.ones(1), *[Middle(p, p, p)] * 3)


def unsure(*values: float) -> EmergenceForecast:
    middle = Middle(float(np.mean(values)), min(values), max(values))
    return EmergenceForecast(np.array(values), np.full(len(values), 1 / len(values)), middle, middle, middle)


def test_where_everything_is_known_it_is_the_binomial_distribution() -> None:
    plan = sowing_plan(sure(0.7), NONE, Wanted(72, 60))
    for row in plan.rows:
        fill = 1 - 0.3**row.per_cell
        exact = stats.binom(72, fill)
        assert row.fill_share == pytest.approx(fill)
        assert (row.filled_low, row.filled_high) == (exact.ppf(0.1), exact.ppf(0.9))
        assert row.wanted_chance == pytest.approx(exact.sf(59))
        assert row.thinned == pytest.approx(72 * (0.7 * row.per_cell - fill))
        assert row.seeds == 72 * row.per_cell


def test_the_cells_needed_are_the_fewest_that_give_the_plants() -> None:
    plan = sowing_plan(sure(0.7), NONE, Wanted(72, 60, certain_share=0.9))
    for row in plan.rows:
        assert row.cells_needed is not None
        fill = 1 - 0.3**row.per_cell
        assert stats.binom(row.cells_needed, fill).sf(59) >= 0.9
        assert stats.binom(row.cells_needed - 1, fill).sf(59) < 0.9
        assert row.seeds_needed == row.cells_needed * row.per_cell


def test_the_fewest_seeds_are_chosen_that_do_it() -> None:
    plan = sowing_plan(sure(0.75), NONE, Wanted(72, 60))
    assert (plan.for_fill, plan.for_plants, plan.best.per_cell) == (3, 2, 2)
    assert [round(row.fill_share, 4) for row in plan.rows[:3]] == [0.75, 0.9375, 0.9844]


def test_what_is_not_known_widens_the_interval_and_lowers_the_certainty() -> None:
    known = sowing_plan(sure(0.7), NONE, Wanted(72, 55)).rows[1]
    doubtful = sowing_plan(unsure(0.5, 0.7, 0.9), NONE, Wanted(72, 55)).rows[1]
    assert doubtful.filled_high - doubtful.filled_low > known.filled_high - known.filled_low
    assert doubtful.wanted_chance is not None
    assert known.wanted_chance is not None
    assert doubtful.wanted_chance < known.wanted_chance


def test_costs_by_hand() -> None:
    """Two seeds at 0.80: 0.96 filled, 0.64 thinned a cell; 100 cells, seed 0.05, cell 0.10, 4 s at 18/h."""
    rows = sowing_plan(sure(0.8), NONE, Wanted(100), Costs(0.05, 0.10, 18.0, 4.0)).rows
    second = rows[1]
    assert second.price == pytest.approx(100 * (2 * 0.05 + 0.10 + 0.64 * 4 / 3600 * 18))
    assert second.plant_price == pytest.approx(21.28 / 96)
    assert second.pays_from_price == pytest.approx((0.05 + 0.64 * 0.02) / 0.16)
    assert second.thin_minutes == pytest.approx(64 * 4 / 60)
    assert rows[0].pays_from_price is None


def test_a_seed_pays_from_where_it_makes_a_plant_no_dearer() -> None:
    """At the empty cell's price from which the second seed pays, both ways give an empty-cell cost alike."""
    costs = Costs(0.05, None, 18.0)
    one, two = sowing_plan(sure(0.8), NONE, Wanted(100), costs).rows[:2]
    assert two.pays_from_price is not None
    assert one.price is not None
    assert two.price is not None
    lost_one, lost_two = (100 - row.filled for row in (one, two))
    assert one.price + lost_one * two.pays_from_price == pytest.approx(
        two.price + lost_two * two.pays_from_price
    )


def test_dear_seed_is_cheapest_sown_singly_and_cheap_seed_is_not() -> None:
    dear = sowing_plan(sure(0.6), NONE, Wanted(72), Costs(0.5, 0.1, 15.0))
    cheap = sowing_plan(sure(0.6), NONE, Wanted(72), Costs(0.001, 0.1, None))
    assert dear.cheapest == 1
    assert cheap.cheapest is not None
    assert cheap.cheapest > 1


def test_without_prices_there_are_none() -> None:
    plan = sowing_plan(sure(0.8), NONE, Wanted(72))
    assert (plan.cheapest, plan.rows[0].price, plan.rows[1].pays_from_price) == (None, None, None)
    only_cells = sowing_plan(sure(0.8), NONE, Wanted(72), Costs(cell_price=0.1)).rows[0]
    assert only_cells.price == pytest.approx(7.2)


@pytest.mark.parametrize(("comes_up", "per_cell"), [(0.9, 2), (0.75, 3), (0.55, 4)])
def test_seed_that_is_known_takes_as_many_as_the_trade_reckons(comes_up: float, per_cell: int) -> None:
    """ln 0.05 / ln(1 − g), rounded up: at most 5 of 100 cells empty."""
    assert per_cell == np.ceil(np.log(0.05) / np.log(1 - comes_up))
    assert sowing_plan(sure(comes_up), NONE, Wanted(72)).best.per_cell == per_cell


def test_no_seed_is_sown_that_fills_hardly_a_cell_more() -> None:
    """By the binomial distribution, of seed of which 28 in 100 come up."""
    fills = np.asarray(stats.binom.sf(0, np.arange(1, 13), 0.28))
    worth = 1 + int(np.argmax(np.diff(fills) < 0.02))
    plan = sowing_plan(sure(0.28), NONE, Wanted(72, 71, most_per_cell=12))
    assert (plan.best.per_cell, plan.levels_off) == (worth, worth)
    assert fills[worth - 1] < 0.95
    assert len(plan.rows) == worth + 1
    choosy = sowing_plan(sure(0.28), NONE, Wanted(72, gain_share=0.06, most_per_cell=12)).best.per_cell
    assert choosy == 1 + int(np.argmax(np.diff(fills) < 0.06)) < worth


def test_no_more_are_sown_than_are_thinned() -> None:
    plan = sowing_plan(sure(0.28), NONE, Wanted(72))
    assert (plan.best.per_cell, len(plan.rows)) == (4, 5)
    assert sowing_plan(sure(0.28), NONE, Wanted(72, most_per_cell=1)).best.per_cell == 1


def test_doubt_about_the_whole_lot_adds_cells_not_seeds() -> None:
    known = sowing_plan(sure(0.7), NONE, Wanted(None, 60)).best
    doubtful = sowing_plan(unsure(0.35, 0.7, 0.9), NONE, Wanted(None, 60)).best
    assert doubtful.per_cell == known.per_cell == 3
    assert doubtful.cells > known.cells + 10


def test_without_cells_there_are_as_many_as_the_plants_take() -> None:
    plan = sowing_plan(sure(0.7), NONE, Wanted(None, 60))
    for row in plan.rows:
        fill = 1 - 0.3**row.per_cell
        assert stats.binom(row.cells, fill).sf(59) >= 0.9
        assert stats.binom(row.cells - 1, fill).sf(59) < 0.9
        assert row.seeds == row.per_cell * row.cells


def test_few_plants_from_many_cells_take_one_seed_each() -> None:
    assert sowing_plan(sure(0.7), NONE, Wanted(72, 30)).best.per_cell == 1


def test_the_middling_tray_is_that_of_the_distribution() -> None:
    row = sowing_plan(unsure(0.2, 0.7, 0.9), NONE, Wanted(40)).rows[0]
    counts = np.concatenate([np.random.default_rng(2).binomial(40, p, 200_000) for p in (0.2, 0.7, 0.9)])
    low, middle, high = np.quantile(counts, [0.1, 0.5, 0.9])
    assert (row.filled_low, row.filled_middle, row.filled_high) == (low, middle, high)
    assert row.middle_share == pytest.approx(0.7, abs=0.02)
    assert row.filled == pytest.approx(counts.mean(), abs=0.05)
    assert filled_range(unsure(0.2, 0.7, 0.9), NONE, 1, 40) == (low, high)


@pytest.mark.parametrize(
    ("wanted", "left", "sown"),
    [
        (Wanted(72), 100, (1, 72)),  # not two in every cell
        (Wanted(72), 50, (1, 50)),
        (Wanted(72), 150, (2, 72)),
        (Wanted(None, 60), 150, (2, 69)),  # two in each of 69 still give the plants surely
        (Wanted(None, 60), 40, (1, 40)),
    ],
)
def test_fewer_seeds_than_that_are_sown_as_far_as_they_go(
    wanted: Wanted, left: int, sown: tuple[int, int]
) -> None:
    plan = sowing_plan(sure(0.7), NONE, wanted, seeds_left=left)
    assert plan.best.seeds > left
    assert plan.left is not None
    assert (plan.left.per_cell, plan.left.cells) == sown
    assert plan.left.seeds <= left
    assert sowing_plan(sure(0.7), NONE, wanted, seeds_left=1000).left is None


def test_a_lot_that_may_be_dead_never_gives_the_plants_surely() -> None:
    plan = sowing_plan(unsure(0.0, 0.9), NONE, Wanted(72, 60))
    assert (plan.for_plants, plan.rows[0].cells_needed) == (None, None)
    assert plan.best.per_cell <= 3
    free = sowing_plan(unsure(0.0, 0.9), NONE, Wanted(None, 60)).best
    assert free.wanted_chance is not None
    assert free.wanted_chance < 0.9


def test_plants_without_a_cell_are_refused_and_more_than_the_cells_never_come() -> None:
    with pytest.raises(ValueError, match="a cell to sow"):
        sowing_plan(sure(0.8), NONE, Wanted(0))
    with pytest.raises(ValueError, match="cells or plants"):
        sowing_plan(sure(0.8), NONE, Wanted(None))
    assert sowing_plan(sure(0.8), NONE, Wanted(10, 11)).rows[0].wanted_chance == 0.0


@pytest.mark.data
def test_recorded_dishes_are_forecast_from_the_others() -> None:
    """36 dishes scatter the part held by 7 of 100; see docs/sowing.md for what the record is."""
    found = left_out()
    assert found.forecasts == 36
    assert 0.70 <= found.held <= 0.95
    assert found.mean_error < 0.75 * found.naive_error


def test_invented_gardens_are_forecast_with_honest_intervals() -> None:
    found = gardens(runs=60)
    assert 0.70 <= found.by_chance <= 0.95
    assert found.mean_error < found.naive_error


def test_invented_trays_fill_as_forecast() -> None:
    assert 0.72 <= filled_cells(runs=100).held <= 0.95
