"""Rises of soil moisture that neither warming nor the daily swing explains."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Seen, Wetting, WettingKind, WettingParams, by_speed

Floats = NDArray[np.float64]

FEWEST = 8
"""Fewer readings do not show a sensor's noise."""
FEWEST_AT_ONCE, MOST_AT_ONCE = 16, 512
"""How many readings are judged at a time: few after a wetting, as the next may be near."""


def _median_of_three(values: Floats, joined: NDArray[np.bool_]) -> Floats:
    """Running median of three readings that belong together; at an edge the lower of two."""
    if values.size < 2:
        return values.copy()
    before = np.where(joined, values[:-1], np.nan)  # neighbour before, for readings 1…
    after = np.where(joined, values[1:], np.nan)  # neighbour after, for readings …n−2
    left = np.concatenate(([np.nan], before))
    right = np.concatenate((after, [np.nan]))
    lower = np.fmin(np.fmin(values, left), right)
    upper = np.fmax(np.fmax(values, left), right)
    both = np.isfinite(left) & np.isfinite(right)
    middle = values + left + right - lower - upper
    return np.where(both, middle, lower)


def _median(values: Floats) -> float:
    """As numpy's, for a few values without NaN, in a third of the time."""
    half = values.size // 2
    if values.size % 2:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, (half - 1, half))
    return float((parted[half - 1] + parted[half]) / 2)


