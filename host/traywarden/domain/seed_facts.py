"""What is published about a crop's seed: its least germination, how long it keeps, how warm it wants it."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class SeedFacts:
    """Of one crop, each with the short name of its source; None where nothing is published.

    `standard_pct` is the least germination the law asks of seed in trade [%], `years_kept` how long
    well-kept seed is said to stay good, `half_life_years` after how long half of it was dead in open storage,
    `normal_pct` how many normal seedlings came up at a temperature: pairs [°C, %].
    """

    crop: str
    standard_pct: float | None = None
    standard_source: str = ""
    years_kept: float | None = None
    years_source: str = ""
    half_life_years: float | None = None
    half_life_source: str = ""
    normal_pct: tuple[tuple[float, float], ...] = ()
    normal_source: str = ""
    normal_verified: str = ""
    citations: Mapping[str, str] = field(default_factory=dict)

    def normal_share(self, soil_temp_c: float) -> float | None:
        """Normal seedlings at that temperature, as a part of those at the best one.

        Straight lines between the temperatures tested; None outside them, or where none are published.

        >>> SeedFacts("x", normal_pct=((20.0, 99.0), (30.0, 11.0))).normal_share(25.0)
        0.5555555555555556
        """
        if not self.normal_pct:
            return None
        temps, percents = zip(*self.normal_pct, strict=True)
        if not temps[0] <= soil_temp_c <= temps[-1] or not max(percents) > 0:
            return None
        for (low_c, low), (high_c, high) in zip(self.normal_pct, self.normal_pct[1:], strict=False):
            if low_c <= soil_temp_c <= high_c:
                there = low + (high - low) * (soil_temp_c - low_c) / (high_c - low_c)
                return float(there / max(percents))
        return float(percents[0] / max(percents))


@dataclass(frozen=True, slots=True)
class RangeRow:
    """Most that replicates of 100 seeds may lie apart [%] at an average, or at 101 − the average."""

    average_pct: int
    of_4: int | None
    of_2: int | None
    source: str
    verified: bool


@dataclass(frozen=True, slots=True)
class LabelRow:
    """Most that two tests of 400 seeds may differ [%] where their average lies in this span, or 101 − it."""

    lowest_pct: int
    highest_pct: int
    tolerance_pct: int
    source: str
