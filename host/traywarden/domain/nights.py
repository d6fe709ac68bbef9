"""Tonight and tomorrow as a grower says them, and the lows and highs that such nights and days had before."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from traywarden.domain.series import FloatArray, IntArray
from traywarden.domain.units import HOUR_S

NIGHT_FROM_H = 18
NIGHT_TO_H = 9
"""A night runs from 18 to 9 o'clock: the lowest reading comes about sunrise, in winter later than eight."""
STILL_NIGHT_H = 6
"""Asked before this hour, “tonight” is the night that is running and “tomorrow” the day it ends in."""
HIGH_SEEN_H = 15
"""From this hour on the day's own high has most likely been seen."""
_LEAST_PART = 0.8


@dataclass(frozen=True, slots=True)
class Turn:
    """The night and the day asked about, as instants [s since 1970]; `night` is the date it begins on."""

    night: date
    night_start_s: float
    night_end_s: float
    day: date
    day_start_s: float
    day_end_s: float


def turn_at(now_s: float, zone: ZoneInfo) -> Turn:
    """Which night “tonight” is, and which day “tomorrow”.

    Parameters
    ----------
    now_s : float [s since 1970]
    zone : ZoneInfo of the garden

    Returns
    -------
    Turn

    Notes
    -----
    Clock hours are the garden's; nights are an hour shorter or longer where clocks change.

    Examples
    --------
    >>> evening = turn_at(1_772_406_000.0, ZoneInfo("UTC"))  # 1 March 2026, 23:00
    >>> str(evening.night), str(evening.day)
    ('2026-03-01', '2026-03-02')
    >>> small_hours = turn_at(1_772_406_000.0 + 4 * 3600, ZoneInfo("UTC"))
    >>> (small_hours.night, small_hours.day) == (evening.night, evening.day)
    True
    """
    local = datetime.fromtimestamp(now_s, UTC).astimezone(zone)
    night = local.date() - timedelta(days=local.hour < STILL_NIGHT_H)
    return turn_of(night, zone)


