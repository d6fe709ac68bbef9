"""Settings in the units a grower reads: °F where that is chosen, percent for parts, minutes and hours."""

from collections.abc import Callable
from dataclasses import dataclass

from traywarden.domain.units import Display
from traywarden.settings import Between, Setting, ZeroOr

DIFFERENCES = frozenset(
    {
        "cold.close_above_c",
        "hot.close_below_c",
        "vent.close_below_c",
        "vent.least_excess_c",
        "shut.least_excess_c",
        "frost.warmer_by_c",
    }
)
"""Settings in °C that are a difference of two temperatures."""
MINUTES_S, HOURS_S = 60.0, 3600.0


@dataclass(frozen=True, slots=True)
class Scale:
    """shown = value kept × factor + offset."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0

    def shown(self, value: float, digits: int = 6) -> str:
        return f"{round(value * self.factor + self.offset, digits):.10g}"

    def kept(self, shown: float) -> float:
        return round((shown - self.offset) / self.factor, 9)


def scale_of(setting: Setting, display: Display) -> Scale:
    """How a number of the table is shown in a form, and read from it."""
    unit = setting.unit
    if unit == "°C" and display.temperature == "F":
        return Scale("°F", 1.8, 0.0 if setting.key in DIFFERENCES else 32.0)
    if unit.startswith("fraction"):
        rest = unit.removeprefix("fraction").replace(" from", " of the way from")
        return Scale(f"%{rest}", 100.0)
    if unit == "s":
        default = float(setting.default)
        if default >= HOURS_S and default % HOURS_S == 0:
            return Scale("h", 1 / HOURS_S)
        if default == 0 or (default >= MINUTES_S and default % MINUTES_S == 0):
            return Scale("min", 1 / MINUTES_S)
    return Scale(unit)


def bounds_words(setting: Setting, scale: Scale) -> str:
    """What a number may be, in the unit it is shown in; empty where it has no bounds."""
    check: Callable[..., str | None] | None = setting.check
    if not isinstance(check, Between | ZeroOr):
        return ""
    low, high = scale.shown(check.low, 2), scale.shown(check.high, 2)
    zero = f"{scale.shown(0)}, or " if isinstance(check, ZeroOr) else ""
    return f"{zero}{low} to {high} {scale.unit}".rstrip()
