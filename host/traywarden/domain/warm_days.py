"""On which days of the year soil is likely warm enough to sow: a chance by day, with its band, from years."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy import special

from traywarden.domain.series import BoolArray, FloatArray, IntArray

EPOCH = date(1970, 1, 1)
WEEK_D = 7
"""Days after sowing whose mean counts: seed asks for warmth while it drinks and wakes (common practice, no
source)."""
NEIGHBOURS_D = 3
"""Days before and after whose chance is averaged in: a few years say little of one day, more of a week."""
UNSEEN_YEARS = 1.0
"""Years not seen that count as half warm: three warm years of three are no certainty (the rule of succession
with a beta prior of ½ and ½, Jeffreys 1946)."""
LIKELY = 0.8
"""Chance from which a day counts as likely warm enough: four years in five."""
SHORTEST_D = 7
"""A run of likely days shorter than this is no time to sow in."""
FEW_YEARS = 10
"""Below this a chance by day is said to rest on few years: one year in ten cannot show up in fewer."""
RUNS = 400
SEED = 1998
YEAR_D = 366
_LEAST_SPREAD_C = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class SoilDays:
    """Daily means of soil from one source; `day` counts from 1970-01-01, ascending without a gap, NaN where
    not known. `spread_c` is how far off a week's mean may be (standard deviation; 0: it was measured)."""

    source: str
    day: IntArray
    mean_c: FloatArray
    spread_c: float


@dataclass(frozen=True, slots=True)
class WarmSpell:
    """A run of days on which soil is likely warm enough. Each end has the days between which it lies in 80 %
    of resampled years (None where too few of them have such a run)."""

    first: date
    last: date
    first_between: tuple[date, date] | None
    last_between: tuple[date, date] | None


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """Chance by day of a leap year (366 values, NaN where no year is known), its 80 % band, and the years."""

    chance: FloatArray
    low: FloatArray
    high: FloatArray
    years: int
    spells: tuple[WarmSpell, ...]

    def at(self, day: date) -> tuple[float, float, float]:
        """Chance on a day with its band."""
        place = day_of_leap_year(day)
        return float(self.chance[place]), float(self.low[place]), float(self.high[place])


def warm_chances(
    series: list[SoilDays],
    low_c: float | None,
    high_c: float | None,
    year: int,
    *,
    runs: int = RUNS,
    seed: int = SEED,
) -> Chances:
    """The chance by day of the year that soil is warm enough, and not too warm, in the week after.

    Parameters
    ----------
    series : list of SoilDays; every calendar year of each is one witness
    low_c, high_c : float [°C] or None; limits on the mean of the week from that day on
    year : int, the year whose dates the spells are given in
    runs, seed : of the bootstrap

    Returns
    -------
    Chances

    Notes
    -----
    A year's witness for a day is the probability that the week's mean lay within the limits, given how far
    off the week may be (normal; 0 or 1 almost where the soil itself was measured). The chance is the mean
    over years and over three days before and after. Its band: years drawn again with replacement. A spell is
    a run of a week or more with a chance of 0.8 and more, over the turn of the year where it runs so.

    Examples
    --------
    >>> days = np.arange(18262, 18262 + 366 * 3)  # three years from 2020 on
    >>> soil = 12 - 8 * np.cos(2 * np.pi * (days - 18262 - 15) / 365.25)
    >>> found = warm_chances([SoilDays("made", days, soil, 0.5)], 10.0, None, 2026)
    >>> [(str(s.first), str(s.last)) for s in found.spells], found.years
    ([('2026-04-05', '2026-10-22')], 3)
    """
    witness = np.concatenate([_by_year(each, low_c, high_c) for each in series] or [np.empty((0, YEAR_D))])
    witness = witness[np.isfinite(witness).any(axis=1)]
    if not witness.size:
        nothing = np.full(YEAR_D, np.nan)
        return Chances(nothing, nothing, nothing, 0, ())
    chance = _smoothed(witness)
    random = np.random.default_rng(seed)
    drawn = random.integers(0, witness.shape[0], (runs, witness.shape[0]))
    again = np.stack([_smoothed(witness[rows]) for rows in drawn])
    with np.errstate(invalid="ignore"):
        low, high = _quantiles(again)
    return Chances(chance, low, high, witness.shape[0], _spells(chance, again, year))


def day_of_leap_year(day: date) -> int:
    """Where a date stands among the 366 of a leap year, from 0.

    Examples
    --------
    >>> day_of_leap_year(date(2026, 3, 1)), day_of_leap_year(date(2028, 3, 1))
    (60, 60)
    """
    return (date(2000, day.month, day.day) - date(2000, 1, 1)).days


