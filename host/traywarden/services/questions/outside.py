"""What is known of the open air from outside the garden: the newest forecast, and past years."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby

import numpy as np

from traywarden.domain.outside import Forecast
from traywarden.domain.series import FloatArray
from traywarden.domain.units import span_words
from traywarden.errors import ShortOfDataError
from traywarden.services.outside_air import FORECAST_KNOWN_D, ForecastError, forecast_error, outside_air
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store import outside as outside_store

WHOLE_YEAR_D = 347
"""Days that make a year whole: 95 %."""


@dataclass(frozen=True, slots=True)
class ForecastDay:
    """One garden day of a forecast; `hours` are those it speaks of, `passed` whether all of them are over."""

    day: date
    hours: int
    low_c: float | None
    high_c: float | None
    rain_mm: float | None
    wind_m_s: float | None
    passed: bool


@dataclass(frozen=True, slots=True)
class ForecastShown:
    """The newest forecast. `history` is true when all its hours have passed: it drives no outlook then.

    `error` is how far off its kind was where that could be judged, else what is assumed.
    """

    source: str
    issued_ms: int
    end_ms: int
    history: bool
    sentence: str
    days: tuple[ForecastDay, ...]
    error: ForecastError


@dataclass(frozen=True, slots=True)
class SourceDays:
    """Past weather of one source. `whole_years` are calendar years with 95 % of their days and more."""

    source: str
    first: date
    last: date
    days: int
    lacking: int
    whole_years: int
    lowest_c: float
    highest_c: float


def ask_forecast(ground: Ground) -> ForecastShown:
    """The newest forecast by garden day. Raises ShortOfDataError where there is none."""
    now_ms = ground.now_ms
    found = outside_store.newest_forecast(ground.tx, now_ms)
    if found is None:
        raise ShortOfDataError(
            "There is no forecast yet; read one in with: traywarden forecast import FILE, "
            "or do without: the outlook then rests on your own days."
        )
    start_ms = now_ms - FORECAST_KNOWN_D * DAY_MS
    issued = outside_store.forecasts_issued(ground.tx, start_ms, now_ms + 1)
    end_ms = round(found.end_s * 1000)
    left_s = found.end_s - now_ms / 1000
    if left_s > 0:
        sentence = f"The newest forecast still reaches {span_words(left_s)} ahead."
    else:
        sentence = (
            f"The newest forecast ended {span_words(-left_s)} ago: it is history and drives no outlook."
        )
    return ForecastShown(
        found.source,
        round(found.issued_s * 1000),
        end_ms,
        left_s <= 0,
        sentence,
        _days(ground, found),
        forecast_error(issued, outside_air(ground, start_ms, now_ms + 1)),
    )


def ask_weather(ground: Ground) -> list[SourceDays]:
    """Past weather by source."""
    found = []
    for each in outside_store.weather_days(ground.tx):
        known = np.isfinite(each.air_min_c) & np.isfinite(each.air_max_c)
        if not known.any():
            continue
        first, last = int(each.day[known][0]), int(each.day[known][-1])
        years = [each.date(int(p)).year for p in np.flatnonzero(known)]
        whole = sum(len(list(days)) >= WHOLE_YEAR_D for _, days in groupby(years))
        found.append(
            SourceDays(
                each.source,
                each.date(int(np.flatnonzero(known)[0])),
                each.date(int(np.flatnonzero(known)[-1])),
                int(known.sum()),
                last - first + 1 - int(known.sum()),
                whole,
                float(np.nanmin(each.air_min_c)),
                float(np.nanmax(each.air_max_c)),
            )
        )
    return found


def _days(ground: Ground, forecast: Forecast) -> tuple[ForecastDay, ...]:
    dates = [datetime.fromtimestamp(t, UTC).astimezone(ground.zone).date() for t in forecast.time_s.tolist()]
    days = []
    position = 0
    for day, same in groupby(dates):
        part = slice(position, position := position + len(list(same)))
        over = forecast.time_s[part][-1] + 3600 <= ground.now_ms / 1000
        days.append(
            ForecastDay(
                day,
                part.stop - part.start,
                _of(forecast.air_temp_c[part], np.min),
                _of(forecast.air_temp_c[part], np.max),
                _of(forecast.rain_mm[part], np.sum),
                _of(forecast.wind_m_s[part], np.mean),
                bool(over),
            )
        )
    return tuple(days)


def _of(values: FloatArray, what: Callable[[FloatArray], float]) -> float | None:
    known = values[np.isfinite(values)]
    return float(what(known)) if known.size else None