class Rises:
    """One pass, forward in time, over readings that can be trusted; `part` counts what parts them (frost).

    Whether a reading ends a wetting hangs on the wettings before it, so the pass goes from one to the next;
    the readings between them are judged many at a time.
    """

    def __init__(
        self,
        times: Floats,
        moisture: Floats,
        temps: Floats | None,
        part: NDArray[np.int64],
        params: WettingParams,
        *,
        ever_temps: bool,
    ) -> None:
        self.times, self.part, self.params = times, part, params
        self.temps = None if temps is None or np.isnan(temps).all() else temps
        self.ever_temps = ever_temps
        joined = (np.diff(times) <= params.longest_gap_s) & (np.diff(part) == 0)
        self.level = _median_of_three(moisture, joined)
        self.raw = moisture
        self.edges = np.flatnonzero(~joined) + 1
        bounds = np.concatenate(([0], self.edges, [times.size]))
        self.stretch_first = np.repeat(bounds[:-1], np.diff(bounds))
        self.stretch_end = np.repeat(bounds[1:], np.diff(bounds))
        self.earliest = np.maximum(np.searchsorted(times, times - params.window_s), self.stretch_first)
        self.rise = self._rises()
        self.candidates = np.flatnonzero(self.rise >= params.least_rise_m3_m3 - 1e-9)
        self.days = self._days_before(times[self.candidates])
        # What a wetting explains is no habit; the last value stands beyond the end.
        self.free_rise = np.append(self.rise, -np.inf)
        self.noises: dict[int, float | None] = {}
        self.scalars = self.times.tolist(), self.level.tolist()

    def _rises(self) -> Floats:
        """For each reading: the largest rise to it within the window, beyond warming."""
        n = self.times.size
        best = np.zeros(n)
        back = np.arange(n) - self.earliest
        for lag in range(1, int(back.max(initial=0)) + 1):
            late, early = slice(lag, n), slice(0, n - lag)
            rise = self.level[late] - self.level[early]
            warming = None if self.temps is None else self.temps[late] - self.temps[early]
            rise -= self._swing(self.times[late] - self.times[early], warming)
            np.maximum(best[late], rise, out=best[late], where=lag <= back[late])
        return best

    def _swing(self, span_s: Floats, warming_c: Floats | None, habit: Floats | None = None) -> Floats:
        """The part of a rise within a span that warming, or habit, may explain; overwrites its arguments."""
        span_s *= self.params.fastest_swing_m3_m3_per_s
        most = np.minimum(self.params.most_swing_m3_m3, span_s, out=span_s)
        if warming_c is None:
            return np.zeros_like(most) if habit is None else np.clip(habit, 0.0, most)
        warming_c *= self.params.temperature_effect_m3_m3_per_c
        explained = np.fmax(warming_c, 0.0 if habit is None else habit, out=warming_c)  # unknown is none
        np.maximum(explained, 0.0, out=explained)
        return np.minimum(explained, most, out=explained)

    def wettings(self, start: int, seen: Sequence[Seen], numbers: NDArray[np.int64]) -> list[Seen]:
        """Wettings that begin no earlier than just before reading `start`, after those seen before.

        `numbers` are the numbers of these readings among all, for `Seen.after`.
        """
        found: list[Seen] = []
        for before in seen:
            self._leave_out(before.wetting, before.base_s)
        for edge in [*self.edges.tolist(), self.times.size]:
            while hit := self._next(start, edge):
                base, at = hit
                peak, settled_s = self._peak(at, self.level[base])
                wetting, start = self._wetting(base, peak), peak + 1
                self._leave_out(wetting, float(self.times[base]))
                found.append(Seen(wetting, float(self.times[base]), settled_s, int(numbers[peak]) + 1))
            if start <= edge < self.times.size and self._wetter_over_gap(edge):
                peak, settled_s = self._peak(edge, self.level[edge - 1])
                wetting, start = self._over_gap(edge, peak), peak + 1
                found.append(Seen(wetting, wetting.onset_s, settled_s, int(numbers[peak]) + 1))
        return found

    def _leave_out(self, wetting: Wetting, base_s: float) -> None:
        """Take a wetting out of what is habit, unless it was so slow that it may be the day's swing.

        Such a one explains the same rise on the days after.
        """
        if wetting.over_gap or wetting.rise_m3_m3 <= self.params.fastest_swing_m3_m3_per_s * wetting.climb_s:
            return
        end_s = wetting.peak_s + self.params.window_s
        first, last = np.searchsorted(self.times, [base_s, end_s], side="right")
        self.free_rise[first:last] = -np.inf

    def _next(self, start: int, edge: int) -> tuple[int, int] | None:
        """Where the next wetting before `edge` begins, and the reading that shows it."""
        first, last = (int(n) for n in np.searchsorted(self.candidates, [start, edge]))
        many = FEWEST_AT_ONCE
        while first < last:
            some = slice(first, min(first + many, last))
            hit = self._first_of(some, start)
            if hit is not None:
                return hit
            first, many = some.stop, min(2 * many, MOST_AT_ONCE)
        return None

    def _first_of(self, some: slice, start: int) -> tuple[int, int] | None:
        """Of some candidates the first at which a wetting shows that began after the last one's peak."""
        at = self.candidates[some]
        earliest = np.maximum(self.earliest[at], start - 1)
        width = int((at - earliest).max())
        if width < 1:
            return None
        early = at[:, None] + np.arange(-width, 0)
        outside = early < earliest[:, None]
        early[outside] = 0
        warming = None if self.temps is None else self.temps[at][:, None] - self.temps[early]
        span_s = self.times[at][:, None] - self.times[early]
        beyond = self.level[at][:, None] - self.level[early]
        beyond -= self._swing(span_s, warming, self._habits(some)[:, None])
        beyond[outside] = -np.inf
        best = beyond.argmax(axis=1)
        rows = np.arange(at.size)
        most = beyond[rows, best]
        for row in np.flatnonzero(most >= self.params.least_rise_m3_m3 - 1e-9).tolist():
            base = int(early[row, best[row]])
            noise = self._noise(base)
            # Before the noise is known a rise must be beyond doubt.
            need = self.params.least_gap_rise_m3_m3 if noise is None else self.params.noise_times * noise
            if most[row] >= max(self.params.least_rise_m3_m3, need) - 1e-9:
                return base, int(at[row])
        return None

    def _noise(self, base: int) -> float | None:
        """Scatter of single readings over the day up to `base`, from second differences; None if too few."""
        if base not in self.noises:
            first = int(np.searchsorted(self.times, self.times[base] - DAY_S))
            part = self.raw[max(0, min(first, base - FEWEST)) : base + 1]
            self.noises[base] = None
            if part.size >= FEWEST:
                second = np.abs(part[2:] - 2 * part[1:-1] + part[:-2])
                # A second difference of white noise has √6 times its deviation; 1.4826 × median is one.
                self.noises[base] = float(1.4826 * _median(second) / np.sqrt(6.0))
        return self.noises[base]

    def _days_before(self, at_s: Floats) -> NDArray[np.int64]:
        """Of each instant and day before: from which to before which reading the time of day is the same."""
        centres_s = at_s[:, None] - np.arange(1, self.params.habit_days + 1) * DAY_S
        reach_s = self.params.habit_s
        edges_s = np.stack([centres_s - reach_s, centres_s + reach_s], axis=2)
        return np.asarray(np.searchsorted(self.times, edges_s), np.int64)

    def _habits(self, some: slice) -> Floats:
        """The largest rise at the time of day of each candidate on the days before, wettings left out."""
        days = self.days[some]
        first, last = days[:, :, 0], days[:, :, 1]
        # reduceat takes pairs of indices in turn; every second answer is that of a day
        largest = np.maximum.reduceat(self.free_rise, days.ravel())[::2].reshape(first.shape)
        measured = first < last
        habits = np.where(measured, largest, 0.0).max(axis=1, initial=0.0)
        if not self.ever_temps:
            habits[~measured.any(axis=1)] = self.params.most_swing_m3_m3
        return np.asarray(np.minimum(habits, self.params.most_swing_m3_m3))

    def _peak(self, at: int, before: float) -> tuple[int, float]:
        """The highest reading before the rise has paused for `settle_s` or half of it is gone.

        And when a reading showed that; NaN where none has.
        """
        times, level = self.scalars
        peak = at
        for k in range(at + 1, int(self.stretch_end[at])):
            if (
                times[k] - times[peak] > self.params.settle_s
                or level[k] < before + (level[peak] - before) / 2
            ):
                return peak, times[k]
            if level[k] > level[peak] + 1e-9:
                peak = k
        end = int(self.stretch_end[at])
        return peak, times[end] if end < len(times) else math.nan

    def _wetting(self, base: int, peak: int) -> Wetting:
        levels, times = self.level[base : peak + 1], self.times[base : peak + 1]
        before, after = float(self.level[base]), float(self.level[peak])
        # The rise starts at the last reading within a tenth of it: what came before was swing or noise.
        near = min(max(0.1 * (after - before), 2 * (self._noise(base) or 0.0)), (after - before) / 3)
        low = int(np.flatnonzero(levels <= before + near)[-1])
        high = int(np.flatnonzero(levels >= after - near)[0])
        low = min(low, high - 1) if high > 0 else 0
        spacing = _median(np.diff(times)) if times.size > 1 else 0.0
        climb = float(times[high] - times[low])
        wetting = Wetting(
            onset_s=float(times[low]),
            peak_s=float(times[-1]),
            before_m3_m3=before,
            after_m3_m3=after,
            climb_s=climb,
            spacing_s=spacing,
            kind=WettingKind.UNCLEAR,
            confidence=0.0,
            reason="",
        )
        return by_speed(wetting, self.params)

    def _wetter_over_gap(self, at: int) -> bool:
        """Whether it rose from the last reading before a gap to the first after it, too much for a swing."""
        return bool(
            self.part[at] == self.part[at - 1]
            and self.times[at] - self.times[at - 1] <= self.params.longest_look_back_s
            and self.level[at] - self.level[at - 1] >= self.params.least_gap_rise_m3_m3
        )

    def _over_gap(self, at: int, peak: int) -> Wetting:
        hours = (self.times[at] - self.times[at - 1]) / HOUR_S
        return Wetting(
            onset_s=float(self.times[at - 1]),
            peak_s=float(self.times[peak]),
            before_m3_m3=float(self.level[at - 1]),
            after_m3_m3=float(self.level[peak]),
            climb_s=float(self.times[at] - self.times[at - 1]),
            spacing_s=float(self.times[at] - self.times[at - 1]),
            kind=WettingKind.UNCLEAR,
            confidence=0.4,
            reason=f"wetter after {hours:.0f} h without readings than before; when and how is not known",
            over_gap=True,
        )
