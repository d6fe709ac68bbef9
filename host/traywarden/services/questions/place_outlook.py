"""For each place: tonight's low and tomorrow's high of soil and air, and the hours until then."""

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from traywarden.domain.ensemble import Ensemble
from traywarden.domain.forecast_outlook import continued
from traywarden.domain.garden import Place
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.lag import LearnedLag
from traywarden.domain.lows_highs import Expected, expected
from traywarden.domain.nights import Hours, Turn, past_turns, turn_at
from traywarden.domain.psychrometrics import dew_point_c
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import own_days
from traywarden.domain.units import list_words
from traywarden.errors import ShortOfDataError
from traywarden.services.forecast_lows import forecast_expected
from traywarden.services.outside_air import (
    HOUR_S,
    relation,
)
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.place_record import nothing_placed
from traywarden.services.sky import Sky, driven_by, sky_of

LOOK_BACK_D = 120
JUDGED_D = 100
HOURS_AHEAD = 48
SILENT_H = 6
"""A place silent for longer has no outlook: nobody knows where it stands now."""
_MEASURED = ("air", "soil")


@dataclass(frozen=True, slots=True)
class HourBand:
    """One coming hour: of the ways it may go a tenth lies below `low_c`, half below `median_c`, a tenth above
    `high_c`."""

    at: datetime
    low_c: float
    median_c: float
    high_c: float


@dataclass(frozen=True, slots=True)
class Side:
    """Soil or air of one place. Without `low` and `high`, `reason` says why; `relation` is how it follows the
    open air, where that was learned, and `relation_reason` why it was not."""

    measured: str
    low: Expected | None
    high: Expected | None
    hours: tuple[HourBand, ...]
    days: int
    basis: str
    relation: str
    relation_reason: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PlaceOutlook:
    place: str
    kind: str
    sentence: str
    air: Side
    soil: Side


@dataclass(frozen=True, slots=True)
class PlaceOutlookAnswer:
    """`night` is the date the night begins on, `day` the day it ends in. `forecast` says which one was used,
    if any, and `outside` what stands for the open air."""

    garden: str
    at: datetime
    night: date
    day: date
    sentence: str
    forecast: str
    outside: str
    places: tuple[PlaceOutlook, ...]


def ask_place_outlook(ground: Ground) -> PlaceOutlookAnswer:
    """Tonight's low and tomorrow's high of every place, with 80 % intervals, and its next 48 hours.

    From the place's own days; where an imported forecast reaches far enough, from that, through what the
    place makes of the open air. A place or side that cannot be answered says why.

    Raises ShortOfDataError when nothing was ever measured.
    """
    ground.need_readings()
    now_s = ground.now_ms / 1000
    turn = turn_at(now_s, ground.zone)
    sky = sky_of(ground)
    places = tuple(_place(ground, place, turn, sky) for place in ground.places.values())
    return PlaceOutlookAnswer(
        ground.garden.name,
        ground.at(ground.now_ms),
        turn.night,
        turn.day,
        _coldest(ground, places, turn),
        sky.says,
        sky.outside.says if sky.outside else "",
        places,
    )


def place_hours(ground: Ground, place: Place, measured: str, days: int) -> Hourly:
    """Air or soil of a place by the hour; several heads as one, with the lowest and highest of them all."""
    start_ms = ground.now_ms - days * DAY_MS
    heads = ground.place_hourly(place.place_id, measured, start_ms, ground.now_ms + 1)
    return hourly_together(heads, place.name)


def known_hours(hourly: Hourly, measured: str) -> Hours:
    """The hours as lows and highs are asked of them."""
    dew = (
        dew_point_c(hourly.air_temp_c, np.maximum(hourly.rh_pct, 1.0))
        if measured == "air"
        else np.full(hourly.hour_s.size, np.nan)
    )
    return Hours(
        float(hourly.hour_s[0]),
        getattr(hourly, f"{measured}_temp_c"),
        getattr(hourly, f"{measured}_min_c"),
        getattr(hourly, f"{measured}_max_c"),
        dew,
    )


def _place(ground: Ground, place: Place, turn: Turn, sky: Sky) -> PlaceOutlook:
    sides = {measured: _side(ground, place, measured, turn, sky) for measured in _MEASURED}
    return PlaceOutlook(
        place.name,
        place.kind.value,
        _sentence(ground, place, sides["air"], sides["soil"]),
        sides["air"],
        sides["soil"],
    )


