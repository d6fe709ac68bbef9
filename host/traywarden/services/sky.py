"""The open air past and to come, and what it makes of a place in the coming hours."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.dry_outlook import AirAhead, air_ahead
from traywarden.domain.forecast_outlook import through_forecast
from traywarden.domain.garden import Place
from traywarden.domain.hourly import hourly_together
from traywarden.domain.lag import LearnedLag
from traywarden.domain.outside import Forecast
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import Ensemble
from traywarden.errors import ShortOfDataError
from traywarden.services.drying_now import AirForecast
from traywarden.services.outside_air import (
    FORECAST_KNOWN_D,
    HOUR_S,
    LEARN_D,
    ForecastError,
    OutsideAir,
    forecast_error,
    hours_ahead,
    outside_air,
    relation,
)
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store import outside as outside_store

_WARM_UP_D = 5


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """What is known of the open air, past and to come; `ahead_rh_pct` NaN where nothing is said of it."""

    outside: OutsideAir | None
    ahead_s: FloatArray
    ahead_c: FloatArray
    ahead_rh_pct: FloatArray
    error: ForecastError
    says: str


def sky_of(ground: Ground) -> Sky:
    """The open air as the garden and its newest forecast know it."""
    start_ms = ground.now_ms - FORECAST_KNOWN_D * DAY_MS
    outside = outside_air(ground, start_ms, ground.now_ms + 1)
    newest = outside_store.newest_forecast(ground.tx, ground.now_ms)
    issued = outside_store.forecasts_issued(ground.tx, start_ms, ground.now_ms + 1)
    error = forecast_error(issued, outside)
    none = np.empty(0)
    if newest is None:
        return Sky(outside, none, none, none, error, "")
    ahead_s, ahead_c = hours_ahead(newest, ground.now_ms / 1000)
    if not ahead_s.size:
        return Sky(outside, none, none, none, error, _unused_words(ground, newest))
    until = ground.at((ahead_s[-1] + HOUR_S) * 1000)
    says = f"forecast “{newest.source}”, up to {until:%a %d %b %H:%M}"
    if error.judged and abs(error.bias_c) > 0.1:
        bias = ground.display.temp_difference(-error.bias_c)
        says += f", corrected by {bias} that its kind was off in the open here"
    humidity = np.interp(ahead_s, newest.time_s, newest.rh_pct)
    return Sky(outside, ahead_s, ahead_c - error.bias_c, humidity, error, says)


def _unused_words(ground: Ground, newest: Forecast) -> str:
    """Why the newest forecast says nothing of the coming hours."""
    name, now_s = f"the newest forecast (“{newest.source}”)", ground.now_ms / 1000
    if newest.end_s > now_s:
        return f"{name} says nothing of the hour that is coming, so it is not used"
    return f"{name} ended {ground.at(newest.end_s * 1000):%a %d %b %H:%M}: it is history"


def driven_by(lag: LearnedLag, sky: Sky, hour_s: FloatArray, mean_c: FloatArray) -> Ensemble:
    """The coming hours through the relation, warmed up on the open air of the last days."""
    assert sky.outside is not None
    start_s = float(sky.ahead_s[0])
    past_s = np.asarray(start_s - HOUR_S * np.arange(_WARM_UP_D * 24, 0, -1))
    air, soil = (
        dict(zip(times.tolist(), values.tolist(), strict=True))
        for times, values in ((sky.outside.time_s, sky.outside.air_c), (hour_s, mean_c))
    )
    past_air = np.array([air.get(t, np.nan) for t in past_s.tolist()])
    past_soil = np.array([soil.get(t, np.nan) for t in past_s.tolist()])
    ahead_h = (sky.ahead_s - start_s) / HOUR_S
    return through_forecast(
        lag, past_s, past_air, past_soil, sky.ahead_s, sky.ahead_c, error_c=sky.error.at(ahead_h)
    )


def air_forecast(ground: Ground) -> AirForecast:
    """What a forecast says of the air of a place in the coming hours, for the outlook on drying.

    The open air of the forecast through what each place makes of it; None where there is no forecast, where
    it is silent on humidity, or where the relation could not be learned.
    """
    sky = sky_of(ground)

    def ahead(on: Ground, place: Place) -> AirAhead | None:
        if sky.outside is None or not sky.ahead_s.size or not np.isfinite(sky.ahead_rh_pct).any():
            return None
        start_ms = on.now_ms - LEARN_D * DAY_MS
        air = hourly_together(on.place_hourly(place.place_id, "air", start_ms, on.now_ms + 1), place.name)
        if not air.hour_s.size:
            return None
        try:
            lag = relation(on, sky.outside, air.hour_s, air.air_temp_c)
        except ShortOfDataError:
            return None
        middle = driven_by(lag, sky, air.hour_s, air.air_temp_c).quantile_c(0.5)
        return air_ahead(sky.ahead_s, middle, sky.ahead_c, sky.ahead_rh_pct, sky.says)

    return ahead
