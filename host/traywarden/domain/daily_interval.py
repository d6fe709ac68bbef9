"""An interval for the mean of daily values that stays honest for a week of days that resemble each other."""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from traywarden.domain.bootstrap import RUNS, SEED, Interval, mean_interval
from traywarden.domain.series import FloatArray

MOST_LIKENESS = 0.9
"""Lag-1 correlation is never taken for higher: a handful of days cannot show more."""
USUAL_LIKENESS, USUAL_D = 0.3, 3
"""What is taken for likely before any day was seen, and for how many days that counts (no source)."""
FEWEST_DAYS = 5
"""Below this, a lag-1 correlation cannot be told from chance and corrected, and there is no interval."""


def day_to_day_likeness(values: ArrayLike) -> float:
    """How much a day resembles the day before it: lag-1 autocorrelation, corrected for few days.

    Parameters
    ----------
    values : array, shape (n,), in time order; NaN values are left out

    Returns
    -------
    float, 0 … 0.9; 0 with fewer than five values or none that differ

    Notes
    -----
    The plain estimate r comes out too low in short series: E[r] ≈ ρ − (1 + 3ρ)/n; solved for ρ.

    References
    ----------
    Marriott & Pope 1954 and Kendall 1954, Biometrika 41:390 and 403.

    Examples
    --------
    >>> round(day_to_day_likeness([1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0, 2.0, 3.0, 4.0]), 2)
    0.65
    """
    series = np.asarray(values, np.float64)
    series = series[np.isfinite(series)]
    n = series.size
    off = series - series.mean() if n else series
    total = float(off @ off)
    if n < FEWEST_DAYS or total <= 1e-12 * n:
        return 0.0
    plain = float(off[1:] @ off[:-1]) / total
    return float(np.clip((n * plain + 1) / (n - 3), 0.0, MOST_LIKENESS))


def daily_mean_interval(
    values: ArrayLike,
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
    bounds: tuple[float, float] | None = None,
) -> Interval:
    """Mean of daily values with an interval that allows for few days and for days that are alike.

    Parameters
    ----------
    values : array, shape (n,), one for each day in order, NaN where a day is blank
    level, runs, seed : as in `mean_interval`
    bounds : lowest and highest value there can be (0 and 24 hours a day), in the unit of the values

    Returns
    -------
    Interval in the unit of the values; none below five days

    Notes
    -----
    The wider of two: the moving-block bootstrap, and a t-interval whose number of values is cut down to
    n·(1 − ρ)/(1 + ρ) by the likeness ρ of neighbouring days, taken together with three days of the usual
    0.3, because a week can hardly show it. The bootstrap alone is too narrow for a week,
    and at levels such as 99 % for a month, because it cannot draw what it has not seen.

    References
    ----------
    Effective sample size: Bayley & Hammersley 1946, J. R. Stat. Soc. (Suppl.) 8:184; von Storch & Zwiers
    1999, Statistical Analysis in Climate Research, 17.1. Bootstrap: as `mean_interval`.

    Examples
    --------
    >>> week = daily_mean_interval([3.0, 3.4, 2.8, 3.1, 3.3, 2.9, 3.2])
    >>> round(week.estimate, 2), round(week.low, 2), round(week.high, 2)
    (3.1, 2.86, 3.34)
    """
    series = np.asarray(values, np.float64)
    drawn = mean_interval(series, level=level, runs=runs, seed=seed)
    known = series[np.isfinite(series)]
    if drawn.low is None or drawn.high is None or drawn.estimate is None or known.size < FEWEST_DAYS:
        few = f"only {known.size} of the {FEWEST_DAYS} days it takes"
        return replace(drawn, low=None, high=None, reason=few if known.size < FEWEST_DAYS else drawn.reason)
    half = _half_width(known, level)
    lowest, highest = bounds or (-np.inf, np.inf)
    return replace(
        drawn,
        low=max(min(drawn.low, drawn.estimate - half), lowest),
        high=min(max(drawn.high, drawn.estimate + half), highest),
        method=f"{drawn.method}; at least a t-interval for days that are alike",
    )


def _half_width(known: FloatArray, level: float) -> float:
    n = known.size
    likeness = (n * day_to_day_likeness(known) + USUAL_D * USUAL_LIKENESS) / (n + USUAL_D)
    alike = max(n * (1 - likeness) / (1 + likeness), 2.0)
    off = known - known.mean()
    # The scatter about the mean of days that are alike is too small by the scatter of that mean itself.
    variance = float(off @ off) / n / (1 - 1 / alike)
    return float(special.stdtrit(max(alike - 1, 1.0), 1 - (1 - level) / 2) * np.sqrt(variance / alike))
