"""The open air past and to come, and what it makes of a place in the coming hours."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.dry_outlook import AirAhead, air_ahead
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.forecast_outlook import through_forecast
from traywarden.domain.garden import Place
from traywarden.domain.hourly import hourly_together
from traywarden.domain.lag import LearnedLag
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import MEMBERS, own_days
from traywarden.errors import ShortOfDataError
from traywarden.services.drying_now import AirForecast, no_forecast
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
MOST_BEFORE_H = 72
"""A forecast that begins later than this is not led up to: by then own days say nothing of it (no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """What is known of the open air, past and to come; `ahead_rh_pct` NaN where nothing is said of it.

    The coming hours begin now. Those before `told_from_s` are like the open air's own last days, as the
    forecast begins then; `spread_c` is the standard deviation of what each may be off by.
    """

    outside: OutsideAir | None
    ahead_s: FloatArray
    ahead_c: FloatArray
    ahead_rh_pct: FloatArray
    spread_c: FloatArray
    error: ForecastError
    told_from_s: float
    says: str


def sky_of(ground: Ground) -> Sky:
    """The open air as the garden and its newest forecast know it."""
    start_ms = ground.now_ms - FORECAST_KNOWN_D * DAY_MS
    outside = outside_air(ground, start_ms, ground.now_ms + 1)
    newest = outside_store.newest_forecast(ground.tx, ground.now_ms)
    issued = outside_store.forecasts_issued(ground.tx, start_ms, ground.now_ms + 1)
    error = forecast_error(issued, outside)
    if newest is None:
        return _silent(outside, error, "")
    ahead_s, ahead_c = hours_ahead(newest, ground.now_ms / 1000)
    if not ahead_s.size:
        ended = f"ended {ground.at(newest.end_s * 1000):%a %d %b %H:%M}: it is history"
        return _silent(outside, error, f"the newest forecast (“{newest.source}”) {ended}")
    try:
        before = _until_it_begins(outside, ground.now_ms / 1000, float(ahead_s[0]), ahead_c[0] - error.bias_c)
    except ShortOfDataError as short:
        begins = f"begins {ground.at(ahead_s[0] * 1000):%a %d %b %H:%M}, so it is not used yet"
        return _silent(outside, error, f"the newest forecast (“{newest.source}”) {begins}: {_clause(short)}")
    until = ground.at((ahead_s[-1] + HOUR_S) * 1000)
    says = f"forecast “{newest.source}”, up to {until:%a %d %b %H:%M}"
    if before.time_s.size:
        says = (
            f"forecast “{newest.source}”, from {ground.at(ahead_s[0] * 1000):%a %d %b %H:%M} up to "
            f"{until:%a %d %b %H:%M}; until then the open air is taken to be like its own last days"
        )
    if error.judged and abs(error.bias_c) > 0.1:
        bias = ground.display.temp_difference(-error.bias_c)
        says += f", corrected by {bias} that its kind was off in the open here"
    humidity = np.interp(ahead_s, newest.time_s, newest.rh_pct)
    first_s = before.time_s[0] if before.time_s.size else ahead_s[0]
    return Sky(
        outside,
        np.concatenate([before.time_s, ahead_s]),
        np.concatenate([before.air_c, ahead_c - error.bias_c]),
        np.concatenate([np.full(before.time_s.size, np.nan), humidity]),
        np.concatenate([before.spread_c, error.at((ahead_s - first_s) / HOUR_S)]),
        error,
        float(ahead_s[0]),
        says,
    )


def _silent(outside: OutsideAir | None, error: ForecastError, says: str) -> Sky:
    none = np.empty(0)
    return Sky(outside, none, none, none, none, error, np.inf, says)


def _clause(short: ShortOfDataError) -> str:
    """A sentence as the rest of another."""
    words = str(short).rstrip(".")
    return words[:1].lower() + words[1:]


@dataclass(frozen=True, slots=True, eq=False)
class _Before:
    """Open air of the hours before a forecast begins, each with its standard deviation [s, °C, °C]."""

    time_s: FloatArray
    air_c: FloatArray
    spread_c: FloatArray


def _until_it_begins(outside: OutsideAir | None, now_s: float, begins_s: float, first_c: float) -> _Before:
    """The hours from now until a forecast begins, like the open air's last days and led to its first hour.

    Empty where it has begun. Raises ShortOfDataError where the open air was not measured for long enough, or
    the forecast begins too late for own days to lead up to it.
    """
    start_s = np.floor(now_s / HOUR_S) * HOUR_S
    count = round((begins_s - start_s) / HOUR_S)
    if count <= 0:
        return _Before(np.empty(0), np.empty(0), np.empty(0))
    if count > MOST_BEFORE_H:
        raise ShortOfDataError(f"That is more than {MOST_BEFORE_H} h ahead.")
    if outside is None or outside.place_id is None:
        raise ShortOfDataError("The open air is not measured here, so nothing tells of it until then.")
    own = own_days(outside.time_s, outside.air_c, start_s, count + 1)
    middle, spread = own.quantile_c(0.5), own.members_c.std(axis=0)
    lead = (first_c - middle[-1]) * np.arange(1, count + 1) / (count + 1)
    return _Before(own.time_s[:-1], middle[:-1] + lead, spread[:-1])


def forecast_reaches(ground: Ground) -> bool:
    """Whether a forecast speaks of hours to come: asked before the open air of weeks is read for it."""
    newest = outside_store.newest_forecast(ground.tx, ground.now_ms)
    return newest is not None and bool(hours_ahead(newest, ground.now_ms / 1000)[0].size)


def driven_by(
    lag: LearnedLag, sky: Sky, hour_s: FloatArray, mean_c: FloatArray, *, members: int = MEMBERS
) -> Ensemble:
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
    return through_forecast(
        lag,
        past_s,
        past_air,
        past_soil,
        sky.ahead_s,
        sky.ahead_c,
        error_c=sky.spread_c,
        members=members,
    )


def air_forecast(ground: Ground) -> AirForecast:
    """What a forecast says of the air of a place in the coming hours, for the outlook on drying.

    The open air of the forecast through what each place makes of it; None where there is no forecast, where
    it is silent on humidity, or where the relation could not be learned.
    """
    if not forecast_reaches(ground):
        return no_forecast
    sky = sky_of(ground)

    def ahead(on: Ground, place: Place) -> AirAhead | None:
        if sky.outside is None or not np.isfinite(sky.ahead_rh_pct).any():
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
        # Hours before the forecast begins are left to the tray's own last days.
        told = sky.ahead_s >= sky.told_from_s
        return air_ahead(sky.ahead_s[told], middle[told], sky.ahead_c[told], sky.ahead_rh_pct[told], sky.says)

    return ahead
