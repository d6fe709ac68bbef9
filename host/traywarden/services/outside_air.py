"""The air in the open, hour by hour: what a place without a roof measured, or what forecasts said of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.lag import LearnedLag, learn_lag
from traywarden.domain.outside import Forecast
from traywarden.domain.series import FloatArray
from traywarden.errors import ShortOfDataError
from traywarden.services.position import position_of
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store import outside as outside_store

HOUR_S = 3600
LEARN_D, HALF_LIFE_D = 14, 3.0
"""Days a relation to the outside air is learned from, and how fast they lose weight. Shade, growth and moving
change it: on two recorded fields this missed the next two days by less than thirty days alike did
(`python -m tests.figures lags`)."""
FORECAST_KNOWN_D = 60
LEAST_JUDGED_H = 120
"""Forecast hours that must have passed and been measured before its error is taken from them."""
DEFAULT_ERROR_C, ERROR_GROWS_C_A_DAY = 1.5, 0.4
"""Error of a forecast nobody has judged yet (standard deviation; common practice, no source)."""
LONGEST_BRIDGED_H = 6


@dataclass(frozen=True, slots=True, eq=False)
class OutsideAir:
    """Open air by the hour [s, °C]; NaN where not known. `place_id`: the place that measured it, if any."""

    time_s: FloatArray
    air_c: FloatArray
    says: str
    place_id: int | None = None


@dataclass(frozen=True, slots=True)
class ForecastError:
    """How far off forecasts were, forecast − measured; by default where too few hours could be judged."""

    bias_c: float
    spread_c: float
    hours: int
    judged: bool

    def at(self, ahead_h: FloatArray) -> FloatArray:
        """Standard deviation of the error so many hours ahead [°C]."""
        return np.asarray(self.spread_c + ERROR_GROWS_C_A_DAY * np.asarray(ahead_h) / 24)


def outside_air(ground: Ground, start_ms: int, end_ms: int) -> OutsideAir | None:
    """The open air of a span, as far as anything tells it.

    From the place without a cover whose air is known for the most hours; where there is none, from the first
    day of every forecast issued in that time. None where there is neither.
    """
    best: tuple[int, Hourly, int, str] | None = None
    for place in ground.places.values():
        if place.covered:
            continue
        air = hourly_together(ground.place_hourly(place.place_id, "air", start_ms, end_ms), place.name)
        known = int(np.isfinite(air.air_temp_c).sum())
        if known and (best is None or known > best[0]):
            best = known, air, place.place_id, place.name
    if best is not None:
        _, air, place_id, name = best
        return OutsideAir(air.hour_s, air.air_temp_c, f"measured at “{name}”", place_id)
    issued = outside_store.forecasts_issued(ground.tx, start_ms, end_ms)
    hours: dict[float, float] = {}
    for each in issued:  # oldest first: what was said later holds
        near = (each.time_s >= each.issued_s - HOUR_S) & (each.time_s < each.issued_s + 24 * HOUR_S)
        hours |= dict(zip(each.time_s[near].tolist(), each.air_temp_c[near].tolist(), strict=True))
    if not hours:
        return None
    times = np.array(sorted(hours))
    return OutsideAir(times, np.array([hours[t] for t in times.tolist()]), "from the forecasts' first days")


def relation(ground: Ground, outside: OutsideAir, hour_s: FloatArray, temp_c: FloatArray) -> LearnedLag:
    """How hourly temperatures follow the open air, learned from the last fourteen days both were known.

    Raises ShortOfDataError with the reason.
    """
    times, at_outside, at_own = np.intersect1d(
        np.floor(outside.time_s / HOUR_S), np.floor(hour_s / HOUR_S), return_indices=True
    )
    if not times.size:
        raise ShortOfDataError("The open air and this were never measured in the same hour.")
    kept = times * HOUR_S >= times[-1] * HOUR_S - LEARN_D * DAY_MS / 1000
    position = position_of(ground)
    return learn_lag(
        times[kept] * HOUR_S,
        outside.air_c[at_outside[kept]],
        temp_c[at_own[kept]],
        ground.zone,
        position.latitude_deg,
        position.longitude_deg,
        half_life_d=HALF_LIFE_D,
        display=ground.display,
    )


def forecast_error(forecasts: Sequence[Forecast], outside: OutsideAir | None) -> ForecastError:
    """The error of forecasts whose hours have passed and were measured in the open."""
    default = ForecastError(0.0, DEFAULT_ERROR_C, 0, False)
    if outside is None or outside.place_id is None:
        return default
    measured = dict(zip(outside.time_s.tolist(), outside.air_c.tolist(), strict=True))
    off: list[float] = []
    for each in forecasts:
        ahead = (each.time_s >= each.issued_s) & (each.time_s < each.issued_s + 36 * HOUR_S)
        said = zip(each.time_s[ahead].tolist(), each.air_temp_c[ahead].tolist(), strict=True)
        off += [value - measured[at] for at, value in said if at in measured]
    errors = np.array(off)
    errors = errors[np.isfinite(errors)]
    if errors.size < LEAST_JUDGED_H:
        return ForecastError(0.0, DEFAULT_ERROR_C, int(errors.size), False)
    return ForecastError(float(errors.mean()), float(errors.std()), int(errors.size), True)


def hours_ahead(forecast: Forecast, now_s: float) -> tuple[FloatArray, FloatArray]:
    """Whole hours from now on that a forecast speaks of, without a gap [s, °C]; empty where it does not.

    They begin now, or where it begins. Steps up to six hours are bridged by straight lines; at a longer one
    it ends.
    """
    known = np.isfinite(forecast.air_temp_c)
    times, air = forecast.time_s[known], forecast.air_temp_c[known]
    start_s = np.floor(now_s / HOUR_S) * HOUR_S
    if not times.size or times[-1] < start_s:
        return np.empty(0), np.empty(0)
    holes = np.flatnonzero(np.diff(times) > LONGEST_BRIDGED_H * HOUR_S)
    for hole in holes:
        if times[hole + 1] > start_s:
            times, air = times[: hole + 1], air[: hole + 1]
            break
    if times[0] > start_s + HOUR_S:
        start_s = np.ceil(times[0] / HOUR_S) * HOUR_S
    whole = np.arange(start_s, times[-1] + 1, HOUR_S)
    return np.asarray(whole), np.asarray(np.interp(whole, times, air))
