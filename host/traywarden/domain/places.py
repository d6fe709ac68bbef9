"""Two places compared: what a frame gains over the open bench, day by day and on the whole."""

from dataclasses import dataclass, replace
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.alignment import Aligned, align
from traywarden.domain.bootstrap import RUNS, SEED, Interval, mean_interval
from traywarden.domain.comparison import Comparison, DayPair, LimitHours, Limits
from traywarden.domain.coverage import coverage
from traywarden.domain.daylight import is_night, night_words
from traywarden.domain.days import days_touching
from traywarden.domain.degree_days import daily_degree_days
from traywarden.domain.units import HOUR_S
from traywarden.errors import ShortOfDataError

__all__ = ["Comparison", "DayPair", "LimitHours", "Limits", "PlaceClimate", "compare"]

Floats = NDArray[np.float64]

NO_DAY = "no day is covered enough"


@dataclass(frozen=True, slots=True, eq=False)
class PlaceClimate:
    """A place's temperature: times [s] since 1970, ascending, and values [°C], NaN where missing."""

    name: str
    time_s: Floats
    temp_c: Floats


def compare(
    a: PlaceClimate,
    b: PlaceClimate,
    zone: ZoneInfo,
    *,
    start_s: float | None = None,
    end_s: float | None = None,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    base_c: float | None = None,
    limits: Limits | None = None,
    least_coverage: float = 0.8,
    longest_gap_s: float = 7200.0,
    step_s: float = 300.0,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> Comparison:
    """Compare the temperature of two places.

    Parameters
    ----------
    a, b : PlaceClimate; need not share stamps
    zone : ZoneInfo of the garden; days are its local days
    start_s, end_s : float [s] since 1970, optional; by default the span both series reach over
    latitude_deg, longitude_deg : float [°], optional; tell night from day
    base_c : float [°C], optional; base of the degree-days
    limits : Limits, optional; temperatures whose hours below and above are counted
    least_coverage : float, 0 … 1; a day of which both sides cover less is blank
    longest_gap_s : float [s]; readings farther apart are not joined
    step_s : float [s]; spacing of the common instants
    level, runs, seed : of the bootstrap, as in `mean_interval`

    Returns
    -------
    Comparison; differences a − b [°C], degree-days [°C·days], hours [h]

    Notes
    -----
    Both series are read off at common instants by straight lines within `longest_gap_s`, never over a longer
    gap, and only instants known on both sides count, so no hour of one side is set against a different hour
    of the other. A day under `least_coverage` is blank throughout and counts in no difference; only where no
    day is covered enough are the mean differences those over all common time, without an interval. Hours
    below and above the limits are counted over all common time. Intervals come from a moving-block bootstrap
    of local days, for means weighted by the common time of each day; `method` names the blocks.

    Raises
    ------
    ShortOfDataError if there is no instant at which both sides are known.

    References
    ----------
    Moving-block bootstrap: Künsch 1989, Ann. Stat. 17:1217.

    Examples
    --------
    >>> time_s = np.arange(0, 5 * 86400, 1800.0)
    >>> bench = PlaceClimate("bench", time_s, 10 + 5 * np.sin(2 * np.pi * time_s / 86400))
    >>> frame = PlaceClimate("frame", time_s + 420, bench.temp_c + 3)
    >>> found = compare(frame, bench, ZoneInfo("UTC"), base_c=10.0)
    >>> round(found.mean_difference_c.estimate, 1), len(found.days)
    (3.0, 5)
    """
    start_s, end_s = _span(a, b, start_s, end_s)
    pair = align(
        a.time_s,
        a.temp_c,
        b.time_s,
        b.temp_c,
        start_s=start_s,
        end_s=end_s,
        longest_gap_s=longest_gap_s,
        step_s=step_s,
    )
    if not pair.common.any():
        raise _nothing_common(a, b)
    night = is_night(pair.time_s, zone, latitude_deg, longitude_deg)
    bounds = days_touching(round(start_s * 1000), round(end_s * 1000) - 1, zone)
    days, weights = _days(pair, night, bounds, least_coverage)
    if base_c is not None:
        days = _with_degree_days(days, pair, zone, base_c, least_coverage, longest_gap_s)

    def _interval(
        values: list[float | None], weight: Floats | None = None, part: NDArray[np.bool_] | None = None
    ) -> Interval:
        series = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
        found = mean_interval(series, weights=weight, level=level, runs=runs, seed=seed)
        if part is None or any(not d.reason for d in days):
            return found
        return replace(found, estimate=_mean((pair.a_c - pair.b_c)[pair.common & part]), reason=NO_DAY)

    both = [(d.a_c_days, d.b_c_days) for d in days]
    gains = [None if p is None or q is None else p - q for p, q in both]
    counted = [(p, q) for p, q in both if p is not None and q is not None]
    return Comparison(
        a=a.name,
        b=b.name,
        first_day=days[0].day,
        last_day=days[-1].day,
        days=tuple(days),
        days_counted=sum(not d.reason for d in days),
        mean_difference_c=_interval([d.mean_difference_c for d in days], weights[:, 0], pair.common),
        min_difference_c=_interval([d.min_difference_c for d in days]),
        max_difference_c=_interval([d.max_difference_c for d in days]),
        night_difference_c=_interval([d.night_difference_c for d in days], weights[:, 1], night),
        day_difference_c=_interval([d.day_difference_c for d in days], weights[:, 2], ~night),
        night_rule=night_words(latitude_deg, longitude_deg),
        base_c=base_c,
        a_c_days=sum(p for p, _ in counted) if counted else None,
        b_c_days=sum(q for _, q in counted) if counted else None,
        gained_c_days=sum(p - q for p, q in counted) if counted else None,
        gained_a_day_c_days=_interval(gains) if counted else None,
        hours=_limit_hours(pair, limits) if limits is not None else None,
        common_h=float(pair.common.sum() * pair.step_s / HOUR_S),
        coverage=float(pair.common.mean()),
        a_coverage=_coverage(a, start_s, end_s, longest_gap_s),
        b_coverage=_coverage(b, start_s, end_s, longest_gap_s),
    )


def _span(
    a: PlaceClimate, b: PlaceClimate, start_s: float | None, end_s: float | None
) -> tuple[float, float]:
    if a.time_s.size == 0 or b.time_s.size == 0:
        raise _nothing_common(a, b)
    start = max(float(a.time_s[0]), float(b.time_s[0])) if start_s is None else start_s
    end = min(float(a.time_s[-1]), float(b.time_s[-1])) if end_s is None else end_s
    if not end > start:
        raise _nothing_common(a, b)
    return start, end


def _nothing_common(a: PlaceClimate, b: PlaceClimate) -> ShortOfDataError:
    return ShortOfDataError(
        f"“{a.name}” and “{b.name}” have no readings at the same time in this span; "
        "ask for another span, or look at the probes there."
    )


def _coverage(place: PlaceClimate, start_s: float, end_s: float, longest_gap_s: float) -> float:
    return coverage(place.time_s[np.isfinite(place.temp_c)], start_s, end_s, longest_gap_s)


def _days(
    pair: Aligned,
    night: NDArray[np.bool_],
    bounds: list[tuple[date, int, int]],
    least_coverage: float,
) -> tuple[list[DayPair], Floats]:
    """One row per local day, and for each the common seconds: in all, by night, by day."""
    edges = np.searchsorted(pair.time_s, [b[1] / 1000 for b in bounds] + [bounds[-1][2] / 1000])
    days, weights = [], np.zeros((len(bounds), 3))
    for k, (day, start_ms, end_ms) in enumerate(bounds):
        part = slice(int(edges[k]), int(edges[k + 1]))
        known = pair.common[part]
        a_c, b_c, dark = pair.a_c[part][known], pair.b_c[part][known], night[part][known]
        covered = known.sum() * pair.step_s / ((end_ms - start_ms) / 1000)
        enough = bool(covered >= least_coverage)
        weights[k] = np.array([known.sum(), dark.sum(), (~dark).sum()]) * pair.step_s
        days.append(
            DayPair(
                day=day,
                coverage=float(covered),
                a_min_c=float(a_c.min()) if enough else None,
                a_mean_c=float(a_c.mean()) if enough else None,
                a_max_c=float(a_c.max()) if enough else None,
                b_min_c=float(b_c.min()) if enough else None,
                b_mean_c=float(b_c.mean()) if enough else None,
                b_max_c=float(b_c.max()) if enough else None,
                min_difference_c=float(a_c.min() - b_c.min()) if enough else None,
                mean_difference_c=_mean(a_c - b_c) if enough else None,
                max_difference_c=float(a_c.max() - b_c.max()) if enough else None,
                night_difference_c=_mean((a_c - b_c)[dark]) if enough else None,
                day_difference_c=_mean((a_c - b_c)[~dark]) if enough else None,
                a_c_days=None,
                b_c_days=None,
                reason="" if enough else _too_little(covered, least_coverage),
            )
        )
    return days, weights


def _too_little(covered: float, least: float) -> str:
    # Rounded down, so that a day just short of the policy does not read as if it met it.
    return f"both sides cover {int(covered * 100 + 1e-9)} % of the day, {least * 100:g} % needed"


def _mean(values: Floats) -> float | None:
    return float(values.mean()) if values.size else None


def _with_degree_days(
    days: list[DayPair],
    pair: Aligned,
    zone: ZoneInfo,
    base_c: float,
    least_coverage: float,
    longest_gap_s: float,
) -> list[DayPair]:
    known = pair.common
    sums = [
        daily_degree_days(
            pair.time_s[known],
            temps[known],
            zone,
            base_c,
            least_coverage=least_coverage,
            longest_gap_s=max(longest_gap_s, pair.step_s),
        )["degree_days"]
        for temps in (pair.a_c, pair.b_c)
    ]
    found = []
    for row in days:
        a_sum, b_sum = (float(s.get(row.day, np.nan)) for s in sums)
        whole = np.isfinite(a_sum) and np.isfinite(b_sum) and not row.reason
        found.append(replace(row, a_c_days=a_sum if whole else None, b_c_days=b_sum if whole else None))
    return found


def _limit_hours(pair: Aligned, limits: Limits) -> LimitHours:
    def hours(met: NDArray[np.bool_]) -> float:
        return float((met & pair.common).sum() * pair.step_s / HOUR_S)

    low_c, high_c = limits.low_c, limits.high_c
    return LimitHours(
        limits=limits,
        a_below_h=None if low_c is None else hours(pair.a_c < low_c),
        b_below_h=None if low_c is None else hours(pair.b_c < low_c),
        a_above_h=None if high_c is None else hours(pair.a_c > high_c),
        b_above_h=None if high_c is None else hours(pair.b_c > high_c),
    )
