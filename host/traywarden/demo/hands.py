"""Whoever waters a simulated season: by rule and by chance, everything that was done known."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from traywarden.demo.trays import Trays


@dataclass(frozen=True, slots=True)
class Wetted:
    """One tray watered. `how`: “above” or “below”. `thorough`: enough to drain from the bottom."""

    tray: str
    heads: tuple[int, ...]
    at_s: float
    how: str
    thorough: bool
    water_mm: float | None = None


@dataclass
class Hands:
    """Comes by at the hours of `visits_h` and waters what is below its line.

    `from_below`, `skimpy`: how often watering is from below, and how often one from above stops short.
    `line`: where between residual (0) and container capacity (1) water is given; drawn anew for each tray and
    watering between the two. `forgets`: how often a dry tray is passed over.
    """

    seed: int = 1
    visits_h: tuple[float, ...] = (7.5, 18.0)
    from_below: float = 0.4
    skimpy: float = 0.25
    line: tuple[float, float] = (0.30, 0.50)
    forgets: float = 0.15
    _random: np.random.Generator = field(init=False, repr=False)
    _lines: dict[str, float] = field(init=False, default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self._random = np.random.default_rng([self.seed, 4])

    def come_by(
        self, trays: Trays, at_s: float, hour_h: float, step_s: int, names: Sequence[str]
    ) -> list[Wetted]:
        """Water what is dry, at the hours of a visit; nothing at other times."""
        if not any(visit_h <= hour_h < visit_h + step_s / 3600 for visit_h in self.visits_h):
            return []
        level = (trays.water_m3_m3 - trays.residual_m3_m3) / (trays.capacity_m3_m3 - trays.residual_m3_m3)
        heads: dict[str, list[int]] = {}
        for head, name in enumerate(names):
            heads.setdefault(name, []).append(head)
        done: list[Wetted] = []
        for name, mine in heads.items():
            line = self._lines.setdefault(name, self._random.uniform(*self.line))
            frozen = bool((trays.temp_c[mine] <= 0).any())
            if float(level[mine].min()) > line or frozen or self._random.uniform() < self.forgets:
                continue
            done.append(self._water(trays, name, mine, at_s))
            del self._lines[name]
        return done

    def _water(self, trays: Trays, name: str, heads: list[int], at_s: float) -> Wetted:
        if self._random.uniform() < self.from_below:
            for head in heads:
                trays.bathe(head)
            return Wetted(name, tuple(heads), at_s, "below", thorough=True)
        thorough = bool(self._random.uniform() >= self.skimpy)
        lacks_mm = float(((trays.capacity_m3_m3 - trays.water_m3_m3) * trays.depth_mm)[heads].max())
        part = self._random.uniform(1.15, 1.5) if thorough else self._random.uniform(0.35, 0.8)
        for head in heads:
            trays.pour(head, lacks_mm * part)
        return Wetted(name, tuple(heads), at_s, "above", thorough, round(lacks_mm * part, 2))
