"""How many seeds to sow in each cell: cells filled, plants had, seeds and money spent, for 1, 2, 3 …"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.cell_fill import CLUSTERING, empty_chance
from traywarden.domain.emergence_forecast import LEVEL, EmergenceForecast
from traywarden.domain.germination_metrics import Floats
from traywarden.domain.lot_germination import interval_of
from traywarden.domain.sowing_costs import Costs

MOST_PER_CELL = 4
"""More seeds in a cell are tedious to thin, and pricked out of an open tray instead (common practice, no
source)."""
FILL = 0.95
CERTAIN = 0.90
"""Cells to be filled in a middling tray, and how sure the plants wanted should be (common practice, no
source)."""
LEAST_GAIN = 0.02
"""One more seed in each cell is worth sowing if it fills so many cells more (common practice, no source)."""
MOST_CELLS_TIMES = 20
BINS = 300


@dataclass(frozen=True, slots=True)
class SowingRow:
    """What comes of so many seeds in each of so many cells.

    Filled, on average `fill_share` of the cells, `filled` of them; in a middling tray, better than half of
    the trays and worse than the others, `middle_share` and `filled_middle`; from `filled_low` to
    `filled_high` in four trays of five. `wanted_chance` is the chance of the plants wanted from these cells,
    `cells_needed` how many cells would give them surely enough, `thinned` the seedlings too many. `price`
    sums what is known of seed, cells and time; `plant_price` is that for each plant. `pays_from_price`: from
    what an empty cell costs upwards the last seed added in each cell pays for itself.
    """

    per_cell: int
    cells: int
    seeds: int
    fill_share: float
    filled: float
    middle_share: float
    filled_middle: int
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

    `for_fill`: the fewest seeds that fill the part wanted in a middling tray; `for_plants`: that give the
    plants wanted from these cells surely enough; `levels_off`: from there on one seed more is not worth
    sowing; `cheapest`: the lowest price of a plant, where prices are known. `best` is what to sow, `left`
    what to sow of the seeds left where those are fewer.
    """

    rows: tuple[SowingRow, ...]
    for_fill: int | None
    for_plants: int | None
    levels_off: int | None
    cheapest: int | None
    best: SowingRow
    left: SowingRow | None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted: plants, one from each filled cell, and from which cells (None: as many as it takes).

    `fill_share` of the cells filled in a middling tray, the plants as surely as `certain_share`; a seed more
    in each cell only if it fills `gain_share` more of them, and no more than `most_per_cell`.
    """

    cells: int | None
    plants: int | None = None
    fill_share: float = FILL
    certain_share: float = CERTAIN
    gain_share: float = LEAST_GAIN
    most_per_cell: int = MOST_PER_CELL


def sowing_plan(
    forecast: EmergenceForecast,
    clustering: Floats,
    wanted: Wanted,
    costs: Costs | None = None,
    seeds_left: int | None = None,
) -> SowingPlan:
    """Weigh 1, 2, 3 … seeds in each cell.

    Parameters
    ----------
    forecast : what part of the seeds will come up in the tray
    clustering : array, chances of CLUSTERING: how far seeds of one cell share its luck
    wanted : Wanted
    costs : Costs, what is known of prices
    seeds_left : int or None, seeds there are

    Returns
    -------
    SowingPlan, up to one seed more than is worth sowing

    Notes
    -----
    Cells filled are binomial given how the tray does, and how the tray does is the forecast: the interval
    holds both. What to sow is decided for the middling tray: the fewest seeds in a cell that fill the part
    wanted, or that give the plants wanted from the cells there are, but no more than are worth sowing or
    thinning. More seeds in a cell do not help where the whole lot or the whole tray does badly; more cells,
    or knowing more, do. A filled cell gives one plant; seedlings beyond the first are thinned. From n − 1 to
    n seeds the last seed pays where (its price + thinning) / (rise in the part filled) is below what an empty
    cell costs (its mix, its place on the bench, the plant not had).

    Raises
    ------
    ValueError if there is no cell, or neither cells nor plants are given.

    Examples
    --------
    >>> from traywarden.domain.emergence_forecast import Middle
    >>> sure = EmergenceForecast(np.array([0.8]), np.ones(1), *[Middle(0.8, 0.8, 0.8)] * 3)
    >>> plan = sowing_plan(sure, np.eye(CLUSTERING.size)[0], Wanted(72))
    >>> [round(row.fill_share, 3) for row in plan.rows], plan.best.per_cell
    ([0.8, 0.96, 0.992], 2)
    """
    if wanted.cells is None and wanted.plants is None:
        raise ValueError("cells or plants must be given")
    if wanted.cells is not None and wanted.cells < 1:
        raise ValueError("there must be a cell to sow")
    table = _Table(forecast, clustering, wanted, costs or Costs())
    rows: list[SowingRow] = []
    for_fill = levels_off = None
    while (
        len(rows) <= wanted.most_per_cell
        and (for_fill is None or len(rows) <= for_fill)
        and levels_off is None
    ):
        rows.append(table.row(len(rows) + 1, wanted.cells))
        if for_fill is None and rows[-1].middle_share >= wanted.fill_share:
            for_fill = len(rows)
        if len(rows) > 1 and rows[-1].middle_share - rows[-2].middle_share < wanted.gain_share:
            levels_off = len(rows) - 1
    most = min(wanted.most_per_cell, for_fill or len(rows), levels_off or len(rows))
    chances = [row.wanted_chance or 0.0 for row in rows]
    enough = [k + 1 for k, chance in enumerate(chances) if chance >= wanted.certain_share]
    for_plants = enough[0] if wanted.cells is not None and enough else None
    best = rows[min(for_plants or most, most) - 1]
    priced = [row for row in rows if row.plant_price is not None]
    cheapest = min(priced, key=lambda row: row.plant_price or 0.0).per_cell if priced else None
    left = None
    if seeds_left and seeds_left < best.seeds:
        left = table.from_left(rows[: best.per_cell], seeds_left)
    return SowingPlan(tuple(rows), for_fill, for_plants, levels_off, cheapest, best, left)


def filled_range(
    forecast: EmergenceForecast, clustering: Floats, per_cell: int, cells: int
) -> tuple[int, int]:
    """Cells filled in four trays of five, from … to."""
    share, chances = _fill(forecast, clustering, per_cell)
    low, high = (_count_at(level, cells, share, chances) for level in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return low, high


class _Table:
    """Rows as they are asked for."""

    def __init__(
        self, forecast: EmergenceForecast, clustering: Floats, wanted: Wanted, prices: Costs
    ) -> None:
        self._forecast, self._clustering = forecast, clustering
        self._wanted, self._prices = wanted, prices

    def row(self, per_cell: int, cells: int | None) -> SowingRow:
        """With cells None: as many as give the plants surely enough, or in a middling tray."""
        share, chances = _fill(self._forecast, self._clustering, per_cell)
        fill = float(share @ chances)
        middle = float(interval_of(share, chances, 0.0)[0])
        plants, certain = self._wanted.plants, self._wanted.certain_share
        needed = None if plants is None else _cells_for(plants, share, chances, certain)
        if cells is None:
            cells = needed or math.ceil((plants or 1) / max(middle, 1 / MOST_CELLS_TIMES))
        prices = self._prices
        thinned = self._thinned(per_cell, fill)
        price = prices.of_all(cells, per_cell, thinned)
        low, median, high = (
            _count_at(level, cells, share, chances) for level in ((1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2)
        )
        return SowingRow(
            per_cell,
            cells,
            per_cell * cells,
            fill,
            fill * cells,
            middle,
            median,
            low,
            high,
            thinned * cells,
            thinned * cells * prices.thin_s / 60,
            None if plants is None else _chance_of(plants, cells, share, chances),
            needed,
            None if needed is None else needed * per_cell,
            price,
            None if price is None or not fill else price / (fill * cells),
            self._pays(per_cell, fill, thinned),
        )

    def from_left(self, rows: list[SowingRow], seeds: int) -> SowingRow:
        """What to make of fewer seeds: all that is wanted with fewer in a cell, else every cell once more."""
        if self._wanted.cells is None:
            for row in reversed(rows):
                if row.seeds <= seeds:
                    return row
        cells = self._wanted.cells or seeds
        per_cell = max(1, seeds // cells)
        return self.row(per_cell, min(cells, seeds // per_cell))

    def _thinned(self, per_cell: int, fill: float) -> float:
        """Seedlings too many in a cell, on average."""
        up = float(self._forecast.values @ self._forecast.chances) * per_cell
        return round(max(0.0, up - fill), 9)

    def _pays(self, per_cell: int, fill: float, thinned: float) -> float | None:
        if per_cell == 1:
            return None
        before = float(np.dot(*_fill(self._forecast, self._clustering, per_cell - 1)))
        spent = self._prices.of_cell(per_cell, thinned)
        spent_before = self._prices.of_cell(per_cell - 1, self._thinned(per_cell - 1, before))
        if spent is None or spent_before is None or not fill > before:
            return None
        return (spent - spent_before) / (fill - before)


def _fill(forecast: EmergenceForecast, clustering: Floats, per_cell: int) -> tuple[Floats, Floats]:
    """Parts of the cells that get a seedling, rising, and the chance of each."""
    filled = 1 - empty_chance(forecast.values[:, None], per_cell, CLUSTERING[None, :])
    chances = forecast.chances[:, None] * clustering[None, :]
    which = np.minimum((filled * BINS).astype(np.int64), BINS - 1).ravel()
    total = np.bincount(which, weights=chances.ravel(), minlength=BINS)
    summed = np.bincount(which, weights=(filled * chances).ravel(), minlength=BINS)
    kept = total > 1e-12
    return np.minimum(summed[kept] / total[kept], 1.0), total[kept] / total[kept].sum()


def _count_at(level: float, cells: int, share: Floats, chances: Floats) -> int:
    """The fewest filled cells that are not exceeded with that chance."""
    low, high = 0, cells
    while low < high:
        middle = (low + high) // 2
        if float(chances @ special.bdtr(middle, cells, share)) >= level:
            high = middle
        else:
            low = middle + 1
    return low


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
