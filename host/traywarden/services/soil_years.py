"""Soil of past years at a place: measured there, or weather of years through the learned relation to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.counting_back import SoilYears
from traywarden.domain.day_curve import PEAK_H, day_curve, sunrise_h
from traywarden.domain.daylight import standard_offset_h
from traywarden.domain.garden import Place
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.lag import LearnedLag, learn_lag
from traywarden.domain.outside import EPOCH, WeatherDays
from traywarden.domain.series import FloatArray
from traywarden.domain.warm_days import SoilDays
from traywarden.errors import ShortOfDataError
from traywarden.services.outside_air import HOUR_S, OutsideAir, outside_air
from traywarden.services.position import position_of
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.store import outside as outside_store

LOOK_BACK_D = 3_650
LEARN_D = 400
LEAST_SHARED_D = 14
"""Days that a weather station and the garden's own open air must share before one is shifted to the other."""
LEAST_OWN_D = 30
_DAY_H = 24
_WEEK_H = 168
WEEK_SPREAD_C = 1.2
"""How far off a week's mean of soil may be, told in a season it was not learned in, at least: at two recorded
fields 0.7 to 1.7 °C (`python -m tests.figures soil-weeks`)."""


@dataclass(frozen=True, slots=True)
class Witness:
    """One source of past soil: from when to when, and how it became soil of this place."""

    source: str
    first: date
    last: date
    says: str


@dataclass(frozen=True, slots=True, eq=False)
class PastSoil:
    """Soil of past years at a place, by the hour and by the day; `reason` says why there is not more."""

    years: list[SoilYears]
    days: list[SoilDays]
    witnesses: tuple[Witness, ...]
    relation: str
    reason: str


def past_soil(ground: Ground, place: Place, weather: Sequence[WeatherDays] | None = None) -> PastSoil:
    """Everything that is known of the soil of a place in past years.

    Its own readings, where they are a month and more; and every source of past weather: its days made hours
    by a double sine, shifted to the garden's own open air where both share two weeks, and led through what
    the place's soil makes of the open air, learned from up to 400 days.
    """
    weather = outside_store.weather_days(ground.tx) if weather is None else weather
    start_ms = max(ground.now_ms - LOOK_BACK_D * DAY_MS, 0)
    soil = hourly_together(
        ground.place_hourly(place.place_id, "soil", start_ms, ground.now_ms + 1), place.name
    )
    found = PastSoil([], [], (), "", "")
    if soil.hour_s.size and np.isfinite(soil.soil_temp_c).sum() >= LEAST_OWN_D * _DAY_H:
        _add(found, ground, "own readings", soil.hour_s, soil.soil_temp_c, 0.0)
        found = _witnessed(found, "own readings", "measured in this place", soil.hour_s, ground)
    if not weather:
        reason = "no past weather was imported: read some in with “traywarden weather import FILE”"
        return _with_reason(found, reason)
    curves = {each.source: _hours(ground, each) for each in weather}
    own = outside_air(ground, ground.now_ms - LEARN_D * DAY_MS, ground.now_ms + 1)
    shifts = {name: _shift(curve, own) for name, curve in curves.items()}
    lag, relation, reason = _learned(ground, place, soil, own, curves)
    if lag is None:
        return _with_reason(found, reason)
    relation = "; ".join(filter(None, (relation, position_of(ground).stand_in)))
    for each in weather:
        hour_s, air_c = curves[each.source]
        shift_c, shared_d = shifts[each.source]
        told = lag.soil_from_air(hour_s, air_c + shift_c)
        spread_c = lag.spread_c * float(np.sqrt(min(1.0, 2 * lag.memory_h / _WEEK_H)))
        _add(found, ground, each.source, hour_s, told, max(spread_c, WEEK_SPREAD_C))
        words = "its days made hours, through the learned relation"
        words += (
            f"; shifted by {ground.display.temp_difference(shift_c)} to the open air here "
            f"({shared_d} days shared)"
            if shared_d >= LEAST_SHARED_D
            else "; taken as it stands, as it shares too few days with the open air here"
        )
        found = _witnessed(found, each.source, words, hour_s, ground)
    return PastSoil(found.years, found.days, found.witnesses, relation, found.reason)


