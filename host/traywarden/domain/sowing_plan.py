"""How many seeds to sow in each cell: cells filled, plants had, seeds and money spent, for 1, 2, 3 …"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import special

from traywarden.domain.cell_fill import CLUSTERING, empty_chance
from traywarden.domain.emergence_forecast import LEVEL, EmergenceForecast
from traywarden.domain.germination_metrics import Floats

MOST_PER_CELL = 12
FILL = 0.95
CERTAIN = 0.90
"""Cells to be filled on average, and how sure the plants wanted should be (common practice, no source)."""
THIN_S = 4.0
"""To snip one seedling too many [s] (common practice, no source)."""
ENOUGH = 0.995
WORTH_A_SEED = 0.02
MOST_CELLS_TIMES = 20
BINS = 300


@dataclass(frozen=True, slots=True)
class Costs:
    """What things cost, in the grower's own money. None: not known, and left out of sums."""

    seed_price: float | None = None
    cell_price: float | None = None
    hour_price: float | None = None
    thin_s: float = THIN_S


@dataclass(frozen=True, slots=True)
class SowingRow:
    """What comes of so many seeds in each cell. `filled_low`, `filled_high`: 80 % of the trays.

    `wanted_chance` is the chance of the plants wanted from these cells, `cells_needed` how many cells would
    give them surely enough, `thinned` the seedlings too many. `price` sums what is known of seed, cells and
    time; `plant_price` is that for each plant. `pays_from_price`: from what an empty cell costs upwards the
    last seed added in each cell pays for itself.
    """

    per_cell: int
    seeds: int
    fill_share: float
    filled: float
    filled_low: int
    filled_high: int
    thinned: float
    thin_minutes: float
    wanted_chance: float | None
    cells_needed: int | None
    seeds_needed: int | None
    price: float | None
    plant_price: float | None
    pays_from_price: float | None


@dataclass(frozen=True, slots=True)
class SowingPlan:
    """Rows for 1, 2, 3 … seeds in each cell, and which of them does what; None where none does.

    `for_fill`: the fewest seeds that fill the part wanted on average; `for_plants`: that give the plants
    wanted from these cells surely enough; `cheapest`: the lowest price of a plant, where prices are known.
    `levels_off`: from there on one seed more fills fewer than 2 of 100 cells more (no source).
    """

    rows: tuple[SowingRow, ...]
    for_fill: int | None
    for_plants: int | None
    cheapest: int | None
    levels_off: int


def sowing_plan(
    forecast: EmergenceForecast,
    clustering: Floats,
    cells: int,
    *,
    plants: int | None = None,
    fill_share: float = FILL,
    certain_share: float = CERTAIN,
    costs: Costs | None = None,
) -> SowingPlan:
    """Weigh 1, 2, 3 … seeds in each cell.

    Parameters
    ----------
    forecast : what part of the seeds will come up in the tray
    clustering : array, chances of CLUSTERING: how far seeds of one cell share its luck
    cells : int, cells to be sown
    plants : int or None, plants wanted, one from each filled cell
    fill_share : float, 0 … 1, part of the cells wanted filled on average
    certain_share : float, 0 … 1, how sure the plants wanted should be
    costs : Costs, what is known of prices

    Returns
    -------
    SowingPlan, up to the row that fills 99.5 % of the cells, or the one after all that is wanted is done

    Notes
    -----
    Cells filled are binomial given how the tray does, and how the tray does is the forecast: the interval
    holds both. A filled cell gives one plant; seedlings beyond the first are thinned. From n − 1 to n seeds
    the last seed pays where (its price + thinning) / (rise in the part filled) is below what an empty cell
    costs (its mix, its place on the bench, the plant not had).

    Raises
    ------
    ValueError if there is no cell.

    Examples
    --------
    >>> from traywarden.domain.emergence_forecast import Middle
    >>> sure = EmergenceForecast(np.array([0.8]), np.ones(1), *[Middle(0.8, 0.8, 0.8)] * 3)
    >>> [round(row.fill_share, 3) for row in sowing_plan(sure, np.eye(CLUSTERING.size)[0], 72).rows]
    [0.8, 0.96, 0.992]
    """
    if cells < 1:
        raise ValueError("there must be a cell to sow")
    prices = costs or Costs()
    rows: list[SowingRow] = []
    fill_before = 0.0
    spent_before: float | None = None
    for per_cell in range(1, MOST_PER_CELL + 1):
        share, chances = _fill(forecast, clustering, per_cell)
        fill = float(share @ chances)
        thinned = round(max(0.0, float(forecast.values @ forecast.chances) * per_cell - fill), 9)
        spent = _seed_and_time(prices, per_cell, thinned)
        pays = None
        if spent is not None and spent_before is not None and fill > fill_before:
            pays = (spent - spent_before) / (fill - fill_before)
        numbers = _numbers(share, chances, cells, plants, certain_share)
        price = _price(prices, cells, per_cell, thinned)
        rows.append(
            SowingRow(
                per_cell,
                per_cell * cells,
                fill,
                fill * cells,
                *numbers.range,
                thinned * cells,
                thinned * cells * prices.thin_s / 60,
                numbers.wanted_chance,
                numbers.cells_needed,
                None if numbers.cells_needed is None else numbers.cells_needed * per_cell,
                price,
                None if price is None or not fill else price / (fill * cells),
                pays,
            )
        )
        fill_before, spent_before = fill, spent
        plan = SowingPlan(tuple(rows), *_chosen(rows, plants, fill_share, certain_share))
        done = plan.for_fill is not None and (plants is None or plants > cells or plan.for_plants is not None)
        if fill >= ENOUGH or (done and per_cell > max(plan.for_fill or 0, plan.for_plants or 0)):
            break
    return plan


