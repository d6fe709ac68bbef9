"""Lids and vents seen in the record: the air under a cover falls suddenly towards the air outside."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from traywarden.domain.alignment import interpolated
from traywarden.domain.series import FloatArray


@dataclass(frozen=True, slots=True)
class LidParams:
    """What counts as an opening. Chosen on every other day of six weeks in a glasshouse whose vents were
    recorded (`python -m tests.figures lids`), save where it says otherwise."""

    window_s: float = 660.0
    """The fall must happen within this time: two steps of a probe that reads every five minutes. Where
    readings come farther apart, one step is looked at."""
    least_fall_c: float = 1.3
    """The air under the cover must fall by this much."""
    fall_part: float = 0.06
    """… and lose this part of what it was warmer than outside. For the vents of a house; a frame of which
    the whole lid opens loses most of it, see `LID`."""
    least_excess_c: float = 2.0
    """Air that was hardly warmer than outside cannot show an opening (no source)."""
    recovered_part: float = 0.4
    """Closed again: this part of what was lost came back …"""
    recovery_s: float = 1800.0
    """… within this time; what comes back more slowly may be the sun (no source)."""
    longest_s: float = 12 * 3600.0
    """A closing later than this after the opening is not looked for."""
    longest_gap_s: float = 1800.0
    """Readings farther apart are not joined (no source)."""


NEAR_PART = 0.2
"""Readings within this part of the fall of the warmest (or coldest) one are as warm (or cold) (no source)."""
STILL_OPEN_PART = 0.6
"""A fall from less than this part of the excess at the opening before is one of an open cover (no source)."""
VENTS = LidParams()
LID = LidParams(fall_part=0.35)
"""For a small frame whose whole lid opens. A cloud cools a shut frame too: with a time constant of half an
hour, by a quarter of its excess in eleven minutes at most, and an open lid takes more than half. Computed on
a simple frame, not measured: no record with known lid openings was found."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A lid or vent opened between `opened_s` (the last warm reading) and `seen_s`.

    `fell_part`: part of the excess over the outside air that was gone by `seen_s`. `closed_s` and
    `closed_at_c` are None where no closing shows: it was closed too late, or too slowly, to tell.
    """

    opened_s: float
    seen_s: float
    opened_at_c: float
    outside_c: float
    fell_c: float
    fell_part: float
    closed_s: float | None
    closed_at_c: float | None


def find_openings(
    time_s: ArrayLike,
    inside_c: ArrayLike,
    outside_time_s: ArrayLike,
    outside_c: ArrayLike,
    params: LidParams = VENTS,
) -> list[Opening]:
    """Find where a cover was opened.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending
    inside_c : array, shape (n,) [°C]; air under the cover, NaN where missing
    outside_time_s, outside_c : arrays, shape (m,) [s], [°C]; air in the open
    params : what counts

    Returns
    -------
    list of Opening, oldest first

    Notes
    -----
    The outside air is read off at the times of the inside one, by straight lines. An opening is a fall of the
    inside air of at least `least_fall_c` within `window_s` by which it loses at least `fall_part` of its
    excess over the outside. It begins with the last warm reading before the fall. It is closed at the last
    low reading after which `recovered_part` of what was lost comes back within `recovery_s`. A cloud that
    shades the cover, or a heater that stops, falls in the same way; only its size tells it from an opening.
    Until a closing shows, falls from less than 0.6 of the excess at the opening are the weather under an open
    cover. Readings farther apart than `longest_gap_s` are not compared. Readings every 15 minutes do not see
    an opening of ten.

    References
    ----------
    The rule is this project’s own; what it finds and misses is in docs/places.md.

    Examples
    --------
    >>> time_s = np.arange(0, 7200, 300.0)
    >>> frame_c = np.where((time_s > 1800) & (time_s < 5400), 14.0, 26.0)
    >>> [seen] = find_openings(time_s, frame_c, time_s, np.full(24, 10.0))
    >>> seen.opened_s, seen.opened_at_c, seen.fell_part, seen.closed_s
    (1800.0, 26.0, 0.75, 5100.0)
    """
    times, inside = np.asarray(time_s, np.float64), np.asarray(inside_c, np.float64)
    outside = interpolated(outside_time_s, outside_c, times, params.longest_gap_s)
    known = np.isfinite(inside) & np.isfinite(outside)
    times, inside, outside = times[known], inside[known], outside[known]
    if times.size < 2:
        return []
    record = _Record(times, inside, outside, params)
    found: list[Opening] = []
    falls = record.falls()
    while falls:
        first, last = falls.pop(0)
        # Under an open lid every cloud is a fall: none counts before the excess is near what it was.
        while True:
            closed = record.closing(first, last, falls[0][0] if falls else times.size)
            if closed is not None or not falls or not record.still_open(first, falls[0][0]):
                break
            falls.pop(0)
        found.append(record.opening(first, last, closed))
    return found


class _Record:
    def __init__(self, times: FloatArray, inside: FloatArray, outside: FloatArray, params: LidParams) -> None:
        self.times, self.inside, self.outside, self.params = times, inside, outside, params
        self.excess = inside - outside
        spacing_s = float(np.median(np.diff(times)))
        window_s = max(params.window_s, min(1.5 * spacing_s, params.longest_gap_s))
        self.until = np.searchsorted(times, times + window_s, side="right")

    def falls(self) -> list[tuple[int, int]]:
        """First and last reading of every fall that counts; falls do not overlap."""
        found: list[tuple[int, int]] = []
        at, size = 0, self.times.size
        while at < size - 1:
            last = self._fall_from(at)
            if last is None:
                at += 1
                continue
            first = self._last_warm(at, last)
            better = self._fall_from(first)  # from the warmest reading the fall may reach farther
            last = last if better is None else better
            found.append((first, last))
            at = last
        return found

    def _last_warm(self, at: int, last: int) -> int:
        """The last reading that still is about as warm as the warmest before the fall."""
        part = self.inside[at:last]
        near_c = part.max() - NEAR_PART * (part.max() - self.inside[last])
        return at + int(np.flatnonzero(part >= near_c)[-1])

    def _fall_from(self, at: int) -> int | None:
        params, end = self.params, int(self.until[at])
        if end <= at + 1 or self.excess[at] < params.least_excess_c:
            return None
        last = at + 1 + int(np.argmin(self.inside[at + 1 : end]))
        fell_c = self.inside[at] - self.inside[last]
        part = (self.excess[at] - self.excess[last]) / self.excess[at]
        return last if fell_c >= params.least_fall_c and part >= params.fall_part else None

    def still_open(self, first: int, then: int) -> bool:
        """Whether a later fall begins so low that the cover must still be open from the first."""
        soon = self.times[then] - self.times[first] <= self.params.longest_s
        return bool(soon and self.excess[then] < STILL_OPEN_PART * self.excess[first])

    def opening(self, first: int, last: int, closed: int | None) -> Opening:
        lost = self.excess[first] - self.excess[last]
        return Opening(
            opened_s=float(self.times[first]),
            seen_s=float(self.times[last]),
            opened_at_c=float(self.inside[first]),
            outside_c=float(self.outside[first]),
            fell_c=float(self.inside[first] - self.inside[last]),
            fell_part=float(lost / self.excess[first]),
            closed_s=None if closed is None else float(self.times[closed]),
            closed_at_c=None if closed is None else float(self.inside[closed]),
        )

    def closing(self, first: int, last: int, before: int) -> int | None:
        """The reading from which enough of what was lost came back, quickly."""
        params = self.params
        end = min(before + 1, int(np.searchsorted(self.times, self.times[first] + params.longest_s)))
        lowest = last
        for at in range(last + 1, min(end, self.times.size)):
            if self.times[at] - self.times[at - 1] > params.longest_gap_s:
                return None
            while self.times[at] - self.times[lowest] > params.recovery_s:
                lowest += 1
            part = self.excess[lowest:at]
            lost = self.excess[first] - self.excess[last : at + 1].min()
            if self.excess[at] - part.min() >= params.recovered_part * lost:
                return lowest + int(np.flatnonzero(part <= part.min() + NEAR_PART * lost)[-1])
        return None
