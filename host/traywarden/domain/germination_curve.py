"""A smooth curve through the counts of a batch: the Hill function."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

LEAST_COUNTS = 4
"""Fewer counts with new seedlings than this fix no curve (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HillCurve:
    """Part up at t days: final · t^steepness / (half_d^steepness + t^steepness)."""

    final_pct: float
    half_d: float
    steepness: float
    residual_sum: float

    def reached_d(self, part: float) -> float:
        """When that part, 0 to 1, of those that came up was up [d]."""
        return float(self.half_d * (part / (1 - part)) ** (1 / self.steepness))

    def reached_of_sown_d(self, of_sown_pct: float) -> float | None:
        """When that percentage of the seeds sown was up [d]; None where it never is."""
        part = of_sown_pct / self.final_pct
        return self.reached_d(part) if part < 1 else None

    @property
    def fastest_d(self) -> float | None:
        """When seedlings came up fastest [d]; None where the curve is steepest at its start."""
        b = self.steepness
        return None if b <= 1 else self.half_d * ((b - 1) / (b + 1)) ** (1 / b)

    @property
    def spread_d(self) -> float:
        """Days from 10 % to 90 % of those that came up."""
        return self.reached_d(0.9) - self.reached_d(0.1)


def hill_curve(day_d: ArrayLike, up_pct: ArrayLike) -> HillCurve | None:
    """The Hill curve that lies nearest the counts, ending at the last percentage counted.

    Parameters
    ----------
    day_d : array, shape (n,) [d] since sowing, rising, above 0
    up_pct : array, shape (n,) [%] of the seeds sown that were up by then, never falling

    Returns
    -------
    HillCurve, or None where fewer than four counts brought new seedlings

    Notes
    -----
    Four-parameter Hill function with the asymptote held at the last percentage and nothing up at sowing;
    least squares over the counts. A batch that was still coming up at the last count bends it.

    References
    ----------
    El-Kassaby et al. 2008, Forest Sci. 54(2):220.

    Examples
    --------
    >>> day_d = np.arange(1.0, 15.0)
    >>> curve = hill_curve(day_d, 80 * day_d**8 / (6.0**8 + day_d**8))
    >>> round(curve.half_d, 2), round(curve.steepness, 1)
    (6.0, 8.0)
    """
    t, up = np.asarray(day_d, dtype=np.float64), np.asarray(up_pct, dtype=np.float64)
    final_pct = float(up[-1])
    if final_pct <= 0 or int((np.diff(up, prepend=0.0) > 0).sum()) < LEAST_COUNTS:
        return None

    def off(log_parameters: np.ndarray) -> np.ndarray:
        half_d, steepness = np.exp(log_parameters)
        with np.errstate(over="ignore"):  # so steep that nothing was up before: final / (1 + inf) is 0
            return np.asarray(final_pct / (1 + (half_d / t) ** steepness) - up)

    start_d = float(np.interp(final_pct / 2, up, t))
    best = min(
        (
            least_squares(off, np.log([start_d, steepness]), method="lm", xtol=1e-14, ftol=1e-14)
            for steepness in (3.0, 10.0)
        ),
        key=lambda fit: fit.cost,
    )
    half_d, steepness = (float(value) for value in np.exp(best.x))
    return HillCurve(final_pct, half_d, steepness, float(2 * best.cost))
