"""Evaporative demand where each tray stood, hour by hour, from the air of its places."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.demand import reference_demand_mm
from traywarden.domain.dry_outlook import AirAhead
from traywarden.domain.drying import DAY_H, USUAL_DEMAND_MM, expected_demand, relative_demand
from traywarden.domain.hourly import HOUR_S, Hourly, hourly, hourly_together
from traywarden.domain.series import FloatArray, HeadSeries
from traywarden.services.position import position_of
from traywarden.services.questions.ground import Ground

LEAST_KNOWN = 0.5
"""Part of the hours in which a place's air must be known, or the tray's own soil stands in for it."""

SOIL_STANDS_IN = "the air of its place is not measured, so its soil temperature stands in for it"
NO_HUMIDITY = "no humidity is measured there, so the night's low stands in for the dew point"


@dataclass(frozen=True, slots=True, eq=False)
class TrayDemand:
    """Demand of each hour where a tray stood, as a part of a usual hour's, and what was expected of the next.

    `hour_s` is the start of each hour; `ahead` as `Drying.demand_ahead`; `said` what was missing, in words.
    """

    hour_s: FloatArray
    demand: FloatArray
    ahead: FloatArray
    air_temp_c: FloatArray
    vpd_kpa: FloatArray
    said: str


class PlaceDemand:
    """Reads the air of each place once, and works out the demand of each way of standing about once."""

    def __init__(self, ground: Ground, start_ms: int, end_ms: int) -> None:
        self._ground = ground
        first, end = start_ms // (HOUR_S * 1000), -(-end_ms // (HOUR_S * 1000))
        self._hour_s = np.arange(first, end, dtype=np.float64) * HOUR_S
        self._span_ms = (start_ms, end_ms)
        self._air: dict[int, tuple[FloatArray, FloatArray]] = {}
        self._known: dict[tuple[tuple[int, int, int], ...], TrayDemand | None] = {}
        position = position_of(ground)
        self._position = position.latitude_deg, position.longitude_deg

    def of_tray(self, tray_id: int, heads: Sequence[HeadSeries]) -> TrayDemand:
        """Of a tray through all its places; from the heads' soil where too little of the air is known."""
        spans = tuple(
            (stay.where, *span)
            for stay in self._ground.facts.tray_places
            if stay.subject == tray_id and (span := stay.overlap(*self._span_ms))
        )
        if spans not in self._known:
            self._known[spans] = self._of_places(spans)
        found = self._known[spans]
        if found is None:
            soil = hourly_together([hourly(head) for head in heads])
            temps = self._placed(soil, soil.soil_temp_c)
            found = self._demand(temps, np.full(temps.size, np.nan), SOIL_STANDS_IN)
        return found

    def forecast(self, known: TrayDemand, ahead: AirAhead | None, after_s: float) -> FloatArray:
        """Demand of the hours after `after_s` as a forecast has it, NaN where it is silent; empty without."""
        if ahead is None or not ahead.hour_s.size or not known.hour_s.size:
            return np.empty(0)
        # The day's range of the first hours reaches back into what was measured.
        past = known.hour_s < min(after_s, float(ahead.hour_s[0]))
        tail = slice(max(int(past.sum()) - DAY_H, 0), int(past.sum()))
        hours = np.concatenate((known.hour_s[tail], ahead.hour_s))
        temps = np.concatenate((known.air_temp_c[tail], ahead.air_temp_c))
        deficit = np.concatenate((known.vpd_kpa[tail], ahead.vpd_kpa))
        grid = np.arange(hours[0], hours[-1] + HOUR_S / 2, HOUR_S)
        at = np.round((hours - hours[0]) / HOUR_S).astype(np.int64)
        on_grid = np.full((2, grid.size), np.nan)
        on_grid[0, at], on_grid[1, at] = temps, deficit
        latitude, longitude = self._position
        told = reference_demand_mm(grid, *on_grid, latitude_deg=latitude, longitude_deg=longitude)
        coming = grid >= after_s
        if not coming.any() or grid[coming][0] > after_s:
            missing = round((float(ahead.hour_s[0]) - after_s) / HOUR_S)
            return np.concatenate((np.full(max(missing, 0), np.nan), told[coming] / USUAL_DEMAND_MM))
        return np.asarray(told[coming] / USUAL_DEMAND_MM)

    def _of_places(self, spans: tuple[tuple[int, int, int], ...]) -> TrayDemand | None:
        temps, deficit = (np.full(self._hour_s.size, np.nan) for _ in range(2))
        for place_id, start_ms, end_ms in spans:
            here = (self._hour_s >= start_ms / 1000 - HOUR_S) & (self._hour_s < end_ms / 1000)
            place_temps, place_deficit = self._of_place(place_id)
            temps[here], deficit[here] = place_temps[here], place_deficit[here]
        if np.isfinite(temps).mean() < LEAST_KNOWN * self._stood(spans):
            return None
        said = "" if np.isfinite(deficit).any() else NO_HUMIDITY
        return self._demand(temps, deficit, said)

    def _stood(self, spans: tuple[tuple[int, int, int], ...]) -> float:
        start_ms, end_ms = self._span_ms
        return sum(end - start for _, start, end in spans) / (end_ms - start_ms) if spans else 1.0

    def _of_place(self, place_id: int) -> tuple[FloatArray, FloatArray]:
        if place_id not in self._air:
            air = hourly_together(self._ground.place_hourly(place_id, "air", *self._span_ms))
            self._air[place_id] = self._placed(air, air.air_temp_c), self._placed(air, air.vpd_kpa)
        return self._air[place_id]

    def _placed(self, found: Hourly, values: FloatArray) -> FloatArray:
        """Hourly values on the hours asked about."""
        placed = np.full(self._hour_s.size, np.nan)
        if found.hour_s.size and self._hour_s.size:
            at = np.round((found.hour_s - self._hour_s[0]) / HOUR_S).astype(np.int64)
            inside = (at >= 0) & (at < placed.size)
            placed[at[inside]] = values[inside]
        return placed

    def _demand(self, temps: FloatArray, deficit: FloatArray, said: str) -> TrayDemand:
        latitude, longitude = self._position
        demand_mm = reference_demand_mm(
            self._hour_s, temps, deficit, latitude_deg=latitude, longitude_deg=longitude
        )
        demand = relative_demand(demand_mm)
        return TrayDemand(self._hour_s, demand, expected_demand(demand), temps, deficit, said)
