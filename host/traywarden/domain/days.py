"""The garden's own days: midnight to midnight in its time zone, 23 to 25 hours long where clocks change."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo


def local_date(time_ms: int, zone: ZoneInfo) -> date:
    """The garden's date at an instant.

    Parameters
    ----------
    time_ms : int [ms since 1970-01-01T00:00Z]
    zone : ZoneInfo

    Returns
    -------
    date

    Examples
    --------
    >>> local_date(1_772_406_000_000, ZoneInfo("Europe/Lisbon"))
    datetime.date(2026, 3, 1)
    """
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms)).astimezone(zone).date()


def day_start_ms(day: date, zone: ZoneInfo) -> int:
    """The instant at which a date begins in the garden.

    Parameters
    ----------
    day : date
    zone : ZoneInfo

    Returns
    -------
    int [ms since 1970-01-01T00:00Z]

    Notes
    -----
    Where midnight is skipped, the day begins when the clocks jump; where it comes twice, with the first.

    Examples
    --------
    >>> day_start_ms(date(2026, 7, 1), ZoneInfo("Europe/Lisbon"))
    1782860400000
    """
    return round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)


def local_day_bounds(start: date, end: date, zone: ZoneInfo) -> list[tuple[date, int, int]]:
    """The garden's days from one date to another, both included, with the instants that bound them.

    Parameters
    ----------
    start, end : date
        First and last day.
    zone : ZoneInfo

    Returns
    -------
    list of (date, start_ms, end_ms)
        start_ms belongs to the day, end_ms to the next. Empty when `end` is before `start`.

    Notes
    -----
    A day has 23 or 25 hours where clocks change. A date that a zone left out altogether
    (Samoa, 30 December 2011) does not appear.

    Examples
    --------
    >>> [(_, a, b)] = local_day_bounds(date(2026, 3, 29), date(2026, 3, 29), ZoneInfo("Europe/Lisbon"))
    >>> (b - a) / 3_600_000
    23.0
    """
    days = [start + timedelta(days=n) for n in range((end - start).days + 1)]
    edges = [day_start_ms(day, zone) for day in [*days, end + timedelta(days=1)]] if days else []
    return [(day, a, b) for day, a, b in zip(days, edges, edges[1:], strict=False) if a < b]


def days_touching(start_ms: int, end_ms: int, zone: ZoneInfo) -> list[tuple[date, int, int]]:
    """The whole garden days that [start_ms, end_ms] touches, as `local_day_bounds` gives them.

    Parameters
    ----------
    start_ms, end_ms : int [ms since 1970-01-01T00:00Z]
    zone : ZoneInfo

    Returns
    -------
    list of (date, start_ms, end_ms)

    Examples
    --------
    >>> len(days_touching(0, 86_400_000, ZoneInfo("UTC")))
    2
    """
    return local_day_bounds(local_date(start_ms, zone), local_date(end_ms, zone), zone)
