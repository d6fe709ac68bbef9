"""Progress of seed towards emergence: the development rates of the hours since sowing, added up."""

from dataclasses import dataclass, field

import numpy as np

from traywarden.domain.development import RateCurve
from traywarden.domain.series import FloatArray
from traywarden.domain.units import HOUR_S

SECONDS_PER_DAY = 86_400.0
NEIGHBOUR_D = 3.0
"""How far around a long gap its hours are filled from (common practice, no source)."""
ALIKE_D = 3.0
"""Days in a row that resemble each other: how fast the error of a filled gap averages out (no source)."""


@dataclass(frozen=True, slots=True)
class SlowHours:
    """Hours since sowing in which seed did not advance, and how far outside its limits the mix was [°C·h]."""

    cold_h: float
    cold_c_h: float
    hot_h: float
    hot_c_h: float
    cold_days: int
    hot_days: int


@dataclass(frozen=True, slots=True, eq=False)
class Progress:
    """How far a sowing has come: `end_s` are the ends of its hours, `progress` what was gathered by then.

    1 is the table's own days to emergence. `gap_log_sd` is what filled gaps add to the uncertainty of
    ln(progress), `unsure_share` the part of it made at temperatures for which the curve rests on nothing
    published. `blind` says why nothing can be told; then `progress` is empty.
    """

    end_s: FloatArray = field(repr=False)
    progress: FloatArray = field(repr=False)
    coverage: float
    filled_h: float
    gap_log_sd: float
    unsure_share: float
    slow: SlowHours
    mean_c: float | None
    blind: str = ""

    @property
    def now(self) -> float:
        return float(self.progress[-1]) if self.progress.size else 0.0

    def at(self, time_s: float) -> float:
        """Progress at an instant since sowing."""
        if not self.progress.size:
            return 0.0
        ends = np.concatenate([[self.end_s[0] - HOUR_S], self.end_s])
        return float(np.interp(time_s, ends, np.concatenate([[0.0], self.progress])))


NOTHING = SlowHours(0.0, 0.0, 0.0, 0.0, 0, 0)


def progress_since(
    hour_s: FloatArray,
    temp_c: FloatArray,
    sown_s: float,
    now_s: float,
    curve: RateCurve,
    *,
    least_coverage: float,
    longest_gap_s: float,
) -> Progress:
    """Progress from sowing to now.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], starts of hours, increasing by one hour
    temp_c : array, shape (n,) [°C]
        Mean mix temperature of each hour, NaN where not measured. Hours before sowing help to fill gaps.
    sown_s, now_s : float [s]
    curve : RateCurve
    least_coverage : float [fraction]
        Part of the time since sowing that must be covered; below it nothing is told.
    longest_gap_s : float [s]
        A gap no longer than this is bridged and counts as covered.

    Returns
    -------
    Progress

    Notes
    -----
    Each hour adds its rate at its mean temperature; the first and last count for their part. A longer gap is
    filled hour by hour of the day with the mean rate of the known hours within three days of it, or of all,
    and widens the band: by the spread of the known days' progress times √(3·days), at most times days. The
    time since the last hour measured is not a gap yet while it is shorter than `longest_gap_s`.

    Raises
    ------
    ValueError
        When the hours are not one hour apart.

    References
    ----------
    Rate summation as in `development.curve_for`.

    Examples
    --------
    >>> from traywarden.domain.crops import Crop
    >>> from traywarden.domain.development import curve_for
    >>> tomato = curve_for(Crop("tomato", "", 10.0, None, None, 35.0,
    ...                         days_to_emergence=((15.0, 14.0), (20.0, 8.0), (25.0, 6.0))))
    >>> hours = 3600.0 * np.arange(96)
    >>> half = progress_since(hours, np.full(96, 20.0), 0.0, 345_600.0, tomato,
    ...                       least_coverage=0.8, longest_gap_s=7200.0)
    >>> round(half.now, 3)
    0.5
    """
    if hour_s.size > 1 and not np.allclose(np.diff(hour_s), HOUR_S):
        raise ValueError("hour_s must be whole hours, one after the other.")
    first_s = sown_s // HOUR_S * HOUR_S
    count = int(np.ceil((now_s - first_s) / HOUR_S))
    if count <= 0 or now_s <= sown_s:
        return Progress(np.empty(0), np.empty(0), 0.0, 0.0, 0.0, 0.0, NOTHING, None, "it is not sown yet")
    starts = first_s + HOUR_S * np.arange(count, dtype=np.float64)
    temps = _on_hours(hour_s, temp_c, starts)
    weights = np.minimum(starts + HOUR_S, now_s) - np.maximum(starts, sown_s)
    bridged = _bridged(temps, round(longest_gap_s / HOUR_S))
    known = np.isfinite(bridged)
    coverage = float(weights[known].sum() / weights.sum())
    if coverage < least_coverage:
        blind = (
            f"its mix temperature is known for {int(coverage * 100)} % of the time since sowing; "
            f"{least_coverage * 100:g} % are needed"
        )
        return Progress(np.empty(0), np.empty(0), coverage, 0.0, 0.0, 0.0, NOTHING, None, blind)
    rates = curve.rate_per_d(bridged)
    gap_sd = 0.0
    if not known.all():
        rates, gap_sd = _filled(rates, known, starts)
    steps = rates * weights / SECONDS_PER_DAY
    total = float(steps.sum())
    sure = curve.sure(bridged) & known
    unsure = float(steps[known & ~sure].sum()) / total if total > 0 else 0.0
    return Progress(
        np.minimum(starts + HOUR_S, now_s),
        np.cumsum(steps),
        coverage,
        float(weights[~known].sum() / HOUR_S),
        gap_sd / total if total > 0 else 0.0,
        unsure,
        _slow(curve, bridged, weights / HOUR_S),
        float(np.average(bridged[known], weights=weights[known])),
    )


