"""Degree-days to emergence as a second opinion: one base, one sum, a straight line for every temperature."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.crops import Crop, HeatSum
from traywarden.domain.development import TABLE_LOG_SD, RateCurve, curve_of_sum, straight_line
from traywarden.domain.progress import Progress
from traywarden.domain.units import Display

LEAST_TEMPERATURES = 3
"""A line through two temperatures always fits and says nothing of how well (common practice, no source)."""
APART = 0.2
"""The two opinions differ when their progress differs by more than this part (no source) …"""
LEAST_APART = 0.05
"""… and by more than this (no source)."""


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """Degree-days gathered since sowing against the sum needed, and how that compares with the rate sum.

    `done` is the part gathered; `disagreement` says in words where the two differ, and why; else it is empty.
    """

    heat_sum: HeatSum
    gathered_c_days: float
    done: float
    disagreement: str


def fitted_heat_sum(crop: Crop) -> HeatSum | None:
    """Base and heat sum of the straight line through the rates of the crop's days table.

    Parameters
    ----------
    crop : Crop

    Returns
    -------
    HeatSum, or None with fewer than three temperatures up to 25 °C, or the fastest

    Notes
    -----
    1/days is fitted by least squares against temperature; the sum is the reciprocal of the slope, the base is
    where the line meets zero. It comes from the same table as the rate sum, so that the two differ only by
    the straightness of the line.

    References
    ----------
    Brewster, Onions and Other Vegetable Alliums, equations 4.6–4.7.

    Examples
    --------
    >>> days = ((10.0, 43.0), (15.0, 14.0), (20.0, 8.0), (25.0, 6.0), (30.0, 6.0), (35.0, 9.0))
    >>> found = fitted_heat_sum(Crop("tomato", "Tomato", days_to_emergence=days))
    >>> round(found.base_c, 2), round(found.sum_c_days, 1)
    (7.52, 103.3)
    """
    tested = [(temp_c, days) for temp_c, days in crop.days_to_emergence if days is not None]
    if len(tested) < LEAST_TEMPERATURES:
        return None
    temps, days = (np.array(column) for column in zip(*tested, strict=True))
    if (temps <= min(25.0, temps[int(np.argmin(days))])).sum() < LEAST_TEMPERATURES:
        return None
    line = straight_line(temps, days)
    if line is None:
        return None
    source = f"a straight line through the same table ({crop.days_source})"
    return HeatSum(line[0], line[1], source, fitted=True)


def straight_curve(crop: Crop, heat_sum: HeatSum) -> RateCurve:
    """The rate curve of a heat sum, without the crop's limits: degree-days know a base and nothing else."""
    bare = Crop(crop.key, crop.name)
    return curve_of_sum(bare, heat_sum.base_c, heat_sum.sum_c_days, TABLE_LOG_SD, heat_sum.source)


def second_opinion(
    heat_sum: HeatSum,
    by_sum: Progress,
    by_rates: Progress,
    curve: RateCurve,
    warm_h: float,
    display: Display = Display(),  # noqa: B008 (frozen)
) -> SecondOpinion:
    """What degree-days say of a sowing beside the rate sum.

    Parameters
    ----------
    heat_sum : HeatSum
    by_sum : Progress, along `straight_curve`
    by_rates : Progress, along the crop's own curve
    curve : RateCurve, the crop's own
    warm_h : float [h]
        Hours since sowing warmer than the temperature at which the crop is fastest.
    display : Display, the units of the words

    Returns
    -------
    SecondOpinion
    """
    done = by_sum.now
    words = ""
    if abs(done - by_rates.now) > max(APART * max(done, by_rates.now), LEAST_APART):
        more = "further" if done > by_rates.now else "less far"
        words = (
            f"they put it {more} on than the rate sum ({done * 100:.0f} against {by_rates.now * 100:.0f} %)"
        )
        if done > by_rates.now and warm_h >= 12:
            words += (
                f": for {warm_h:.0f} h it was warmer than {display.temp(curve.best_c, 0)}, where the line "
                "goes on rising and seed does not"
            )
        elif by_rates.slow.cold_h >= 12 and done > by_rates.now:
            words += f": for {by_rates.slow.cold_h:.0f} h it was above the base but below the crop's minimum"
        elif not heat_sum.fitted:
            words += ": two publications, and they do not agree"
        else:
            words += ": between its temperatures the table is not straight"
    return SecondOpinion(heat_sum, done * heat_sum.sum_c_days, done, words)
