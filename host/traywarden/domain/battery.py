"""What the volts of a probe's battery tell: which way they go, and that they do not tell days."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

DAY_S = 86_400.0
LEAST_DAYS = 3
STEADY_V_PER_DAY = 0.005
"""Up to this a day the volts count as steady (no source)."""
LOW_V = 3.5
"""One lithium cell below this is nearly empty: its volts fall fast from here (common practice, no source)."""
ONE_CELL_V = (2.5, 4.4)
"""Between these the volts are taken for those of one lithium cell."""


@dataclass(frozen=True, slots=True)
class BatteryTrend:
    """Change of the volts [V/day] over `days` days; None where too few tell."""

    per_day_v: float | None
    days: int

    @property
    def way(self) -> str:
        """Which way the volts go."""
        if self.per_day_v is None:
            return f"which way it goes shows after {LEAST_DAYS} days of readings"
        if abs(self.per_day_v) <= STEADY_V_PER_DAY:
            return f"steady over {self.days} days"
        verb = "rises" if self.per_day_v > 0 else "falls"
        return f"{verb} by {abs(self.per_day_v) * 1000:.0f} mV a day over {self.days} days"


def battery_means(volts: float) -> str:
    """What the volts of a battery say of what is left in it, and what to do."""
    if not ONE_CELL_V[0] <= volts <= ONE_CELL_V[1]:
        return "These are not the volts of one lithium cell, so what is left is not judged."
    if volts < LOW_V:
        return "Nearly empty: charge it or change the cell soon."
    return (
        f"Days left cannot be told from volts: a lithium cell holds them, and falls fast below {LOW_V:g} V."
    )


def battery_trend(time_s: ArrayLike, volts: ArrayLike) -> BatteryTrend:
    """How the volts change from day to day.

    Parameters
    ----------
    time_s : array [s]
    volts : array [V]
        NaN values are left out.

    Returns
    -------
    BatteryTrend

    Notes
    -----
    Median slope between all pairs of daily medians (Theil–Sen): one cold night or a stray value moves it
    little. Days are counted from the first reading. Without an interval: it says which way the volts go, and
    nothing is worked out from it.

    References
    ----------
    Sen 1968, J. Am. Stat. Assoc. 63:1379 (slope).

    Examples
    --------
    >>> battery_trend([0, 86_400, 172_800, 259_200], [4.0, 3.98, 3.96, 3.94]).per_day_v
    -0.02
    """
    times, values = np.asarray(time_s, np.float64), np.asarray(volts, np.float64)
    kept = np.isfinite(times) & np.isfinite(values)
    times, values = times[kept], values[kept]
    if not times.size:
        return BatteryTrend(None, 0)
    number = np.floor((times - times[0]) / DAY_S).astype(np.int64)
    days = np.unique(number)
    if days.size < LEAST_DAYS:
        return BatteryTrend(None, int(days.size))
    daily_v = np.array([np.median(values[number == day]) for day in days])
    first, second = np.triu_indices(days.size, 1)
    slopes = (daily_v[second] - daily_v[first]) / (days[second] - days[first])
    return BatteryTrend(round(float(np.median(slopes)), 5), int(days[-1] - days[0]) + 1)
