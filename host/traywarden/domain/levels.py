"""Levels and delays of a rule: one number for all, and others for a crop, a mix or a stage."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

KINDS = ("crop", "mix", "stage")
"""What a level may be given for, the one that counts first in front."""


class Of(NamedTuple):
    """What a level is asked for: crop (its key), mix (its name) and stage; empty where not known."""

    crop: str = ""
    mix: str = ""
    stage: str = ""


Level: TypeAlias = float | Callable[[Of], float]
"""One number, or one that hangs on crop, mix and stage."""


def at(level: Level, of: Of) -> float:
    """The number that holds.

    >>> at(2.0, Of("lettuce")), at(lambda of: 3.0 if of.crop else 1.0, Of("lettuce"))
    (2.0, 3.0)
    """
    return level(of) if callable(level) else level


@dataclass(frozen=True, slots=True)
class Levels:
    """The settings of one rule. `overrides` by key, such as “dry.crop.lettuce.close_above”.

    Example
    -------
    >>> levels = Levels("dry", {"dry.close_above": 0.05}, {"dry.stage.sown.close_above": 0.1})
    >>> levels.value("close_above", Of(stage="sown")), levels.key("close_above", Of(stage="seedling"))
    (0.1, 'dry.close_above')
    """

    rule: str
    plain: Mapping[str, float]
    overrides: Mapping[str, float]

    def key(self, name: str, of: Of) -> str:
        """The key of the setting that holds: the crop's before the mix's before the stage's."""
        for kind, which in zip(KINDS, of, strict=True):
            key = f"{self.rule}.{kind}.{which}.{name}"
            if which and key in self.overrides:
                return key
        return f"{self.rule}.{name}"

    def value(self, name: str, of: Of) -> float:
        key = self.key(name, of)
        return self.overrides[key] if key in self.overrides else self.plain[key]

    def given(self, name: str) -> list[float]:
        """Every number given for that name for some crop, mix or stage.

        >>> Levels("dry", {}, {"dry.stage.sown.line_times": 1.1}).given("line_times")
        [1.1]
        """
        mine = tuple(f"{self.rule}.{kind}." for kind in KINDS)
        return [v for key, v in self.overrides.items() if key.startswith(mine) and key.endswith(f".{name}")]

    def __call__(self, name: str) -> Level:
        """The level of that name, to be asked for what stands in a tray."""
        return lambda of: self.value(name, of)
