"""Many places side by side: each one's days on average, and each against one of them on the same days."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.bootstrap import RUNS, SEED, Interval
from traywarden.domain.daily_interval import daily_mean_interval
from traywarden.domain.place_days import PlaceDays

MEASURES = ("low_c", "high_c", "mean_c", "range_c", "half_warm_h", "hottest_h", "vpd_kpa")
"""What is averaged and compared; each is an attribute of `PlaceDays`."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One interval for each of MEASURES: low, high, mean and daily range [°C], clock times [h], VPD [kPa]."""

    low_c: Interval
    high_c: Interval
    mean_c: Interval
    range_c: Interval
    half_warm_h: Interval
    hottest_h: Interval
    vpd_kpa: Interval


@dataclass(frozen=True, slots=True)
class PlaceSummary:
    """A place over the days it was covered itself; and, over days both were, its difference to `reference`.

    `difference` is None for the reference itself.
    """

    name: str
    days: int
    mean: Measured
    reference: str
    days_common: int
    difference: Measured | None


def side_by_side(
    places: Sequence[PlaceDays],
    reference: int = 0,
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> list[PlaceSummary]:
    """Every place on average, and against the reference on the days both are known.

    Parameters
    ----------
    places : all over the same days
    reference : which of them the others are held against
    level, runs, seed : as in `daily_mean_interval`

    Returns
    -------
    list of PlaceSummary, in the order given; differences are place − reference, day by day

    Notes
    -----
    Means of two places may be over different days, so they must not be subtracted from each other; the
    differences are, as each is of one day. A clock-time difference below 0 is earlier. Days are taken as
    neighbours in the order given, also where a span was left out between them.

    References
    ----------
    Intervals: as `daily_mean_interval`.

    Examples
    --------
    >>> from datetime import date
    >>> days = tuple(date(2026, 3, 1 + n) for n in range(5))
    >>> warm = np.array([10.0, 11, 9, 12, 10])
    >>> bench, frame = (PlaceDays(n, days, *[warm + gain] * 7, {}) for n, gain in (("a", 0), ("b", 3)))
    >>> side_by_side([bench, frame])[1].difference.low_c.estimate
    3.0
    """
    against = places[reference]

    def _of(mine: PlaceDays, other: PlaceDays | None) -> Measured:
        values = {name: getattr(mine, name) for name in MEASURES}
        if other is not None:
            values = {name: value - getattr(other, name) for name, value in values.items()}
        return Measured(
            **{n: daily_mean_interval(v, level=level, runs=runs, seed=seed) for n, v in values.items()}
        )

    found = []
    for n, place in enumerate(places):
        found.append(
            PlaceSummary(
                place.name,
                int(np.isfinite(place.mean_c).sum()),
                _of(place, None),
                against.name,
                int(np.isfinite(place.mean_c - against.mean_c).sum()),
                None if n == reference else _of(place, against),
            )
        )
    return found