def _side(ground: Ground, place: Place, measured: str, turn: Turn, sky: Sky) -> Side:
    hourly = place_hours(ground, place, measured, LOOK_BACK_D)
    mean = getattr(hourly, f"{measured}_temp_c")
    known = np.flatnonzero(np.isfinite(mean))
    now_s = ground.now_ms / 1000
    if not known.size:
        return _nothing(
            measured, f"no {measured} temperature was measured here in the last {LOOK_BACK_D} days"
        )
    silent_h = (now_s - hourly.hour_s[known[-1]]) / HOUR_S - 1
    if silent_h > SILENT_H:
        return _nothing(
            measured,
            f"its {measured} was last measured {ground.at(hourly.hour_s[known[-1]] * 1000):%a %d %b}",
        )
    hours = known_hours(hourly, measured)
    bundle, days, why = _own_bundle(hourly.hour_s, mean, now_s)
    lag, relation_reason = _lag(ground, sky, hourly.hour_s, mean)
    lows: list[Expected | None] = []
    for of_night in (True, False):
        turns = past_turns(hours, now_s, ground.zone, of_night=of_night, days=JUDGED_D)
        lows.append(expected(turns, of_night=of_night))
    basis = "own recent days"
    if lag is not None and sky.outside is not None and sky.ahead_s.size:
        driven = driven_by(lag, sky, hourly.hour_s, mean)
        lows = [
            forecast_expected(ground, driven, hours, lag, turn, sky, of_night=n) or own
            for n, own in zip((True, False), lows, strict=True)
        ]
        bundle = driven if bundle is None else continued(driven, bundle)
        basis = bundle.basis
    low, high = lows
    reason = "" if low or high else why or "no night and no day before this one is known"
    return Side(
        measured,
        low,
        high,
        _bands(ground, bundle),
        days,
        basis,
        lag.in_words(ground.display) if lag is not None else "",
        relation_reason,
        reason,
    )


def _own_bundle(hour_s: FloatArray, mean_c: FloatArray, now_s: float) -> tuple[Ensemble | None, int, str]:
    start_s = float(np.floor(now_s / HOUR_S) * HOUR_S)
    try:
        bundle = own_days(hour_s, mean_c, start_s, HOURS_AHEAD)
    except ShortOfDataError as short:
        return None, 0, str(short)
    return bundle, bundle.days, bundle.remark


def _lag(ground: Ground, sky: Sky, hour_s: FloatArray, mean_c: FloatArray) -> tuple[LearnedLag | None, str]:
    if sky.outside is None:
        return (
            None,
            "nothing tells the open air: hang a head in a place without a cover, or import a forecast",
        )
    try:
        return relation(ground, sky.outside, hour_s, mean_c), ""
    except ShortOfDataError as short:
        return None, str(short)


def _bands(ground: Ground, bundle: Ensemble | None) -> tuple[HourBand, ...]:
    if bundle is None:
        return ()
    low, median, high = (bundle.quantile_c(level)[:HOURS_AHEAD] for level in (0.1, 0.5, 0.9))
    return tuple(
        HourBand(ground.at(at * 1000), round(a, 2), round(b, 2), round(c, 2))
        for at, a, b, c in zip(
            bundle.time_s.tolist(), low.tolist(), median.tolist(), high.tolist(), strict=False
        )
        if np.isfinite(b)
    )


def _nothing(measured: str, reason: str) -> Side:
    return Side(measured, None, None, (), 0, "", "", "", reason)


def _sentence(ground: Ground, place: Place, air: Side, soil: Side) -> str:
    """Tonight's low and tomorrow's high in one sentence; of the soil where there is some: seed feels that."""
    side = soil if soil.low or soil.high else air
    if not (side.low or side.high):
        return f"{place.name}: {soil.reason or air.reason}."
    words = []
    for name, found in (("tonight down to", side.low), ("tomorrow up to", side.high)):
        if found is not None:
            low, high = (ground.display.temp(t, 0) for t in (found.low_c, found.high_c))
            words.append(f"{name} {ground.display.temp(found.estimate_c, 0)} ({low} to {high})")
    return f"{place.name}, {side.measured}: {', '.join(words)}."


def _coldest(ground: Ground, places: tuple[PlaceOutlook, ...], turn: Turn) -> str:
    lows = [(side.low, p.place, side.measured) for p in places for side in (p.soil, p.air) if side.low]
    if not lows:
        why = list_words(dict.fromkeys(p.soil.reason for p in places if p.soil.reason))
        return nothing_placed(ground) or f"The night cannot be foretold yet: {why or 'there is no place'}."
    low, place, measured = min(lows, key=lambda each: each[0].low_c)
    today = ground.at(ground.now_ms).date()
    evening = f"{turn.night:%a} {turn.night.day} {turn.night:%b}"
    night = "Tonight" if turn.night == today else f"In the night from {evening}"
    frost = "; cover what frost harms" if low.low_c <= 0 else ""
    return (
        f"{night} the coldest may be the {measured} of “{place}”: about "
        f"{ground.display.temp(low.estimate_c, 0)}, with one chance in ten below "
        f"{ground.display.temp(low.low_c, 0)}{frost}."
    )
