"""What happened under a cover on hot days: how long it was too hot, and whether it was opened for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike

from traywarden.domain.bootstrap import Interval
from traywarden.domain.days import local_date
from traywarden.domain.lids import Opening
from traywarden.domain.proportions import LEVEL, clopper_pearson
from traywarden.domain.series import FloatArray
from traywarden.domain.units import HOUR_S

UTC_ZONE = ZoneInfo("UTC")
JOINED_S = 3600.0
"""Hot spells with a shorter pause between them are one: an opener breathes (no source)."""
LEAST_HOT_S = 900.0
"""Shorter than this it was hardly hot (no source)."""
READY_S = 1800.0
"""An opening up to so long before a spell was made for it (no source)."""


@dataclass(frozen=True, slots=True)
class HotSpell:
    """Air under the cover above the venting temperature, from `start_s` to `end_s`.

    `opened_s`: the first opening seen for it; `told_s`: the first the journal tells of. None: none.
    """

    start_s: float
    end_s: float
    hottest_c: float
    opened_s: float | None = None
    told_s: float | None = None

    @property
    def answered(self) -> bool:
        """Whether it was opened, as far as anything knows."""
        return self.opened_s is not None or self.told_s is not None


@dataclass(frozen=True, slots=True)
class Quartiles:
    """Lower quarter, middle and upper quarter of some values; None where there are none."""

    low: float | None
    middle: float | None
    high: float | None
    n: int


@dataclass(frozen=True, slots=True)
class OpenerWork:
    """How often a hot spell was answered by an opening, and at what temperature it opened and closed [°C].

    `days` is the share of days with an opening among those that were hot or had one: an opener that opens in
    time leaves no hot spell. `after_s` is how long after the air passed the venting temperature, below 0 for
    an opening before it.
    """

    spells: tuple[HotSpell, ...]
    answered: Interval
    days: Interval
    opened_at_c: Quartiles
    closed_at_c: Quartiles
    after_s: Quartiles
    verdict: str


def hours_above(
    time_s: ArrayLike, temp_c: ArrayLike, above_c: float, longest_gap_s: float = 7200.0
) -> tuple[float, float]:
    """Hours above a temperature, and hours for which it is known.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    temp_c : array, shape (n,) [°C]; NaN values are left out
    above_c : float [°C]
    longest_gap_s : float [s]; readings farther apart say nothing of the time between

    Returns
    -------
    (hours above [h], hours known [h])

    Notes
    -----
    Readings are joined by straight lines; the part of a line above the temperature counts.

    References
    ----------
    Trapezium rule.

    Examples
    --------
    >>> hours_above([0.0, 3600.0, 7200.0], [20.0, 30.0, 30.0], 25.0)
    (1.5, 2.0)
    """
    times, temps = _known(time_s, temp_c)
    step = np.diff(times)
    step = np.where(step <= longest_gap_s, step, 0.0)
    from_c, to_c = temps[:-1] - above_c, temps[1:] - above_c
    over = np.maximum(from_c, 0.0) + np.maximum(to_c, 0.0)
    span = np.abs(from_c) + np.abs(to_c)
    # Of a line from −a to +b the part b / (a + b) lies above.
    part = np.divide(over, span, out=(from_c > 0).astype(np.float64), where=span > 0)
    return float((part * step).sum() / HOUR_S), float(step.sum() / HOUR_S)


def hot_spells(
    time_s: ArrayLike, temp_c: ArrayLike, above_c: float, longest_gap_s: float = 7200.0
) -> list[HotSpell]:
    """Stretches above a temperature.

    Parameters
    ----------
    time_s, temp_c, above_c, longest_gap_s : as in `hours_above`

    Returns
    -------
    list of HotSpell, oldest first, without openings

    Notes
    -----
    From the first to the last reading above; spells less than an hour apart are one, those shorter than a
    quarter of an hour are none.

    Examples
    --------
    >>> [spell] = hot_spells([0.0, 1800.0, 3600.0, 5400.0], [20.0, 30.0, 31.0, 20.0], 27.0)
    >>> spell.start_s, spell.end_s, spell.hottest_c
    (1800.0, 3600.0, 31.0)
    """
    times, temps = _known(time_s, temp_c)
    hot = np.flatnonzero(temps > above_c)
    if not hot.size:
        return []
    apart = np.flatnonzero(np.diff(times[hot]) > min(JOINED_S, longest_gap_s)) + 1
    parts = np.split(hot, apart)
    found = [HotSpell(float(times[p[0]]), float(times[p[-1]]), float(temps[p].max())) for p in parts]
    return [spell for spell in found if spell.end_s - spell.start_s >= LEAST_HOT_S]


def opener_work(
    spells: Sequence[HotSpell],
    openings: Sequence[Opening],
    told_s: Sequence[float] = (),
    zone: ZoneInfo = UTC_ZONE,
) -> OpenerWork:
    """Whether hot spells were answered by openings.

    Parameters
    ----------
    spells : as `hot_spells` gives them
    openings : as `find_openings` gives them
    told_s : instants [s] at which the journal says it was vented
    zone : ZoneInfo of the garden; days are its local days

    Returns
    -------
    OpenerWork

    Notes
    -----
    A spell is answered by an opening that began from half an hour before it until its end. Shares have the
    exact binomial interval, which takes spells and days for independent; those of one heat wave are not
    quite. A lid that a person lifts and an opener that does look alike, unless the journal tells.

    References
    ----------
    Interval: as `proportions.clopper_pearson`.

    Examples
    --------
    >>> opener_work([], []).verdict
    'it was never hot, and no opening was seen'
    """
    done = tuple(
        HotSpell(
            s.start_s,
            s.end_s,
            s.hottest_c,
            next((o.opened_s for o in openings if s.start_s - READY_S <= o.opened_s <= s.end_s), None),
            next((at_s for at_s in told_s if s.start_s - READY_S <= at_s <= s.end_s), None),
        )
        for s in spells
    )
    answered = _share(sum(s.answered for s in done), len(done))
    opened_on = {local_date(round(at_s * 1000), zone) for at_s in (*(o.opened_s for o in openings), *told_s)}
    hot_on = {local_date(round(s.start_s * 1000), zone) for s in spells}
    days = _share(len(opened_on), len(opened_on | hot_on))
    after = [s.opened_s - s.start_s for s in done if s.opened_s is not None]
    return OpenerWork(
        done,
        answered,
        days,
        _quartiles([o.opened_at_c for o in openings]),
        _quartiles([o.closed_at_c for o in openings if o.closed_at_c is not None]),
        _quartiles(after),
        _verdict(days, len(hot_on)),
    )


def _share(count: int, total: int) -> Interval:
    if not total:
        return Interval(None, None, None, LEVEL, 0, "exact binomial", "none were seen")
    found = clopper_pearson(count, total)
    return Interval(found.estimate, found.low, found.high, found.level, total, "exact binomial")


def _verdict(days: Interval, hot_days: int) -> str:
    if days.estimate is None or days.low is None or days.high is None:
        return "it was never hot, and no opening was seen"
    if not hot_days:
        return "it was never hot: opened before it was, or for another reason"
    for holds, words in (
        (days.estimate == 1.0 and days.n > 1, "it was opened on every day that was hot"),
        (days.estimate == 0.0, "on no hot day does an opening show"),
        (days.low > 0.5, "it was opened on most days that asked for it"),
        (days.high < 0.5, "on most hot days no opening shows"),
    ):
        if holds:
            return words
    return "cannot tell yet whether it is opened on most days that ask for it"


def _known(time_s: ArrayLike, temp_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    times, temps = np.asarray(time_s, np.float64), np.asarray(temp_c, np.float64)
    known = np.isfinite(temps)
    return times[known], temps[known]


def _quartiles(values: Sequence[float]) -> Quartiles:
    if not values:
        return Quartiles(None, None, None, 0)
    low, middle, high = np.quantile(values, [0.25, 0.5, 0.75]).tolist()
    return Quartiles(low, middle, high, len(values))