def turn_of(night: date, zone: ZoneInfo) -> Turn:
    """The night that begins on a date, and the day it ends in.

    Parameters
    ----------
    night : date
    zone : ZoneInfo of the garden

    Returns
    -------
    Turn

    Examples
    --------
    >>> turn = turn_of(date(2026, 3, 1), ZoneInfo("UTC"))
    >>> (turn.night_end_s - turn.night_start_s) / 3600
    15.0
    """
    day = night + timedelta(days=1)
    return Turn(
        night,
        _at(night, NIGHT_FROM_H, zone),
        _at(day, NIGHT_TO_H, zone),
        day,
        _at(day, 0, zone),
        _at(day + timedelta(days=1), 0, zone),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """One row for each past evening (or whatever clock time), as known at that time; the last row is now.

    `truth_c` is what came (NaN where it is not known, as in the last row), `plain_c` the same of the night
    or day before, `so_far_c` what had been reached already (NaN before it began). `marks` are numbers that
    were known then and may tell something, as departures from the usual. `running`: when a row was asked
    about, the night or day of the row before was not over, so that its truth was not known yet.
    """

    nights: list[date]
    truth_c: FloatArray
    plain_c: FloatArray
    so_far_c: FloatArray
    marks: FloatArray
    running: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """What was measured hour by hour without a gap: mean, lowest, highest, and dew point where known [°C]."""

    start_s: float
    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    dew_point_c: FloatArray


def past_turns(hours: Hours, now_s: float, zone: ZoneInfo, *, of_night: bool, days: int) -> Turns:
    """The night lows (or day highs) of so many days until now, each with what was known at that clock time.

    Parameters
    ----------
    hours : Hours
    now_s : float [s since 1970]
    zone : ZoneInfo
    of_night : whether the night's low is asked, else the next day's high
    days : int, how many days to look back

    Returns
    -------
    Turns, oldest first

    Notes
    -----
    Marks: the last one's departure from the mean of fourteen, now against yesterday's same hour, the last
    24 hours against those before, how fast it falls against yesterday, the last swing against the usual, dew
    point against the last 24 hours' mean and against yesterday's. An unknown mark is 0, no departure. A night
    or day of which less than 80 % is known has no low or high.

    Examples
    --------
    >>> temps = 10 + 5 * np.sin(np.arange(24 * 20) / 24 * 2 * np.pi)
    >>> hours = Hours(0.0, temps, temps, temps, np.full(temps.size, np.nan))
    >>> found = past_turns(hours, 24 * 20 * 3600.0, ZoneInfo("UTC"), of_night=True, days=5)
    >>> found.truth_c.round(1).tolist(), found.plain_c.round(1).tolist()
    ([5.0, 5.0, 5.0, 5.0, nan], [5.0, 5.0, 5.0, 5.0, 5.0])
    """
    local = datetime.fromtimestamp(now_s, UTC).astimezone(zone)
    last = turn_at(now_s, zone).night
    past_midnight = local.date() != last
    nights = [last - timedelta(days=n) for n in range(days + 14, -1, -1)]
    ends = np.full(len(nights), np.nan)
    so_far = np.full(len(nights), np.nan)
    at_hour = np.empty(len(nights), dtype=np.int64)
    values, of = (hours.min_c, np.nanmin) if of_night else (hours.max_c, np.nanmax)
    for row, night in enumerate(nights):
        turn = turn_of(night, zone)
        asked = night + timedelta(days=past_midnight)
        asked_s = datetime.combine(asked, time(local.hour, local.minute), zone).timestamp()
        if row == len(nights) - 1:
            asked_s = now_s
        start_s, end_s = (
            (turn.night_start_s, turn.night_end_s) if of_night else (turn.day_start_s, turn.day_end_s)
        )
        at_hour[row] = int((asked_s - hours.start_s) // HOUR_S)
        whole = _cut(values, hours.start_s, start_s, end_s)
        if end_s <= now_s and whole.size and np.isfinite(whole).mean() >= _LEAST_PART:
            ends[row] = of(whole)
        # Of the hour that is running, what has been measured of it; in the past the hours that were over.
        over = at_hour[row] if row < len(nights) - 1 else math.ceil((now_s - hours.start_s) / HOUR_S)
        until_s = hours.start_s + over * HOUR_S
        seen = _cut(values, hours.start_s, start_s, until_s)
        if np.isfinite(seen).any():
            so_far[row] = of(seen)
    # What was known of the one before: a day's high counts as seen from the afternoon on.
    back = 1 if of_night or local.hour >= HIGH_SEEN_H or past_midnight else 2
    known = _known_before(hours, nights, ends, at_hour, zone, of_night=of_night, back=back)
    usual = np.array([_mean(known[max(row - 13, 0) : row + 1]) for row in range(len(nights))])
    plain = np.array([_latest(known[max(row - 2, 0) : row + 1]) for row in range(len(nights))])
    marks = np.stack([plain - usual, *_marks(hours, at_hour)], axis=1)
    first = len(nights) - days
    return Turns(
        nights[first:],
        ends[first:],
        plain[first:],
        so_far[first:],
        np.nan_to_num(marks[first:]),
        running=not past_midnight and (not of_night or local.hour < NIGHT_TO_H),
    )


def _known_before(
    hours: Hours,
    nights: list[date],
    ends: FloatArray,
    at_hour: IntArray,
    zone: ZoneInfo,
    *,
    of_night: bool,
    back: int,
) -> FloatArray:
    """The low or high that had last been seen when each was asked about."""
    known = np.full(ends.size, np.nan)
    known[back:] = ends[:-back] if back else ends
    if back == 2:
        return known
    # What is not over yet counts as far as it was seen: the day's high, by morning the running night's low.
    values, of = (hours.min_c, np.nanmin) if of_night else (hours.max_c, np.nanmax)
    for row, night in enumerate(nights):
        turn = turn_of(night - timedelta(days=1), zone)
        start_s, end_s = (
            (turn.night_start_s, turn.night_end_s) if of_night else (turn.day_start_s, turn.day_end_s)
        )
        asked_s = hours.start_s + at_hour[row] * HOUR_S
        if asked_s < end_s:
            seen = _cut(values, hours.start_s, start_s, asked_s)
            enough = seen.size and np.isfinite(seen).mean() >= _LEAST_PART
            known[row] = of(seen) if enough else np.nan
    return known


def _marks(hours: Hours, at_hour: IntArray) -> list[FloatArray]:
    """Departures known at each clock time, as the notes of `past_turns` list them."""

    def at(values: FloatArray, back: int) -> FloatArray:
        places = at_hour - back
        inside = (places >= 0) & (places < values.size)
        return np.where(inside, values[np.clip(places, 0, values.size - 1)], np.nan)

    def over(values: FloatArray, start: int, end: int) -> FloatArray:
        return np.stack([at(values, back) for back in range(end + 1, start + 1)])

    mean = hours.mean_c
    day, before = over(mean, 24, 0), over(mean, 48, 24)
    swing = _spread(day)
    usual_swing = np.array([_mean(swing[max(row - 13, 0) : row + 1]) for row in range(swing.size)])
    day_mean = _column_mean(day)
    dew = hours.dew_point_c
    return [
        at(mean, 1) - at(mean, 25),
        day_mean - _column_mean(before),
        (at(mean, 1) - at(mean, 4)) - (at(mean, 25) - at(mean, 28)),
        swing - usual_swing,
        at(dew, 1) - day_mean,
        at(dew, 1) - at(dew, 25),
    ]


def _cut(values: FloatArray, origin_s: float, start_s: float, end_s: float) -> FloatArray:
    first, last = (round((edge - origin_s) / HOUR_S) for edge in (start_s, end_s))
    if first >= values.size or last <= 0 or last <= first:
        return np.empty(0)
    inside = values[max(first, 0) : min(last, values.size)]
    return np.concatenate([inside, np.full(last - first - inside.size, np.nan)])


def _at(day: date, hour: int, zone: ZoneInfo) -> float:
    return datetime.combine(day, time(hour), zone).timestamp()


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else np.nan


def _latest(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else np.nan


def _column_mean(rows: FloatArray) -> FloatArray:
    known = np.isfinite(rows)
    number = known.sum(axis=0)
    total = np.where(known, rows, 0.0).sum(axis=0)
    return np.where(number >= _LEAST_PART * rows.shape[0], total / np.maximum(number, 1), np.nan)


def _spread(rows: FloatArray) -> FloatArray:
    enough = np.isfinite(rows).sum(axis=0) >= _LEAST_PART * rows.shape[0]
    return np.where(enough, np.fmax.reduce(rows) - np.fmin.reduce(rows), np.nan)
