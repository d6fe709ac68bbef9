"""Rises of soil moisture that neither warming nor the daily swing explains."""

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.wetting import DAY_S, HOUR_S, Wetting, WettingKind, WettingParams, by_speed

Floats = NDArray[np.float64]

FEWEST = 8
"""Fewer readings do not show a sensor's noise."""


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


class Rises:
    """One pass, forward in time, over readings that can be trusted; `part` counts what parts them (frost)."""

    def __init__(
        self,
        times: Floats,
        moisture: Floats,
        temps: Floats | None,
        part: NDArray[np.int64],
        params: WettingParams,
    ) -> None:
        self.times, self.temps, self.part, self.params = times, temps, part, params
        joined = (np.diff(times) <= params.longest_gap_s) & (np.diff(part) == 0)
        self.level = _median_of_three(moisture, joined)
        self.raw = moisture
        self.stretch = (
            np.concatenate(([0], np.cumsum(~joined))) if times.size else np.zeros(0, dtype=np.int64)
        )
        self.rise = self._rises()
        self.taken: list[tuple[float, float]] = []

    def _rises(self) -> Floats:
        """For each reading: the largest rise to it within the window, beyond warming."""
        n = self.times.size
        best = np.zeros(n)
        for lag in range(1, n):
            late, early = slice(lag, n), slice(0, n - lag)
            near = (self.times[late] - self.times[early] <= self.params.window_s) & (
                self.stretch[late] == self.stretch[early]
            )
            if not near.any():
                break
            rise = self.level[late] - self.level[early] - self._swing(early, late, 0.0)
            best[late] = np.where(near, np.maximum(best[late], rise), best[late])
        return best

    def _swing(self, early: slice, late: slice | int, habit: float) -> Floats:
        """The part of a rise from `early` to `late` that warming, or habit, may explain."""
        span_s = self.times[late] - self.times[early]
        explained = np.full(span_s.size, habit)
        if self.temps is not None:
            warming = np.nan_to_num(self.temps[late] - self.temps[early], nan=0.0)
            explained = np.maximum(explained, self.params.temperature_effect_m3_m3_per_c * warming)
        most = np.minimum(self.params.most_swing_m3_m3, self.params.fastest_swing_m3_m3_per_s * span_s)
        return np.asarray(np.clip(explained, 0.0, most), dtype=np.float64)

    def wettings(self) -> list[Wetting]:
        found: list[Wetting] = []
        start = 0  # no rise is looked for before this reading
        edges = set((np.flatnonzero(np.diff(self.stretch)) + 1).tolist())
        candidates = np.flatnonzero(self.rise >= self.params.least_rise_m3_m3 - 1e-9)
        for at in sorted(edges.union(candidates.tolist())):
            if at < start:
                continue
            if at in edges:
                wetting = self._over_gap(at)
                if wetting is not None:
                    found.append(wetting)
                    start = self._peak(at, self.level[at - 1]) + 1
                    continue
            base = self._base_since(at, start)
            if base is None:
                continue
            peak = self._peak(at, self.level[base])
            wetting = self._wetting(base, peak)
            found.append(wetting)
            # One no steeper than a swing may be one: it then explains the same rise on the days after.
            if wetting.rise_m3_m3 > self.params.fastest_swing_m3_m3_per_s * wetting.climb_s:
                self.taken.append((self.times[base], self.times[peak]))
            start = peak + 1
        return found

    def _base_since(self, at: int, start: int) -> int | None:
        """Where the rise to `at` began, if it is a wetting and began after the last one's peak."""
        first = int(np.searchsorted(self.times, self.times[at] - self.params.window_s))
        first = max(first, start - 1, int(np.searchsorted(self.stretch, self.stretch[at])))
        if first >= at:
            return None
        early = slice(first, at)
        beyond = self.level[at] - self.level[early] - self._swing(early, at, self._habit(at))
        base = first + int(np.argmax(beyond))
        noise = self._noise(base)
        # Before the noise is known a rise must be beyond doubt.
        need = self.params.least_gap_rise_m3_m3 if noise is None else self.params.noise_times * noise
        return base if beyond[base - first] >= max(self.params.least_rise_m3_m3, need) - 1e-9 else None

    def _noise(self, base: int) -> float | None:
        """Scatter of single readings over the day up to `base`, from second differences; None if too few."""
        first = int(np.searchsorted(self.times, self.times[base] - DAY_S))
        part = self.raw[max(0, min(first, base - FEWEST)) : base + 1]
        if part.size < FEWEST:
            return None
        second = np.abs(part[2:] - 2 * part[1:-1] + part[:-2])
        # A second difference of white noise has √6 times its deviation; 1.4826 × median is one deviation.
        return float(1.4826 * np.median(second) / np.sqrt(6.0))

    def _habit(self, at: int) -> float:
        """The largest rise at this time of day on the days before, wettings left out."""
        params = self.params
        largest, days = 0.0, 0
        for day in range(1, params.habit_days + 1):
            centre = self.times[at] - day * DAY_S
            first, last = np.searchsorted(self.times, [centre - params.habit_s, centre + params.habit_s])
            if first == last:
                continue
            days += 1
            free = np.full(last - first, True)
            for onset_s, peak_s in reversed(self.taken):
                if peak_s + params.window_s < self.times[first]:
                    break
                end_s = peak_s + params.window_s
                free &= (self.times[first:last] <= onset_s) | (self.times[first:last] > end_s)
            if free.any():
                largest = max(largest, float(self.rise[first:last][free].max()))
        if days == 0 and self.temps is None:
            return params.most_swing_m3_m3
        return min(largest, params.most_swing_m3_m3)

    def _peak(self, at: int, before: float) -> int:
        """The highest reading before the rise has paused for `settle_s` or half of it is gone."""
        peak = at
        for k in range(at + 1, self.times.size):
            if (
                self.stretch[k] != self.stretch[at]
                or self.times[k] - self.times[peak] > self.params.settle_s
                or self.level[k] < before + (self.level[peak] - before) / 2
            ):
                break
            if self.level[k] > self.level[peak] + 1e-9:
                peak = k
        return peak

    def _wetting(self, base: int, peak: int) -> Wetting:
        levels, times = self.level[base : peak + 1], self.times[base : peak + 1]
        before, after = float(self.level[base]), float(self.level[peak])
        # The rise starts at the last reading within a tenth of it: what came before was swing or noise.
        near = min(max(0.1 * (after - before), 2 * (self._noise(base) or 0.0)), (after - before) / 3)
        low = int(np.flatnonzero(levels <= before + near)[-1])
        high = int(np.flatnonzero(levels >= after - near)[0])
        low = min(low, high - 1) if high > 0 else 0
        spacing = float(np.median(np.diff(times))) if times.size > 1 else 0.0
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

    def _over_gap(self, at: int) -> Wetting | None:
        """A rise from the last reading before a gap to the first after it, if too large for a swing."""
        if (
            self.part[at] != self.part[at - 1]
            or self.times[at] - self.times[at - 1] > self.params.longest_look_back_s
            or self.level[at] - self.level[at - 1] < self.params.least_gap_rise_m3_m3
        ):
            return None
        peak = self._peak(at, self.level[at - 1])
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
