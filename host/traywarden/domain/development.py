"""How fast seed develops at a temperature: the reciprocal of the published days to emergence."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from scipy.interpolate import PchipInterpolator

from traywarden.domain.crops import Crop, HeatSum
from traywarden.domain.series import BoolArray, FloatArray
from traywarden.domain.units import Display

TABLE_LOG_SD = 0.145
"""Spread of ln(days) about the published table: root mean square of what the interpolation misses when one
temperature of a crop is left out (87 cells of 24 crops; `python -m tests.figures emergence` prints it)."""
BEYOND_LOG_SD = 0.4
"""The same for temperatures within the crop's limits but beyond those tested: leaving out the coldest cell
misses by 0.37, the warmest by 0.45 (same command)."""
SHAPE_LOG_SD = 0.35
"""Error of the shape borrowed for a crop with days for its recommended range only: it misses the vegetables'
own days by 0.31 at 10 °C, 0.23 at 15 °C and 0.41 at 30 °C (same command)."""
SUM_LOG_SD = 0.2
"""Spread of ln(days) about a heat sum alone: the line misses its own table by 0.14 (same command), other
seed by more (no source)."""
OTHERS_DAYS, OTHERS_LOG_SD = 8.8, 0.43
"""Days at about 20 °C of all 52 crops with published days: geometric mean, and spread of ln(days)."""
BORROWED_BASE_C, FREE_SPAN_C = 4.0, 8.0
"""Base of the borrowed shape (the best of 2 … 8 °C for the vegetables); how far above the recommended range
it stays flat before it falls to nothing within as much again (common practice, no source)."""
LIMIT_SLACK_C = 1.0
"""The limits and the days table are printed in whole steps of °F: 60 against 59, 85 against 86. A temperature
so close outside a limit, at which the days table saw seedlings, counts as inside."""
BASE_BELOW_C = 3.0
"""The base of the thermal-time scale lies at least this far below the coldest tested temperature."""
LOWEST_C, HIGHEST_C, STEP_C = -20.0, 70.0, 0.05
RANGE_Z = 1.2815515655446004
"""A printed range of days is read as the middle 80 % of what growers see (common practice, no source)."""


class Basis(StrEnum):
    """What a rate curve rests on, from best to weakest."""

    TABLE = "published days to emergence by temperature"
    SUM = "a published heat sum"
    RANGE = "published days for its recommended range"
    OTHERS = "the days of other crops"


@dataclass(frozen=True, slots=True, eq=False)
class RateCurve:
    """Development rate [1/d] against mix temperature. Outside `low_c` … `high_c` (None: no limit) it is zero.

    `log_sd` is the spread of ln(days) about it. From `sure_from_c` to `sure_to_c` it rests on published
    values; development outside them adds `unsure_log_sd` in proportion to its share.
    """

    basis: Basis
    per_d: FloatArray = field(repr=False)
    low_c: float | None
    high_c: float | None
    sure_from_c: float
    sure_to_c: float
    log_sd: float
    unsure_log_sd: float
    says: str

    def in_words(self, display: Display) -> str:
        """What it rests on, and between which temperatures it was tested."""
        if self.basis is not Basis.TABLE:
            return self.says
        return f"{self.says}, {display.temp(self.sure_from_c, 0)} to {display.temp(self.sure_to_c, 0)}"

    def rate_per_d(self, temp_c: FloatArray) -> FloatArray:
        """Rates at temperatures [°C] of any shape; NaN stays NaN."""
        place = (np.asarray(temp_c, dtype=np.float64) - LOWEST_C) / STEP_C
        known = np.isfinite(place)
        place = np.clip(np.where(known, place, 0.0), 0.0, self.per_d.size - 1.001)
        left = place.astype(np.int32)
        rates = self.per_d[left] + (place - left) * (self.per_d[left + 1] - self.per_d[left])
        return np.where(known, np.where(self.advances(temp_c) | ~known, rates, 0.0), np.nan)

    def advances(self, temp_c: FloatArray) -> BoolArray:
        """Whether seed advances at all, within the limits. NaN does not."""
        inside = np.isfinite(temp_c)
        if self.low_c is not None:
            inside &= np.greater_equal(temp_c, self.low_c)
        if self.high_c is not None:
            inside &= np.less_equal(temp_c, self.high_c)
        return inside

    def sure(self, temp_c: FloatArray) -> BoolArray:
        """Whether a temperature lies where the curve rests on published values."""
        return np.asarray((temp_c >= self.sure_from_c) & (temp_c <= self.sure_to_c))

    @property
    def best_c(self) -> float:
        """The lowest temperature at which development is fastest."""
        temps = _grid()
        return float(temps[np.argmax(np.where(self.advances(temps), self.per_d, 0.0))])


def curve_for(crop: Crop, heat_sum: HeatSum | None = None) -> RateCurve:
    """The rate curve of a crop, from the best that is published for it.

    Parameters
    ----------
    crop : Crop
    heat_sum : HeatSum, optional
        A published one, for a crop without a days table.

    Returns
    -------
    RateCurve

    Notes
    -----
    With three or more temperatures of the days table: `between_tested`; colder than tested the line through
    the two coldest, warmer the rate of the warmest, or a line to zero at a temperature at which none came up;
    zero outside the crop's limits. With a heat sum: `curve_of_sum`. With days for the recommended range
    alone: their geometric mean within it; below, a straight line to zero at 4 °C; above, flat for 8 °C and
    falling to zero in 8 more. With no days: the same shape about the days of all other crops. What is not
    published for the crop widens `log_sd`.

    References
    ----------
    Rate summation: the reciprocal of the time at a constant temperature, added up over what the mix had;
    for onion seed see Brewster, Onions and Other Vegetable Alliums, equations 4.6–4.7. The way to interpolate
    was chosen by leaving out one temperature at a time (docs/emergence.md).

    Examples
    --------
    >>> days = ((10.0, 43.0), (15.0, 14.0), (20.0, 8.0), (25.0, 6.0))
    >>> tomato = curve_for(Crop("tomato", "Tomato", min_c=10.0, max_c=35.0, days_to_emergence=days))
    >>> (1 / tomato.rate_per_d(np.array([15.0, 17.0, 25.0]))).round(1).tolist()
    [14.0, 10.8, 6.0]
    """
    tested = [(temp_c, days) for temp_c, days in crop.days_to_emergence if days is not None]
    if len(tested) >= 3:
        return _from_table(crop, tested)
    if heat_sum is not None:
        says = f"a published heat sum, a straight line for every temperature ({heat_sum.source})"
        return curve_of_sum(crop, heat_sum.base_c, heat_sum.sum_c_days, SUM_LOG_SD, says)
    if crop.days_in_range and crop.opt_low_c is not None and crop.opt_high_c is not None:
        return _from_range(crop, crop.days_in_range, crop.opt_low_c, crop.opt_high_c)
    return _from_others(crop)


def curve_of_sum(crop: Crop, base_c: float, sum_c_days: float, log_sd: float, says: str) -> RateCurve:
    """The straight rate curve of a heat sum: (T − base) / sum, zero outside the crop's limits.

    Parameters
    ----------
    crop : Crop, for its limits
    base_c : float [°C]
    sum_c_days : float [°C·days]
    log_sd : float, spread of ln(days)
    says : str, what it rests on

    Returns
    -------
    RateCurve

    References
    ----------
    Brewster, Onions and Other Vegetable Alliums, equations 4.6–4.7.

    Examples
    --------
    >>> onion = curve_of_sum(Crop("onion", "Onion"), 2.5, 80.0, 0.2, "Harrington 1962")
    >>> (1 / onion.rate_per_d(np.array([22.5, 7.5]))).round(6).tolist()
    [4.0, 16.0]
    """
    rates = np.maximum(_grid() - base_c, 0.0) / sum_c_days
    high_c = HIGHEST_C if crop.opt_high_c is None else crop.opt_high_c
    return RateCurve(Basis.SUM, rates, crop.min_c, crop.max_c, base_c, high_c, log_sd, SHAPE_LOG_SD, says)


def between_tested(tested_c: FloatArray, days_d: FloatArray, temp_c: FloatArray) -> FloatArray:
    """Rate of development [1/d] between the temperatures tested.

    Parameters
    ----------
    tested_c : array, shape (n,) [°C], increasing, two or more
    days_d : array, shape (n,) [d]
        Days to emergence at each.
    temp_c : array [°C], within the tested ones

    Returns
    -------
    array [1/d]

    Notes
    -----
    Interpolated is ln(days·(T − base)), the heat sum, by a monotone cubic (PCHIP); the base is where a
    straight line through the rates meets zero (`straight_line`), but 3 °C or more below the coldest tested.
    A heat sum changes little from one temperature to the next, so there is little to miss. The result is
    held between the rates of its two neighbours, so that it never rises where the table falls. Leaving out
    one temperature at a time, this missed the printed days by 6.8 % in the median of 87 cells; interpolating
    the rates themselves by 9.7 %, ln(days) by 9.2 %, straight lines between rates by 11 %.

    References
    ----------
    Fritsch & Butland 1984, SIAM J. Sci. Stat. Comput. 5:300 (PCHIP, as in scipy).

    Examples
    --------
    >>> between_tested(np.array([10.0, 20.0]), np.array([20.0, 10.0]), np.array([10.0, 20.0])).round(3)
    array([0.05, 0.1 ])
    """
    line = straight_line(tested_c, days_d)
    highest_c = tested_c[0] - BASE_BELOW_C
    base_c = highest_c if line is None else min(line[0], highest_c)
    log_sums = np.log(days_d * (tested_c - base_c))
    if tested_c.size == 2:
        found = np.interp(temp_c, tested_c, log_sums)
    else:
        found = PchipInterpolator(tested_c, log_sums)(temp_c)
    rates = (temp_c - base_c) / np.exp(found)
    above = np.clip(np.searchsorted(tested_c, temp_c), 1, tested_c.size - 1)
    ends = 1.0 / np.stack([days_d[above - 1], days_d[above]])
    return np.asarray(np.clip(rates, ends.min(axis=0), ends.max(axis=0)))


def straight_line(tested_c: FloatArray, days_d: FloatArray) -> tuple[float, float] | None:
    """Base temperature [°C] and heat sum [°C·days] of the line through the rates up to 25 °C, or the fastest.

    None where fewer than two temperatures are left, or the line does not rise.
    """
    fastest_c = tested_c[int(np.argmin(days_d))]
    used = tested_c <= min(25.0, fastest_c)
    if used.sum() < 2:
        return None
    slope, intercept = np.polyfit(tested_c[used], 1.0 / days_d[used], 1)
    return (float(-intercept / slope), float(1.0 / slope)) if slope > 0 else None


def _grid() -> FloatArray:
    return LOWEST_C + STEP_C * np.arange(round((HIGHEST_C - LOWEST_C) / STEP_C) + 1, dtype=np.float64)


def _from_table(crop: Crop, tested: Sequence[tuple[float, float]]) -> RateCurve:
    temps, days = (np.array(column) for column in zip(*tested, strict=True))
    grid, first_c, last_c = _grid(), float(temps[0]), float(temps[-1])
    rates = np.empty(grid.size)
    inside = (grid >= first_c) & (grid <= last_c)
    rates[inside] = between_tested(temps, days, grid[inside])
    slope = (1.0 / days[1] - 1.0 / days[0]) / (temps[1] - temps[0])
    colder = grid < first_c
    rates[colder] = np.clip(1.0 / days[0] + slope * (grid[colder] - first_c), 0.0, 1.0 / days[0])
    warmer = grid > last_c
    rates[warmer] = 1.0 / days[-1]
    none_up = [temp_c for temp_c, d in crop.days_to_emergence if d is None]
    too_warm_c = min((temp_c for temp_c in none_up if temp_c > last_c), default=None)
    if too_warm_c is not None:
        rates[warmer] *= np.clip((too_warm_c - grid[warmer]) / (too_warm_c - last_c), 0.0, 1.0)
    low_c = _slack(crop.min_c, first_c, -1.0)
    high_c = _slack(crop.max_c, last_c, 1.0)
    too_cold_c = max((temp_c for temp_c in none_up if temp_c < first_c), default=None)
    low_c = max((c for c in (low_c, too_cold_c) if c is not None), default=None)
    high_c = min((c for c in (high_c, too_warm_c) if c is not None), default=None)
    says = f"days to emergence at {temps.size} temperatures ({crop.days_source})"
    return RateCurve(Basis.TABLE, rates, low_c, high_c, first_c, last_c, TABLE_LOG_SD, BEYOND_LOG_SD, says)


def _slack(limit_c: float | None, tested_c: float, outwards: float) -> float | None:
    """The limit, or the tested temperature just outside it."""
    if limit_c is not None and 0.0 < (tested_c - limit_c) * outwards <= LIMIT_SLACK_C:
        return tested_c
    return limit_c


def _from_range(crop: Crop, days: tuple[float, float], low_c: float, high_c: float) -> RateCurve:
    fewest, most = days
    spread = np.log(most / fewest) / (2.0 * RANGE_Z)
    says = (
        f"only {fewest:g} to {most:g} days are published, for its recommended range; the shape outside that "
        "range is borrowed from the vegetables"
    )
    rates = _borrowed_shape(low_c, high_c) / np.sqrt(fewest * most)
    log_sd = float(np.hypot(spread, TABLE_LOG_SD))
    return RateCurve(Basis.RANGE, rates, crop.min_c, crop.max_c, low_c, high_c, log_sd, SHAPE_LOG_SD, says)


def _from_others(crop: Crop) -> RateCurve:
    low_c = 20.0 if crop.opt_low_c is None else crop.opt_low_c
    high_c = max(low_c, 24.0) if crop.opt_high_c is None else crop.opt_high_c
    says = (
        f"no days to emergence are published for it: those of all other crops stand in, about "
        f"{OTHERS_DAYS:.0f} at their recommended temperature, so the band is very wide until your own "
        "records narrow it"
    )
    rates = _borrowed_shape(low_c, high_c) / OTHERS_DAYS
    log_sd = float(np.hypot(OTHERS_LOG_SD, TABLE_LOG_SD))
    return RateCurve(Basis.OTHERS, rates, crop.min_c, crop.max_c, low_c, high_c, log_sd, SHAPE_LOG_SD, says)


def _borrowed_shape(low_c: float, high_c: float) -> FloatArray:
    """1 within the recommended range, less outside it."""
    grid = _grid()
    rising = (grid - BORROWED_BASE_C) / (low_c - BORROWED_BASE_C)
    falling = (high_c + 2.0 * FREE_SPAN_C - grid) / FREE_SPAN_C
    return np.clip(np.minimum(rising, falling), 0.0, 1.0)