def _hours(ground: Ground, weather: WeatherDays) -> tuple[FloatArray, FloatArray]:
    """Days as hours of the open air, without a gap from the first to the last; NaN where not known."""
    first, last = int(weather.day[0]), int(weather.day[-1])
    low, high = np.full(last - first + 1, np.nan), np.full(last - first + 1, np.nan)
    low[weather.day - first], high[weather.day - first] = weather.air_min_c, weather.air_max_c
    offset_h = standard_offset_h(ground.zone)
    position = position_of(ground)
    # The curve's clock is the sun's; days begin at the garden's midnight of standard time.
    late_h = offset_h - position.longitude_deg / 15
    days = [EPOCH + timedelta(days=d) for d in range(first, last + 1)]
    rise_h = sunrise_h([d.timetuple().tm_yday for d in days], position.latitude_deg)
    air = day_curve(low, high, np.clip(rise_h + late_h, 0.5, 12.0), PEAK_H + late_h)
    start_s = first * 86_400 - offset_h * HOUR_S
    whole_s = np.floor(start_s / HOUR_S) * HOUR_S
    return np.asarray(whole_s + HOUR_S * np.arange(air.size)), air


def _shift(curve: tuple[FloatArray, FloatArray], own: OutsideAir | None) -> tuple[float, int]:
    """Mean of own open air less the curve where both are known, and for how many days; 0 where too few."""
    if own is None or own.place_id is None:
        return 0.0, 0
    _, at_curve, at_own = np.intersect1d(curve[0], own.time_s, return_indices=True)
    gone = own.air_c[at_own] - curve[1][at_curve]
    gone = gone[np.isfinite(gone)]
    shared_d = gone.size // _DAY_H
    return (float(gone.mean()), shared_d) if shared_d >= LEAST_SHARED_D else (0.0, shared_d)


def _learned(
    ground: Ground,
    place: Place,
    soil: Hourly,
    own: OutsideAir | None,
    curves: dict[str, tuple[FloatArray, FloatArray]],
) -> tuple[LearnedLag | None, str, str]:
    """The relation of the place's soil to the open air: as measured here, else as the station tells it."""
    if not np.isfinite(soil.soil_temp_c).any():
        return (
            None,
            "",
            f"no soil was ever measured in “{place.name}”: put a head in a tray that stands there",
        )
    airs = [(own.time_s, own.air_c, own.says)] if own is not None else []
    airs += [(*curve, f"as “{name}” tells it") for name, curve in curves.items()]
    position, why = position_of(ground), ""
    for air_s, air_c, says in airs:
        hours, at_air, at_soil = np.intersect1d(air_s, soil.hour_s, return_indices=True)
        recent = hours >= ground.now_ms / 1000 - LEARN_D * 86_400
        if not recent.any():
            why = why or "its soil and the open air were never measured in the same hour"
            continue
        try:
            lag = learn_lag(
                hours[recent],
                air_c[at_air[recent]],
                soil.soil_temp_c[at_soil[recent]],
                ground.zone,
                position.latitude_deg,
                position.longitude_deg,
                display=ground.display,
            )
        except ShortOfDataError as short:
            why = why or str(short)
            continue
        days = round(lag.hours / _DAY_H)
        words = (
            f"soil {lag.in_words(ground.display)}; learned from {days} days of open air {says}, "
            f"{ground.display.temp(lag.air_low_c, 0)} to {ground.display.temp(lag.air_high_c, 0)}, "
            "and a guess beyond"
        )
        return lag, words, ""
    return None, "", why


def _add(
    found: PastSoil, ground: Ground, source: str, hour_s: FloatArray, soil_c: FloatArray, spread_c: float
) -> None:
    """The series cut to whole days of standard time."""
    offset_s = standard_offset_h(ground.zone) * HOUR_S
    local = np.floor((hour_s + offset_s) / HOUR_S).astype(np.int64)
    first = -(-int(local[0]) // _DAY_H)
    skip = first * _DAY_H - int(local[0])
    count = (soil_c.size - skip) // _DAY_H
    if count < 1:
        return
    whole = soil_c[skip : skip + count * _DAY_H]
    days = whole.reshape(count, _DAY_H)
    known = np.isfinite(days)
    number = known.sum(axis=1)
    mean = np.where(known, days, 0.0).sum(axis=1) / np.maximum(number, 1)
    found.years.append(SoilYears(source, first, whole, spread_c))
    found.days.append(
        SoilDays(
            source,
            first + np.arange(count, dtype=np.int64),
            np.where(number >= 0.8 * _DAY_H, mean, np.nan),
            spread_c,
        )
    )


def _witnessed(found: PastSoil, source: str, says: str, hour_s: FloatArray, ground: Ground) -> PastSoil:
    first, last = (ground.at(at * 1000).date() for at in (hour_s[0], hour_s[-1]))
    one = Witness(source, first, last, says)
    return PastSoil(found.years, found.days, (*found.witnesses, one), found.relation, found.reason)


def _with_reason(found: PastSoil, reason: str) -> PastSoil:
    return PastSoil(found.years, found.days, found.witnesses, found.relation, reason)
