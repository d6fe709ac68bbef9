"""What a head does as a rule, hour by hour: like the season, as lively as ever, like its neighbours."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.hourly import HOUR_S
from traywarden.domain.qartod import PASS
from traywarden.domain.qartod_wide import attenuated_signal, neighbours
from traywarden.domain.series import FloatArray, IntArray

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class HabitParams:
    """How far from its habit a head may stray. No published limits were found: common practice."""

    least_season_h: int = 240
    """Hours of one month, ten days of them, that show what the month is like …"""
    season_times: float = 4.0
    """… and how many standard deviations from their mean is unlike the season."""
    least_usual_days: int = 5
    """Days that show how lively a head is as a rule; it hardly moves where a day's standard deviation is …"""
    lifeless_part: float = 0.2
    """… below this part of its usual, suspect …"""
    dead_part: float = 0.05
    """… or below this, bad."""
    suspect_apart_c: float = 6.0
    """Two heads of one place differ by this much: wet and dry mix in the sun may; for hours, it is odd."""
    fail_apart_c: float = 12.0
    """… and by this much one of them is wrong."""
    suspect_apart_pct: float = 30.0
    """The same for humidity: sensors are good to about 5 of 100, and wet mix near by may add 20 …"""
    fail_apart_pct: float = 50.0
    saturated_pct: float = 95.0
    """Above this humidity rests, in fog and rain, and shows nothing of how lively its sensor is."""


DEFAULT_HABITS = HabitParams()


def season_spans(
    month: IntArray, values: FloatArray, params: HabitParams = DEFAULT_HABITS
) -> dict[int, tuple[float, float]]:
    """What a head showed in each month, as limits for the climatology test.

    Parameters
    ----------
    month : int array, shape (n,)
        Month 1 … 12 of each hour, in the garden's time.
    values : array, shape (n,), any unit
        Hourly means from before the span that is to be judged; NaN where missing.
    params : HabitParams

    Returns
    -------
    dict of month → (lowest, highest) in that unit; months with too few hours are absent

    Notes
    -----
    Mean ± `season_times` standard deviations of the hours of that month.

    References
    ----------
    QARTOD leaves the limits of the climatology test to the operator.
    """
    spans: dict[int, tuple[float, float]] = {}
    for part in np.unique(month).tolist():
        mine = values[(month == part) & ~np.isnan(values)]
        if mine.size >= params.least_season_h:
            reach = params.season_times * float(mine.std())
            spans[part] = (float(mine.mean()) - reach, float(mine.mean()) + reach)
    return spans


def lifeless(hour_s: FloatArray, values: FloatArray, params: HabitParams = DEFAULT_HABITS) -> IntArray:
    """The attenuated signal test, with limits from the head's own usual day.

    Parameters
    ----------
    hour_s : array, shape (n,) [s]
        Hours, ascending.
    values : array, shape (n,), any unit
        Hourly means; NaN where missing.
    params : HabitParams

    Returns
    -------
    int array, QARTOD codes; NOT_EVALUATED throughout where fewer than `least_usual_days` days show the usual

    Notes
    -----
    Usual is the median of the standard deviations of all whole days (20 hours or more known).

    References
    ----------
    QARTOD attenuated signal test; see `attenuated_signal`.
    """
    known = ~np.isnan(values)
    days = ((hour_s[known] - hour_s[0]) // DAY_S).astype(np.int64) if known.any() else np.empty(0, np.int64)
    hours = np.bincount(days)
    means = np.bincount(days, values[known]) / np.maximum(hours, 1)
    spreads = np.sqrt(np.bincount(days, (values[known] - means[days]) ** 2) / np.maximum(hours, 1))
    spreads = spreads[hours >= 20]
    if spreads.size < params.least_usual_days or not (usual := float(np.median(spreads))) > 0:
        return np.where(np.isnan(values), 9, 2)
    return attenuated_signal(
        hour_s, values, params.lifeless_part * usual, params.dead_part * usual, DAY_S + HOUR_S / 2, 20
    )


def unlike_neighbours(values: FloatArray, others: FloatArray, suspect: float, fail: float) -> IntArray:
    """The neighbour test on hourly means; a lone odd hour between good ones is passed over.

    Parameters
    ----------
    values : array, shape (n,), any unit
    others : array, shape (m, n), in the same unit
        Other heads that should measure much the same, at the same hours.
    suspect, fail : float in the same unit
        Further from the median of the others than this is suspect, or bad.

    Returns
    -------
    int array, QARTOD codes

    References
    ----------
    QARTOD neighbour test; see `neighbours`.
    """
    codes = neighbours(values, others, suspect, fail)
    alone = (codes[1:-1] > 2) & (codes[1:-1] < 9) & (codes[:-2] <= 2) & (codes[2:] <= 2)
    codes[1:-1][alone] = PASS
    return codes
