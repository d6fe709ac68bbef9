"""What seed, thinning and cells cost."""

from dataclasses import dataclass

THIN_S = 4.0
"""To snip one seedling too many [s] (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Costs:
    """What things cost, in the grower's own money. None: not known, and left out of sums."""

    seed_price: float | None = None
    cell_price: float | None = None
    hour_price: float | None = None
    thin_s: float = THIN_S

    @property
    def weighable(self) -> bool:
        """Whether one seed more costs anything, as far as is known."""
        return bool(self.seed_price) or (self.seed_price is not None and bool(self.hour_price))

    def of_cell(self, per_cell: int, thinned: float) -> float | None:
        """What the seed of one cell and thinning it cost; None without the price of seed.

        >>> Costs(0.05, hour_price=18.0).of_cell(2, 0.5)
        0.11
        """
        if self.seed_price is None:
            return None
        return per_cell * self.seed_price + thinned * self._thin_price

    def of_all(self, cells: int, per_cell: int, thinned: float) -> float | None:
        """What seed, thinning and cells cost together, as far as is known; None where nothing is."""
        if self.seed_price is None and self.cell_price is None and self.hour_price is None:
            return None
        each = per_cell * (self.seed_price or 0.0) + thinned * self._thin_price + (self.cell_price or 0.0)
        return cells * each

    @property
    def _thin_price(self) -> float:
        return self.thin_s / 3600 * (self.hour_price or 0.0)
