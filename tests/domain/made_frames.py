"""A made-up cold frame: one lump of air and mix under glass, sun through passing clouds, a lid that opens.

Closed it forgets with a time constant of half an hour, open with one of four minutes. It proves that what was
put in can be found again, never that frames are like this.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DAY_S, STEP_S = 86_400.0, 60.0
SHUT_TAU_S, OPEN_TAU_S = 1_800.0, 240.0
FULL_SUN_GAIN_C = 24.0


@dataclass(frozen=True, slots=True, eq=False)
class MadeFrame:
    time_s: Floats
    inside_c: Floats
    outside_c: Floats
    opened_s: tuple[float, ...]
    closed_s: tuple[float, ...]


def made_frame(
    *,
    days: int = 20,
    opens_at_c: float = 25.0,
    shuts_at_c: float = 16.0,
    works: float = 1.0,
    cloud: float = 0.5,
    every_s: float = 300.0,
    noise_c: float = 0.1,
    seed: int = 1,
) -> MadeFrame:
    """`works`: part of the days on which the opener moves at all. Readings every `every_s`."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, days * DAY_S, STEP_S)
    hour = time_s % DAY_S / 3600
    swing_c = 10.0 + 5.0 * np.sin((hour - 9) / 24 * 2 * np.pi)
    outside = swing_c + 1.5 * np.repeat(rng.normal(size=days), int(DAY_S / STEP_S))
    sun = np.clip(np.sin((hour - 6) / 12 * np.pi), 0.0, None) * _sky(rng, time_s.size, cloud)
    moving = rng.random(days) < works
    inside, is_open = np.empty(time_s.size), False
    now_c = outside[0]
    opened: list[float] = []
    closed: list[float] = []
    for k in range(time_s.size):
        if not is_open and now_c > opens_at_c and moving[int(time_s[k] // DAY_S)]:
            is_open = True
            opened.append(float(time_s[k]))
        elif is_open and now_c < shuts_at_c:
            is_open = False
            closed.append(float(time_s[k]))
        tau_s = OPEN_TAU_S if is_open else SHUT_TAU_S
        # The same sun warms an open frame less, by as much as it loses faster.
        wanted_c = outside[k] + (1.5 + FULL_SUN_GAIN_C * sun[k]) * tau_s / SHUT_TAU_S
        now_c += (wanted_c - now_c) * (1 - np.exp(-STEP_S / tau_s))
        inside[k] = now_c
    kept = np.arange(0, time_s.size, int(every_s / STEP_S))
    noisy = inside[kept] + rng.normal(0, noise_c, kept.size)
    return MadeFrame(time_s[kept], noisy, outside[kept], tuple(opened), tuple(closed))


def _sky(rng: np.random.Generator, steps: int, cloud: float) -> Floats:
    """Part of the sun that comes through: clear, or a cloud of a few minutes to an hour that takes 80 %."""
    clear, k = np.ones(steps), 0
    while k < steps:
        k += int(rng.exponential(60 * (1.05 - cloud)))
        length = int(rng.exponential(25)) + 3
        clear[k : k + length] = 0.2
        k += length
    return clear
