"""Made-up seed trays: moisture that dries, swings with the day, carries noise, watered at known times."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DAY_S = 86400.0
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class MadeTray:
    time_s: Floats
    moisture_m3_m3: Floats
    soil_temp_c: Floats
    watered_s: tuple[float, ...]


def made_tray(
    *,
    spacing_s: float = 300.0,
    days: int = 6,
    watered_h: tuple[float, ...] = (8.0,),
    every_days: int = 1,
    climb_s: float = 300.0,
    swing_m3_m3: float = 0.015,
    noise_m3_m3: float = 0.003,
    step_m3_m3: float = 0.0,
    tau_s: float = 2 * DAY_S,
    wet_m3_m3: float = 0.50,
    seed: int = 1,
) -> MadeTray:
    """A tray that dries towards 0.12 and is watered back to `wet_m3_m3`."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, days * DAY_S, spacing_s)
    watered = tuple(
        d * DAY_S + h * HOUR_S + 137.0 for d in range(0, days, every_days) for h in watered_h if d or h >= 3
    )
    level, low = np.empty(time_s.size), 0.12
    top, since_s = 0.45, 0.0
    edges = [*watered, np.inf]
    level[:] = low + (top - low) * np.exp(-(time_s - since_s) / tau_s)
    for start_s, end_s in pairwise(edges):
        before = low + (top - low) * np.exp(-(start_s - since_s) / tau_s)
        mine = (time_s >= start_s) & (time_s < end_s)
        elapsed_s = time_s[mine] - start_s
        climbing = before + (wet_m3_m3 - before) * elapsed_s / climb_s
        drying = low + (wet_m3_m3 - low) * np.exp(-(elapsed_s - climb_s) / tau_s)
        level[mine] = np.where(elapsed_s < climb_s, climbing, drying)
        top, since_s = wet_m3_m3, start_s + climb_s
    level += swing_m3_m3 * np.sin(2 * np.pi * (time_s / DAY_S - 0.4)) + rng.normal(
        0, noise_m3_m3, time_s.size
    )
    if step_m3_m3:
        level = np.round(level / step_m3_m3) * step_m3_m3
    temps = 18 + 12 * np.sin(2 * np.pi * (time_s / DAY_S - 0.375))
    return MadeTray(time_s, level, temps, watered)
