"""When the grower is likely at the bench: the hours of the day at which the journal was written."""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta, tzinfo
from itertools import pairwise

LOOK_BACK_D = 28
LEAST_DAYS = 5
"""Fewer days with an entry show no habit (no source)."""
TOGETHER_MIN = 120
"""Entries of any day nearer to each other than this by the clock belong to one visit (no source)."""
LEAST_SHARE = 0.3
"""A visit made on fewer of the days is no habit (no source)."""
LEAVING_MS = 3_600_000
"""Who is at the bench now is there for about an hour; the next visit is later than that (no source)."""


def usual_visits(entries_ms: Sequence[int], now_ms: int, zone: tzinfo) -> list[float]:
    """The hours of the day at which the bench is usually visited.

    Parameters
    ----------
    entries_ms : sequence of int [ms since 1970]
        When deeds of the journal were done.
    now_ms : int [ms since 1970]
    zone : tzinfo of the garden

    Returns
    -------
    list of float [h after midnight], ascending; empty where too few days show a habit

    Notes
    -----
    The entries of four weeks lie on one dial of a day; a gap of two hours and more parts two visits. A visit
    counts if it was made on three in ten of the days since the first entry; its hour is the median.

    Example
    -------
    >>> days = [(day * 24 + hour) * 3_600_000 for day in range(10) for hour in (8, 18)]
    >>> usual_visits(days, 10 * 86_400_000, UTC)
    [8.0, 18.0]
    """
    since_ms = now_ms - LOOK_BACK_D * 86_400_000
    at = [datetime.fromtimestamp(ms / 1000, zone) for ms in entries_ms if since_ms <= ms <= now_ms]
    days = {each.date() for each in at}
    if len(days) < LEAST_DAYS:
        return []
    last = datetime.fromtimestamp(now_ms / 1000, zone).date()
    watched = max((last - min(days)).days, len(days))
    dial = sorted((each.hour * 60 + each.minute, each.date()) for each in at)
    groups = [[dial[0]]]
    for before, each in pairwise(dial):
        if each[0] - before[0] >= TOGETHER_MIN:
            groups.append([])
        groups[-1].append(each)
    kept = [g for g in groups if len({day for _, day in g}) >= LEAST_SHARE * watched]
    return [g[len(g) // 2][0] / 60 for g in kept]


def next_visit_ms(at_h: Sequence[float], now_ms: int, zone: tzinfo) -> int:
    """The first of these hours of the day that comes an hour or more after now [ms since 1970].

    Example
    -------
    >>> next_visit_ms([8.0, 18.0], 9 * 3_600_000, UTC) // 3_600_000
    18
    """
    after_ms = now_ms + LEAVING_MS
    today = datetime.fromtimestamp(now_ms / 1000, zone).date()
    coming = (
        datetime.combine(today + timedelta(days=day), time(), zone) + timedelta(hours=hour)
        for day in range(3)
        for hour in sorted(at_h)
    )
    return next(ms for each in coming if (ms := round(each.astimezone(UTC).timestamp() * 1000)) >= after_ms)