def date_in_year(place: int, year: int) -> date:
    """The date of a place among the 366; 29 February is 1 March in a year without it.

    Examples
    --------
    >>> str(date_in_year(59, 2026)), str(date_in_year(59, 2028))
    ('2026-03-01', '2028-02-29')
    """
    day = date(2000, 1, 1) + timedelta(days=place)
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def _by_year(series: SoilDays, low_c: float | None, high_c: float | None) -> FloatArray:
    """One row for each calendar year: the probability that each day's week lay within the limits."""
    weeks = _week_means(series.mean_c)
    spread = max(series.spread_c, _LEAST_SPREAD_C)
    inside = np.ones(weeks.size)
    if low_c is not None:
        inside = inside * special.ndtr((weeks - low_c) / spread)
    if high_c is not None:
        inside = inside * special.ndtr((high_c - weeks) / spread)
    inside = np.where(np.isfinite(weeks), inside, np.nan)
    dates = [EPOCH + timedelta(days=int(d)) for d in series.day]
    years = np.array([d.year for d in dates], dtype=np.int64)
    places = np.array([day_of_leap_year(d) for d in dates], dtype=np.int64)
    if not years.size:
        return np.empty((0, YEAR_D))
    rows = np.full((int(years[-1] - years[0]) + 1, YEAR_D), np.nan)
    rows[years - years[0], places] = inside
    # 29 February of other years: as the day before it.
    leap = np.isnan(rows[:, 59])
    rows[leap, 59] = rows[leap, 58]
    return rows


def _week_means(mean_c: FloatArray) -> FloatArray:
    """Mean of each day and the six after it; NaN where one of them is not known."""
    found = np.full(mean_c.size, np.nan)
    if mean_c.size >= WEEK_D:
        found[: mean_c.size - WEEK_D + 1] = np.lib.stride_tricks.sliding_window_view(mean_c, WEEK_D).mean(
            axis=1
        )
    return found


def _smoothed(witness: FloatArray) -> FloatArray:
    """Mean over years and neighbouring days, over the turn of the year."""
    known = np.isfinite(witness)
    number = known.sum(axis=0).astype(np.float64)
    total = np.where(known, witness, 0.0).sum(axis=0)
    window = np.ones(2 * NEIGHBOURS_D + 1)

    def around(values: FloatArray) -> FloatArray:
        wrapped = np.concatenate([values[-NEIGHBOURS_D:], values, values[:NEIGHBOURS_D]])
        return np.convolve(wrapped, window, mode="valid")

    number, total = around(number) / window.size, around(total) / window.size
    return np.where(number > 0, (total + 0.5 * UNSEEN_YEARS) / (number + UNSEEN_YEARS), np.nan)


def _quantiles(again: FloatArray) -> tuple[FloatArray, FloatArray]:
    known = np.isfinite(again).any(axis=0)
    low, high = np.full(YEAR_D, np.nan), np.full(YEAR_D, np.nan)
    low[known], high[known] = np.nanquantile(again[:, known], [0.1, 0.9], axis=0)
    return low, high


def _runs(likely: BoolArray) -> list[tuple[int, int]]:
    """Runs of likely days as (first, last), a run over the turn of the year with last beyond 366."""
    if likely.all():
        return [(0, YEAR_D - 1)]
    start = int(np.flatnonzero(~likely)[0])
    turned = np.roll(likely, -start)
    edges = np.diff(np.concatenate([[0], turned.astype(np.int8), [0]]))
    pairs = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True)
    found = []
    for first, end in pairs:
        if end - first >= SHORTEST_D:
            place = (int(first) + start) % YEAR_D
            found.append((place, place + int(end - first) - 1))
    return sorted(found)


def _spells(chance: FloatArray, again: FloatArray, year: int) -> tuple[WarmSpell, ...]:
    mine = _runs(np.nan_to_num(chance) >= LIKELY)
    others = [_runs(np.nan_to_num(row) >= LIKELY) for row in again]
    spells = []
    for first, last in mine:
        # In each resampled set the run that overlaps this one most.
        met = [max(runs, key=lambda run: _overlap(run, (first, last))) for runs in others if runs]
        met = [run for run in met if _overlap(run, (first, last)) > 0]
        enough = len(met) >= 0.8 * len(others)
        spells.append(
            WarmSpell(
                _dated(first, year),
                _dated(last, year),
                _between([_near(run[0], first) for run in met], year) if enough else None,
                _between([_near(run[1], last) for run in met], year) if enough else None,
            )
        )
    return tuple(spells)


def _overlap(a: tuple[int, int], b: tuple[int, int]) -> int:
    return max(min(a[1] + turn, b[1]) - max(a[0] + turn, b[0]) + 1 for turn in (-YEAR_D, 0, YEAR_D))


def _near(place: int, to: int) -> int:
    """The same day of the year, counted so that it lies nearest to another."""
    return min((place + turn for turn in (-YEAR_D, 0, YEAR_D)), key=lambda p: abs(p - to))


def _between(places: list[int], year: int) -> tuple[date, date]:
    low, high = np.quantile(np.array(places, dtype=np.float64), [0.1, 0.9])
    return _dated(round(float(low)), year), _dated(round(float(high)), year)


def _dated(place: int, year: int) -> date:
    turns, within = divmod(place, YEAR_D)
    return date_in_year(within, year + turns)