@dataclass(frozen=True, slots=True)
class _Numbers:
    range: tuple[int, int]
    wanted_chance: float | None
    cells_needed: int | None


def _chosen(
    rows: list[SowingRow], plants: int | None, fill_share: float, certain_share: float
) -> tuple[int | None, int | None, int | None, int]:
    for_fill = next((row.per_cell for row in rows if row.fill_share >= fill_share), None)
    for_plants = next(
        (
            row.per_cell
            for row in rows
            if row.wanted_chance is not None and row.wanted_chance >= certain_share
        ),
        None,
    )
    priced = [row for row in rows if row.plant_price is not None]
    cheapest = min(priced, key=lambda row: row.plant_price or 0.0).per_cell if priced else None
    steps = [after.fill_share - before.fill_share for before, after in pairwise(rows)]
    levels_off = next((k + 1 for k, step in enumerate(steps) if step < WORTH_A_SEED), rows[-1].per_cell)
    return for_fill, for_plants if plants is not None else None, cheapest, levels_off


def _fill(forecast: EmergenceForecast, clustering: Floats, per_cell: int) -> tuple[Floats, Floats]:
    """Parts of the cells that get a seedling, rising, and the chance of each."""
    filled = 1 - empty_chance(forecast.values[:, None], per_cell, CLUSTERING[None, :])
    chances = forecast.chances[:, None] * clustering[None, :]
    which = np.minimum((filled * BINS).astype(np.int64), BINS - 1).ravel()
    total = np.bincount(which, weights=chances.ravel(), minlength=BINS)
    summed = np.bincount(which, weights=(filled * chances).ravel(), minlength=BINS)
    kept = total > 1e-12
    return np.minimum(summed[kept] / total[kept], 1.0), total[kept] / total[kept].sum()


def _numbers(
    share: Floats, chances: Floats, cells: int, plants: int | None, certain_share: float
) -> _Numbers:
    k = np.arange(cells + 1)
    below = np.array([1.0]) if cells == 0 else chances @ special.bdtr(k[None, :], cells, share[:, None])
    tail = (1 - LEVEL) / 2
    low, high = (int(np.searchsorted(below, at, side="left")) for at in (tail, 1 - tail))
    if plants is None:
        return _Numbers((low, high), None, None)
    return _Numbers(
        (low, high),
        _chance_of(plants, cells, share, chances),
        _cells_for(plants, share, chances, certain_share),
    )


def _chance_of(plants: int, cells: int, share: Floats, chances: Floats) -> float:
    """Chance of at least so many filled cells."""
    if plants <= 0:
        return 1.0
    if plants > cells:
        return 0.0
    return float(chances @ special.bdtrc(plants - 1, cells, share))


def _cells_for(plants: int, share: Floats, chances: Floats, certain_share: float) -> int | None:
    """Fewest cells that give the plants surely enough; None where twenty times as many would not."""
    low, high = plants, max(plants, 1) * MOST_CELLS_TIMES
    if _chance_of(plants, high, share, chances) < certain_share:
        return None
    while low < high:
        middle = (low + high) // 2
        if _chance_of(plants, middle, share, chances) >= certain_share:
            high = middle
        else:
            low = middle + 1
    return low


def _seed_and_time(prices: Costs, per_cell: int, thinned: float) -> float | None:
    """What the seed of one cell and thinning it cost; None without the price of seed."""
    if prices.seed_price is None:
        return None
    return per_cell * prices.seed_price + thinned * prices.thin_s / 3600 * (prices.hour_price or 0.0)


def _price(prices: Costs, cells: int, per_cell: int, thinned: float) -> float | None:
    if prices.seed_price is None and prices.cell_price is None and prices.hour_price is None:
        return None
    seed_and_time = per_cell * (prices.seed_price or 0.0) + thinned * prices.thin_s / 3600 * (
        prices.hour_price or 0.0
    )
    return cells * (seed_and_time + (prices.cell_price or 0.0))
