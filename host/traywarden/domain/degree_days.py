"""Degree-days: the daily heat sum above a base, from dense readings or from a daily minimum and maximum."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from traywarden.domain.coverage import coverages
from traywarden.domain.days import local_date, local_day_bounds
from traywarden.errors import UsageError, asked, did_you_mean

FloatArray = npt.NDArray[np.float64]
METHODS = (
    "average",
    "clipped average",
    "single triangle",
    "double triangle",
    "single sine",
    "double sine",
)
CUTOFFS = ("none", "horizontal", "intermediate", "vertical")
SECONDS_PER_DAY = 86_400.0


def degree_days(
    min_c: npt.ArrayLike,
    max_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    *,
    method: str = "single sine",
    cutoff: str = "horizontal",
    next_min_c: npt.ArrayLike | None = None,
) -> FloatArray:
    """Degree-days of days known by their minimum and maximum.

    Parameters
    ----------
    min_c, max_c : float or array [°C]
        Minimum and maximum of each day.
    lower_c : float [°C]
        The crop's base.
    upper_c : float, optional [°C]
        Upper threshold; None for none.
    method : str
        One of METHODS: how the curve between the extremes is drawn.
    cutoff : str
        One of CUTOFFS: what happens above `upper_c`. Without `upper_c` it is “none”.
    next_min_c : float or array, optional [°C]
        The following day's minimum, for the double methods; where it is NaN or not given, the day's own.

    Returns
    -------
    array of the shape of `min_c` [°C·days]

    Notes
    -----
    With D(t) the heat above one threshold t and F the part of the day above `upper_c`: horizontal
    D(lower) − D(upper), intermediate D(lower) − 2·D(upper) (may turn negative on a day that is hot
    throughout), vertical D(lower) − D(upper) − (upper − lower)·F. The double methods are the mean of the half
    day from the minimum and the half day to the next minimum. The average knows no upper cutoff; the
    clipped average knows only the horizontal one. NaN in either extreme, or a minimum above its maximum,
    gives NaN. In °F the result is 1.8 times as large, with thresholds converted as temperatures.

    Raises
    ------
    UsageError
        Unknown method or cutoff, one the method does not know, or `upper_c` not above `lower_c`.

    References
    ----------
    McMaster & Wilhelm 1997 (methods 1 and 2: average, clipped average); Sevacherian, Stern & Mueller 1977
    (triangle); Baskerville & Emin 1969, Ecology 50:514–517 (sine); Zalom et al. 1983, UC Leaflet 21373, and
    Roltsch et al. 1999, Int. J. Biometeorol. 42:169–176 (double methods, cutoffs).

    Examples
    --------
    >>> round(float(degree_days(7, 40, 12, 33)), 2)
    10.94
    """
    upper_c = _upper(lower_c, upper_c, cutoff)
    _check_method(method, METHODS)
    if method in ("average", "clipped average"):
        return _from_average(min_c, max_c, lower_c, upper_c, method, cutoff)
    low, high = np.broadcast_arrays(np.asarray(min_c, dtype=np.float64), np.asarray(max_c, dtype=np.float64))
    shape = "sine" if method.endswith("sine") else "triangle"
    day = _above_base(low, high, lower_c, upper_c, cutoff, shape)
    if method.startswith("double") and next_min_c is not None:
        after = np.broadcast_to(np.asarray(next_min_c, dtype=np.float64), low.shape)
        after = np.where(np.isnan(after), low, after)
        # The next night can be warmer than this day: the half day then rises, and counts the same.
        second = _above_base(
            np.minimum(after, high), np.maximum(after, high), lower_c, upper_c, cutoff, shape
        )
        day = (day + second) / 2.0
    return np.where(low <= high, day, np.nan)


def daily_degree_days(
    time_s: npt.ArrayLike,
    temp_c: npt.ArrayLike,
    zone: ZoneInfo,
    lower_c: float,
    upper_c: float | None = None,
    *,
    cutoff: str = "none",
    method: str = "integral",
    least_coverage: float,
    longest_gap_s: float,
    first_day: date | None = None,
    last_day: date | None = None,
) -> pd.DataFrame:
    """Degree-days and extremes of each garden day, from readings.

    Parameters
    ----------
    time_s : array, shape (n,) [s since 1970-01-01T00:00Z]
    temp_c : array, shape (n,) [°C]
        Readings; NaN ones are left out. Any order.
    zone : ZoneInfo
        The garden's: days run from its midnight to its midnight.
    lower_c, upper_c : float [°C]
        Base and (optional) upper threshold.
    cutoff : str
        One of CUTOFFS.
    method : str
        “integral” over the readings, or one of METHODS on the day's own extremes.
    least_coverage : float [fraction]
        A day covered less than this is blank.
    longest_gap_s : float [s]
        Longest stretch between two readings that still counts as covered.
    first_day, last_day : date, optional
        Days to report; default from the first reading's to the last one's.

    Returns
    -------
    DataFrame, one row per garden day (index `date`)
        degree_days [°C·days], min_c, mean_c (over time), max_c [°C], coverage [fraction], reason (why the
        numbers are blank, else "").

    Notes
    -----
    Readings are joined by straight lines and the area between that line and the thresholds is taken exactly.
    A gap inside a day that passes the coverage policy is bridged by the line; where a day begins before the
    first reading or ends after the last, the rate of the known part stands for the rest. A 23-hour day has 23
    hours of heat. For the max/min methods every day counts as one, and a blank next day lends no minimum.

    Raises
    ------
    UsageError
        As `degree_days`.

    References
    ----------
    As `degree_days`; the exact area under one straight piece is the triangle formula.

    Examples
    --------
    >>> times = np.arange(0.0, 86_401.0, 600.0)
    >>> day = daily_degree_days(times, np.full(times.size, 18.0), ZoneInfo("UTC"), 10.0,
    ...                         least_coverage=0.8, longest_gap_s=7200.0)
    >>> float(day["degree_days"].iloc[0])
    8.0
    """
    upper_c = _upper(lower_c, upper_c, cutoff)
    _check_method(method, ("integral", *METHODS))
    times, temps = _tidy(time_s, temp_c)
    days = _days(times, zone, first_day, last_day)
    starts = np.array([start_ms for _, start_ms, _ in days], dtype=np.float64) / 1000.0
    ends = np.array([end_ms for _, _, end_ms in days], dtype=np.float64) / 1000.0
    covered = coverages(times, starts, ends, longest_gap_s)
    table = _by_day(times, temps, starts, ends, longest_gap_s, lower_c, upper_c, cutoff)
    blank = (covered < least_coverage) | (covered <= 0.0)
    for column in table:
        table[column][blank] = np.nan
    if method != "integral":
        after = np.append(table["min_c"][1:], np.nan)[: len(days)]
        table["degree_days"] = degree_days(
            table["min_c"],
            table["max_c"],
            lower_c,
            upper_c,
            method=method,
            cutoff=cutoff,
            next_min_c=after,
        )
    reasons = [
        _reason(part, least_coverage) if empty else "" for part, empty in zip(covered, blank, strict=True)
    ]
    index = pd.Index([day for day, _, _ in days], name="date", dtype=object)
    return pd.DataFrame({**table, "coverage": covered, "reason": reasons}, index=index)


def _upper(lower_c: float, upper_c: float | None, cutoff: str) -> float | None:
    if cutoff not in CUTOFFS:
        raise UsageError(asked(f"There is no cutoff called “{cutoff}”{did_you_mean(cutoff, CUTOFFS)}."))
    if cutoff == "none" or upper_c is None:
        return None
    if not upper_c > lower_c:
        raise UsageError("The upper threshold must lie above the base; change one of them.")
    return upper_c


def _check_method(method: str, known: tuple[str, ...]) -> None:
    if method not in known:
        sentence = f"There is no degree-day method called “{method}”{did_you_mean(method, known)}."
        raise UsageError(asked(sentence))


def _from_average(
    min_c: npt.ArrayLike,
    max_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None,
    method: str,
    cutoff: str,
) -> FloatArray:
    low, high = np.asarray(min_c, dtype=np.float64), np.asarray(max_c, dtype=np.float64)
    if method == "average":
        if upper_c is not None:
            raise UsageError(
                "The plain average knows no upper cutoff; use method “clipped average” or cutoff “none”."
            )
        heat = np.maximum((low + high) / 2.0 - lower_c, 0.0)
    else:
        if upper_c is not None and cutoff != "horizontal":
            raise UsageError(f"The clipped average knows no {cutoff} cutoff; use “horizontal” or a sine.")
        heat = (np.clip(low, lower_c, upper_c) + np.clip(high, lower_c, upper_c)) / 2.0 - lower_c
    return np.where(low <= high, heat, np.nan)


def _above_base(
    low: FloatArray, high: FloatArray, lower_c: float, upper_c: float | None, cutoff: str, shape: str
) -> FloatArray:
    """Heat between the thresholds for a curve that runs from `low` to `high`, per unit of time."""
    heat, _ = _above(low, high, lower_c, shape)
    if upper_c is None:
        return heat
    excess, part = _above(low, high, upper_c, shape)
    if cutoff == "horizontal":
        return heat - excess
    if cutoff == "intermediate":
        return heat - 2.0 * excess
    return heat - excess - (upper_c - lower_c) * part


def _above(
    low: FloatArray, high: FloatArray, threshold_c: float, shape: str
) -> tuple[FloatArray, FloatArray]:
    """Mean height of the curve above one threshold, and the part of the time it spends there."""
    span = high - low
    crosses = (low < threshold_c) & (high > threshold_c)
    safe_span = np.where(crosses, span, 1.0)
    if shape == "triangle":
        part = (high - threshold_c) / safe_span
        height = part * (high - threshold_c) / 2.0
    else:
        middle, half = (low + high) / 2.0, safe_span / 2.0
        angle = np.arcsin(np.clip((threshold_c - middle) / half, -1.0, 1.0))
        part = 0.5 - angle / np.pi
        height = ((middle - threshold_c) * (np.pi / 2.0 - angle) + half * np.cos(angle)) / np.pi
    wholly = low >= threshold_c
    nowhere = np.where(np.isnan(span), np.nan, 0.0)
    height = np.where(crosses, height, np.where(wholly, (low + high) / 2.0 - threshold_c, nowhere))
    # A day that only just touches the upper threshold from below, or lies at it, is not above it.
    part = np.where(crosses, part, np.where(wholly & (high > threshold_c), 1.0, nowhere))
    return height, part


def _tidy(time_s: npt.ArrayLike, temp_c: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    times, temps = np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    known = np.isfinite(times) & np.isfinite(temps)
    times, temps = times[known], temps[known]
    if times.size and (np.diff(times) < 0.0).any():
        order = np.argsort(times, kind="stable")
        times, temps = times[order], temps[order]
    return times, temps


def _days(
    times: FloatArray, zone: ZoneInfo, first_day: date | None, last_day: date | None
) -> list[tuple[date, int, int]]:
    if times.size:
        first_day = first_day or local_date(int(times[0] * 1000.0), zone)
        last_day = last_day or local_date(int(times[-1] * 1000.0), zone)
    if first_day is None or last_day is None:
        return []
    return local_day_bounds(first_day, last_day, zone)


def _by_day(
    times: FloatArray,
    temps: FloatArray,
    starts: FloatArray,
    ends: FloatArray,
    longest_gap_s: float,
    lower_c: float,
    upper_c: float | None,
    cutoff: str,
) -> dict[str, FloatArray]:
    """Heat, mean and extremes of every day, whether or not it is covered enough."""
    count = starts.size
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    heat: FloatArray = np.zeros(count)
    warmth: FloatArray = np.zeros(count)
    spanned: FloatArray = np.zeros(count)
    if times.size and count:
        edges = np.append(starts, ends[-1])
        own = (times >= edges[0]) & (times < edges[-1])
        day_of = np.searchsorted(edges, times[own], side="right") - 1
        np.minimum.at(low, day_of, temps[own])
        np.maximum.at(high, day_of, temps[own])
        inner = edges[(edges > times[0]) & (edges < times[-1])]
        knots = np.union1d(times, inner)
        values = np.interp(knots, times, temps)
        middle = (knots[:-1] + knots[1:]) / 2.0
        day = np.searchsorted(edges, middle, side="right") - 1
        inside = (day >= 0) & (day < count)
        day, width = day[inside], np.diff(knots)[inside]
        a, b = values[:-1][inside], values[1:][inside]
        bottom, top = np.minimum(a, b), np.maximum(a, b)
        rate = _above_base(bottom, top, lower_c, upper_c, cutoff, "triangle")
        heat = _sums(day, rate * width, count)
        warmth = _sums(day, (a + b) / 2.0 * width, count)
        spanned = _sums(day, width, count)
        gap = np.diff(times)[np.searchsorted(times, middle[inside], side="right") - 1]
        near = gap <= longest_gap_s  # what the line says at midnight counts only where readings are close
        np.minimum.at(low, day[near], bottom[near])
        np.maximum.at(high, day[near], top[near])
    known = spanned > 0.0
    share = np.where(known, spanned, 1.0)
    return {
        "degree_days": np.where(known, heat / share * (ends - starts) / SECONDS_PER_DAY, np.nan),
        "min_c": np.where(np.isfinite(low), low, np.nan),
        "mean_c": np.where(known, warmth / share, np.nan),
        "max_c": np.where(np.isfinite(high), high, np.nan),
    }


def _sums(day: npt.NDArray[np.intp], weights: FloatArray, count: int) -> FloatArray:
    return np.bincount(day, weights, count).astype(np.float64)


def _reason(covered: float, least_coverage: float) -> str:
    if covered <= 0.0:
        return "no readings"
    # Rounded down, so that a day just short of the policy does not read as if it met it.
    return f"readings cover {int(covered * 100)} % of the day; {least_coverage * 100:g} % are needed"