def _on_hours(hour_s: FloatArray, temp_c: FloatArray, starts: FloatArray) -> FloatArray:
    """The temperatures of the hours wanted, NaN where there is none."""
    found = np.full(starts.size, np.nan)
    if hour_s.size:
        at = np.round((hour_s - starts[0]) / HOUR_S).astype(np.int64)
        inside = (at >= 0) & (at < starts.size)
        found[at[inside]] = temp_c[inside]
    return found


def _bridged(temps: FloatArray, longest_h: int) -> FloatArray:
    """Gaps of up to so many hours bridged by a straight line; at an end by the nearest hour."""
    known = np.isfinite(temps)
    if not known.any() or known.all():
        return temps
    at = np.arange(temps.size)
    before = np.maximum.accumulate(np.where(known, at, -1))
    after = np.minimum.accumulate(np.where(known, at, temps.size)[::-1])[::-1]
    short = after - before - 1 <= longest_h
    return np.where(known | short, np.interp(at, at[known], temps[known]), np.nan)


def _filled(rates: FloatArray, known: np.ndarray, starts: FloatArray) -> tuple[FloatArray, float]:
    """Rates with the gaps filled, and the standard deviation of the progress that was put in."""
    of_day = (starts // HOUR_S).astype(np.int64) % 24
    at = np.arange(rates.size)
    filled, variance = rates.copy(), 0.0
    for first, last in _runs(~known):
        near = known & (np.abs(at - (first + last) / 2) <= (last - first + 1) / 2 + NEIGHBOUR_D * 24)
        if near.sum() < 24:
            near = known
        total = np.bincount(of_day[near], rates[near], 24)
        number = np.bincount(of_day[near], minlength=24)
        mean = np.where(number > 0, total / np.maximum(number, 1), rates[near].mean())
        filled[first : last + 1] = mean[of_day[first : last + 1]]
        days = (last - first + 1) / 24.0
        variance += (_day_spread(rates, known) * min(days, np.sqrt(ALIKE_D * days))) ** 2
    return filled, float(np.sqrt(variance))


def _day_spread(rates: FloatArray, known: np.ndarray) -> float:
    """Standard deviation among days of what one adds; half of what one adds where there are too few days."""
    days = rates.size // 24
    if days >= 3:
        rows = np.where(known, rates, np.nan)[: days * 24].reshape(days, 24)
        whole = np.isfinite(rows).sum(axis=1) >= 18
        if whole.sum() >= 3:
            return float(np.nanmean(rows[whole], axis=1).std(ddof=1))
    return float(rates[known].mean()) / 2.0


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every stretch of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _slow(curve: RateCurve, temps: FloatArray, hours: FloatArray) -> SlowHours:
    """The hours outside the crop's limits; a day counts as lost when at least half of its hours were."""
    cold = np.where(np.isfinite(temps) & (curve.low_c is not None), (curve.low_c or 0.0) - temps, 0.0)
    hot = np.where(np.isfinite(temps) & (curve.high_c is not None), temps - (curve.high_c or 0.0), 0.0)
    day = np.arange(temps.size) // 24
    lost = [np.bincount(day, (outside > 0) * hours) >= 12.0 for outside in (cold, hot)]
    return SlowHours(
        float(((cold > 0) * hours).sum()),
        float((np.maximum(cold, 0.0) * hours).sum()),
        float(((hot > 0) * hours).sum()),
        float((np.maximum(hot, 0.0) * hours).sum()),
        int(lost[0].sum()),
        int(lost[1].sum()),
    )
