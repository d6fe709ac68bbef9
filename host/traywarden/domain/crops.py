"""A crop: the temperatures its seed comes up at, and how long that takes, as published."""

from collections.abc import Mapping
from dataclasses import dataclass, field

PUBLISHED_MINIMUM = "published minimum"
RECOMMENDED_FROM = "recommended range begins at"


@dataclass(frozen=True, slots=True)
class HeatSum:
    """Base temperature [°C] and heat sum [°C·days] of a crop to emergence, with their source.

    `fitted`: drawn here through the crop's own days table, not published.
    """

    base_c: float
    sum_c_days: float
    source: str
    fitted: bool = False


@dataclass(frozen=True, slots=True)
class Crop:
    """One kind of seed. Temperatures [°C] are those of the mix at seed depth; None where none is published.

    `source` speaks for min_c, opt_low_c and opt_high_c, and for max_c unless `max_source` names another.
    Each source is a short name that stands next to a value; `citations` has the whole reference for each.
    `days_to_emergence` holds (temperature [°C], days, or None where none came up); temperatures that were not
    tested are left out. `days_in_range` is what a source states for its recommended range as a whole.
    """

    key: str
    name: str
    min_c: float | None = None
    opt_low_c: float | None = None
    opt_high_c: float | None = None
    max_c: float | None = None
    source: str = ""
    max_source: str = ""
    days_to_emergence: tuple[tuple[float, float | None], ...] = ()
    days_source: str = ""
    days_verified: bool = True
    days_in_range: tuple[float, float] | None = None
    base_temp_c: float | None = None
    base_temp_source: str = ""
    kind: str = "vegetable"
    light: str = ""
    light_source: str = ""
    notes: str = ""
    also: tuple[str, ...] = ()
    citations: Mapping[str, str] = field(default_factory=dict)

    @property
    def floor_c(self) -> float | None:
        """The temperature below which the seed lies too cold [°C].

        The published minimum; where none is published, the beginning of the recommended range, which is a
        milder thing: below it seed comes up late and unevenly, not never. `floor_kind` says which it is.
        """
        return self.opt_low_c if self.min_c is None else self.min_c

    @property
    def floor_kind(self) -> str:
        """What `floor_c` is, to stand before the number; empty where there is none."""
        if self.floor_c is None:
            return ""
        return RECOMMENDED_FROM if self.min_c is None else PUBLISHED_MINIMUM

    @property
    def floor_source(self) -> str:
        """The short name of the source of `floor_c`."""
        return "" if self.floor_c is None else self.source
