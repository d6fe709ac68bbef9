"""Counted back from the day plants are wanted: growing on, then emergence in soil as years had it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.series import FloatArray
from traywarden.domain.warm_days import EPOCH

Rate = Callable[[FloatArray], FloatArray]
"""Development [1/d] at temperatures [°C] of any shape; days to emergence are its sum reaching 1."""
DRAWS = 2000
SEED = 1998
EARLY, LATE = 0.1, 0.9
LONGEST_D = 90
"""Seed not up after so long is not counted on in that year (common practice, no source)."""
_BRIDGED_H = 72
_NODES = (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)
"""How much colder or warmer the soil of a year may have been, in its spread: the middles of five even parts
of a normal distribution."""


@dataclass(frozen=True, slots=True, eq=False)
class SoilYears:
    """Hourly soil of one source: `start_day` counts from 1970-01-01, 24 values a day, NaN where not known.

    `spread_c` is how far off it may be over weeks (standard deviation; 0: it was measured).
    """

    source: str
    start_day: int
    soil_c: FloatArray
    spread_c: float = 0.0


@dataclass(frozen=True, slots=True)
class GrowingOn:
    """Published weeks from sowing to planting out [weeks], and the days to emergence that they hold within
    [d]: those at the germination temperature recommended beside them."""

    weeks_low: float
    weeks_high: float
    emergence_d: float
    source: str

    @property
    def days(self) -> tuple[float, float]:
        """Days from emergence to planting out, fewest and most [d]."""
        low_d, high_d = (max(7 * w - self.emergence_d, 7.0) for w in (self.weeks_low, self.weeks_high))
        return low_d, high_d


@dataclass(frozen=True, slots=True)
class Days:
    """A day with its 80 % band: one in ten falls before `early`, one in ten after `late`."""

    early: date
    usual: date
    late: date


@dataclass(frozen=True, slots=True)
class CountedBack:
    """When to sow for a wanted day. `years` had a sowing day that served, `failed` had none. `ready_if_sown`
    is when plants sown on a given day are ready. None where no year serves."""

    sow: Days | None
    emerge: Days | None
    ready: Days | None
    emergence_d: tuple[float, float, float] | None
    years: int
    failed: int
    reason: str = ""


def count_back(
    series: list[SoilYears],
    rate: Rate,
    growing: GrowingOn,
    plants_out: date,
    *,
    emergence_log_sd: float,
    draws: int = DRAWS,
    seed: int = SEED,
) -> CountedBack:
    """The days to sow on so that plants are ready on a wanted day.

    Parameters
    ----------
    series : list of SoilYears of the place
    rate : function, development [1/d] at temperatures [°C]
    growing : GrowingOn
    plants_out : date
    emergence_log_sd : float; spread of ln(days to emergence) about the rate's, of table and seed
    draws, seed : of the simulation

    Returns
    -------
    CountedBack

    Notes
    -----
    In every year whose soil is known before the wanted day of the year, and for many draws of how slow this
    seed is (log-normal), how far off the soil that is told may be (normal, in five steps) and how long
    growing on takes (evenly between the published weeks): the latest day whose emergence — development summed
    hour by hour from noon of the sowing day — and growing on end by the wanted day. The middle 80 % of all
    draws is the band. Growing on is taken as published, for recommended temperatures: in a cold place plants
    take longer than that, and nothing published says by how much.

    Examples
    --------
    >>> warm = SoilYears("made", 19000, np.full(24 * 730, 20.0))
    >>> weeks = GrowingOn(6, 6, 8, "made")
    >>> eight_days = lambda temp_c: np.full(np.shape(temp_c), 1 / 8)
    >>> found = count_back([warm], eight_days, weeks, date(2023, 6, 1), emergence_log_sd=0.0)
    >>> str(found.sow.usual), str(found.emerge.usual), found.years
    ('2023-04-20', '2023-04-28', 2)
    """
    random = np.random.default_rng(seed)
    low_d, high_d = growing.days
    reach_d = int(np.ceil(high_d)) + LONGEST_D + 2
    years = [span for each in series for span in _spans(each, rate, plants_out, reach_d)]
    if not years:
        return CountedBack(
            None, None, None, None, 0, 0, "no year of soil is known for the months before that day"
        )
    sown, up = [], []
    failed = 0
    for ways in years:
        each = -(-draws // len(ways))
        tried = [
            _latest(
                way,
                np.exp(random.normal(0.0, emergence_log_sd, each)),
                random.uniform(low_d, high_d, each),
            )
            for way in ways
        ]
        sow_d, up_d = (np.concatenate(part) for part in zip(*tried, strict=True))
        known = np.isfinite(sow_d)
        if known.mean() < 0.5:
            failed += 1
            continue
        sown.append(sow_d[known])
        up.append(up_d[known])
    if not sown:
        return CountedBack(
            None, None, None, None, 0, failed,
            f"in none of {failed} years does seed sown there come up in time",
        )  # fmt: skip
    sow_d, up_d = np.concatenate(sown), np.concatenate(up)
    ready_d = up_d + random.uniform(low_d, high_d, up_d.size)
    took = np.quantile(up_d - sow_d, [EARLY, 0.5, LATE])
    return CountedBack(
        _days(sow_d, plants_out),
        _days(up_d, plants_out),
        _days(ready_d, plants_out),
        (float(took[0]), float(took[1]), float(took[2])),
        len(sown),
        failed,
    )


def ready_if_sown(
    series: list[SoilYears],
    rate: Rate,
    growing: GrowingOn,
    sown: date,
    *,
    emergence_log_sd: float,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Days | None:
    """When plants sown on a day are ready to plant out; None where no year tells.

    Parameters
    ----------
    series, rate, growing, emergence_log_sd, draws, seed : as in `count_back`
    sown : date

    Returns
    -------
    Days or None

    Examples
    --------
    >>> warm = SoilYears("made", 19000, np.full(24 * 730, 20.0))
    >>> eight_days = lambda temp_c: np.full(np.shape(temp_c), 1 / 8)
    >>> weeks = GrowingOn(6, 6, 8, "made")
    >>> found = ready_if_sown([warm], eight_days, weeks, date(2023, 4, 20), emergence_log_sd=0.0)
    >>> str(found.usual)
    '2023-06-01'
    """
    random = np.random.default_rng(seed)
    low_d, high_d = growing.days
    after = sown + timedelta(days=LONGEST_D)
    found = []
    for each in series:
        for way in (way for ways in _spans(each, rate, after, LONGEST_D) for way in ways):
            slow = np.exp(random.normal(0.0, emergence_log_sd, draws))
            at = np.searchsorted(way, way[12] + slow)
            up_d = (at[at < way.size] - 12) / 24
            found.append(up_d + random.uniform(low_d, high_d, up_d.size))
    if not found or not sum(part.size for part in found):
        return None
    return _days(np.concatenate(found), sown)


def _spans(series: SoilYears, rate: Rate, until: date, reach_d: int) -> list[list[FloatArray]]:
    """For every year the ways it may have been: development gathered by the hour up to its wanted day."""
    end_of_series = series.start_day + series.soil_c.size // 24
    first_year, last_year = (
        (EPOCH + timedelta(days=day)).year for day in (series.start_day, max(end_of_series - 1, 0))
    )
    found = []
    for year in range(first_year, last_year + 2):
        try:
            end_day = (until.replace(year=year) - EPOCH).days
        except ValueError:
            end_day = (date(year, 3, 1) - EPOCH).days
        start = end_day - reach_d - series.start_day
        if start < 0 or end_day - series.start_day > series.soil_c.size // 24:
            continue
        soil = _bridged(series.soil_c[start * 24 : (end_day - series.start_day) * 24])
        if np.isfinite(soil).all():
            nodes = _NODES if series.spread_c > 0 else (0.0,)
            ways = [np.cumsum(rate(soil + node * series.spread_c) / 24) for node in nodes]
            found.append([np.concatenate([[0.0], way]) for way in ways])
    return found


def _latest(cumulated: FloatArray, slow: FloatArray, raised_d: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Days (before 0, the wanted day) of sowing at noon and of emergence; NaN where none serves."""
    hours = cumulated.size - 1
    up = np.floor(hours + 12 - raised_d * 24).astype(np.int64)  # ready by the wanted day's noon
    before = np.clip(up, 0, hours)
    # The last hour from which development until `up` still reaches 1 (times how slow this seed is).
    at = np.searchsorted(cumulated, cumulated[before] - slow, side="right") - 1
    day = (at - 12) // 24
    noon = day * 24 + 12
    serves = (up > 0) & (at >= 12)
    came = np.searchsorted(cumulated, cumulated[np.clip(noon, 0, hours)] + slow)
    serves &= (came <= before + 24) & (came - noon <= LONGEST_D * 24)
    sow_d = np.where(serves, day - hours / 24, np.nan)
    up_d = np.where(serves, came / 24 - hours / 24, np.nan)
    return sow_d, up_d


def _bridged(soil: FloatArray) -> FloatArray:
    """Straight lines across gaps of up to three days."""
    known = np.flatnonzero(np.isfinite(soil))
    if not known.size or known.size == soil.size:
        return soil
    edges = np.concatenate([[-1], known, [soil.size]])
    if np.diff(edges).max() > _BRIDGED_H:
        return soil
    return np.asarray(np.interp(np.arange(soil.size), known, soil[known]))


def _days(days: FloatArray, zero: date) -> Days:
    early, usual, late = (
        zero + timedelta(days=int(np.floor(d))) for d in np.quantile(days, [EARLY, 0.5, LATE])
    )
    return Days(early, usual, late)
