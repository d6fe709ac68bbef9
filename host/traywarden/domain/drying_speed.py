"""How wet a tray is and how fast it dries at each hour of a dry-down, from the hours up to it alone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.drying import DAY_H, Drying, carried, filled, smoothed

Floats = NDArray[np.float64]

MEMORY_H = 10.0
"""What was measured so many hours ago weighs e times less than what is measured now (no source)."""
HELD_RESIDUAL_M3_M3 = 0.05
"""What stays in the mix: as `DryDownParams.held_residual_m3_m3`, never above half of where it began."""
FIRST_SPEED_PER_H = 1 / 150.0
SPEED_SPREAD = 2.0
"""Before anything is measured: a time constant of 150 usual hours, give or take twice its own size. So wide
that half a day of readings overrules it (no source)."""
SLOWEST = 0.1
"""Moisture that does not fall is taken to fall at a tenth of that speed: it dries in the end (no source)."""
NOISE_M3_M3 = 0.01
"""Scatter of an hour about a smooth fall: one step of the coarsest sensor, as neighbours err alike (no
source)."""
_BLOCK_H = 2000
SWING_SPREAD_M3_M3_PER_C = 0.001
"""How far a sensor's reading moves with its temperature, before its own swing has shown it: capacitive
sensors were seen to drift by 0.02 in 10 °C, either way (MethodsX 2024, doi 10.1016/j.mex.2024.103100)."""


@dataclass(frozen=True, slots=True, eq=False)
class DryingSpeed:
    """At the end of each hour: moisture at the day's mean temperature, and the speed of its fall.

    θ falls by `speed_per_h`·(θ − `residual_m3_m3`) in a usual hour.
    """

    level_m3_m3: Floats
    speed_per_h: Floats
    residual_m3_m3: float


def swing_sums(drying: Drying) -> Floats:
    """What each hour has shown of moisture's answer to soil temperature within the day.

    Parameters
    ----------
    drying : Drying

    Returns
    -------
    array, shape (n, 5): running sums, to be added to those of earlier dry-downs of the same head

    Notes
    -----
    Moisture, soil temperature and demand so far at an hour, each less its mean over the 24 h about it, and
    their products. An hour counts from 12 h later on, when the day about it is known. Without temperature the
    products with it are zero.

    References
    ----------
    None: the sums of a least-squares fit.

    Examples
    --------
    >>> hours = np.arange(48.0)
    >>> flat = Drying(hours * 3600, np.full(48, 0.3), np.sin(hours), np.ones(48), np.ones((48, 24)))
    >>> swing_sums(flat).shape
    (48, 5)
    """
    sums = np.zeros((drying.hours, 5))
    known = np.isfinite(drying.moisture_m3_m3)
    if drying.hours <= DAY_H or not known.any():
        return sums
    inner = slice(DAY_H // 2, drying.hours - DAY_H // 2)
    moisture, temp, demand = (
        filled(v)[inner] - smoothed(filled(v), DAY_H)
        for v in (drying.moisture_m3_m3, drying.soil_temp_c, drying.demand_h)
    )
    temp = np.where(np.isfinite(drying.soil_temp_c[inner]), temp, 0.0)
    products = (temp * temp, temp * demand, demand * demand, temp * moisture, demand * moisture)
    sums[DAY_H:] = np.cumsum(np.stack(products, axis=1) * known[inner, None], axis=0)
    return sums


def swing_m3_m3_per_c(sums: Floats) -> Floats:
    """How much higher a head reads for each °C, from the sums of `swing_sums`.

    Parameters
    ----------
    sums : array, shape (n, 5)

    Returns
    -------
    array, shape (n,) [m³/m³ per °C]

    Notes
    -----
    Least squares on temperature and demand together, as the day's drying and the day's warmth go alike; drawn
    towards zero while there is little to go by.

    References
    ----------
    Hoerl & Kennard 1970, Technometrics 12:55 (ridge regression).

    Examples
    --------
    >>> hours = np.arange(240.0)
    >>> temp = 20 + 6 * np.sin(hours / 24 * 2 * np.pi)
    >>> moist = 0.4 - 0.0005 * hours + 0.001 * temp
    >>> sums = swing_sums(Drying(hours * 3600, moist, temp, np.ones(240), np.ones((240, 24))))
    >>> round(float(swing_m3_m3_per_c(sums)[-1]), 4)
    0.001
    """
    tt, td, dd, tm, dm = sums.T
    tt = tt + NOISE_M3_M3**2 / SWING_SPREAD_M3_M3_PER_C**2
    dd = dd + 1e-9
    return np.asarray((tm * dd - td * dm) / (tt * dd - td * td))


def drying_speed(drying: Drying, share: float, earlier_sums: Floats | None = None) -> DryingSpeed:
    """Level and speed at every hour of a dry-down, each from the hours up to it.

    Parameters
    ----------
    drying : Drying
    share : float, how much of the clock is demand; the rest is time
    earlier_sums : array, shape (5,), optional: the last row of `swing_sums` of earlier dry-downs, added up

    Returns
    -------
    DryingSpeed, arrays of shape (n,)

    Notes
    -----
    θ(j) = level + speed·∫(θ − residual)·pace from hour j to now, by least squares in which hour j weighs
    exp(−age/10 h), drawn weakly to a first guess of the speed; moistures are first brought to the day's mean
    temperature. All hours at once, by running sums. Missing hours weigh nothing. Without moisture all levels
    are zero.

    References
    ----------
    Discounted least squares: Brown 1963, Smoothing, Forecasting and Prediction, ch. 11 [from memory]. Fall in
    proportion to what is above a residual: McColl et al. 2017.

    Examples
    --------
    >>> hours = np.arange(72.0)
    >>> moist = 0.1 / 2 + 0.45 * np.exp(-hours / 60)
    >>> even = Drying(hours * 3600, moist, np.full(72, 20.0), np.ones(72), np.ones((72, 24)))
    >>> found = drying_speed(even, 0.5)
    >>> round(1 / float(found.speed_per_h[-1])), round(float(found.level_m3_m3[-1] - moist[-1]), 4)
    (61, 0.0002)
    """
    known = np.isfinite(drying.moisture_m3_m3)
    moisture, temp = carried(drying.moisture_m3_m3), carried(drying.soil_temp_c)
    sums = swing_sums(drying) if earlier_sums is None else swing_sums(drying) + earlier_sums
    swing = swing_m3_m3_per_c(sums)
    residual = min(HELD_RESIDUAL_M3_M3, max(float(moisture[0]) if moisture.size else 0.0, 0.0) / 2)
    drying_now = np.maximum(moisture - residual, HELD_RESIDUAL_M3_M3 / 10) * drying.pace(share)
    drive = np.cumsum(drying_now) - drying_now / 2
    fade = _Fading(known)
    n, x, xx = fade(np.ones_like(moisture)), fade(drive), fade(drive * drive)
    colder = _mean_of_day(temp)
    y = fade(moisture) - swing * (fade(temp) - colder * n)
    xy = fade(drive * moisture) - swing * (fade(drive * temp) - colder * x)
    # The drive counted from now; then the pull towards the first guess.
    xx, xy, x = xx - 2 * drive * x + drive**2 * n, xy - drive * y, x - drive * n
    pull = NOISE_M3_M3**2 / (SPEED_SPREAD * FIRST_SPEED_PER_H) ** 2
    xx, xy, n = xx + pull, xy - pull * FIRST_SPEED_PER_H, n + 1e-9
    scale = n * xx - x * x
    level = (y * xx - x * xy) / scale
    speed = np.maximum((x * y - n * xy) / scale, SLOWEST * FIRST_SPEED_PER_H)
    return DryingSpeed(level, speed, residual)


class _Fading:
    """Running sums in which the past fades."""

    def __init__(self, known: NDArray[np.bool_]) -> None:
        self._known = known

    def __call__(self, values: Floats) -> Floats:
        """Each sum is the one before it, faded, and the value: block by block, as exp() has an upper end."""
        counted, sums, before = np.where(self._known, values, 0.0), np.empty(values.size), 0.0
        for start in range(0, values.size, _BLOCK_H):
            block = counted[start : start + _BLOCK_H]
            fade = np.exp(-np.arange(1, block.size + 1) / MEMORY_H)
            sums[start : start + block.size] = fade * (before + np.cumsum(block / fade))
            before = sums[start + block.size - 1]
        return sums


def _mean_of_day(values: Floats) -> Floats:
    """Mean of the 24 hours up to each hour, or of as many as there are."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    end = np.arange(1, values.size + 1)
    start = np.maximum(end - DAY_H, 0)
    return np.asarray((total[end] - total[start]) / (end - start))
