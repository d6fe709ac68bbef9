"""Places: frost tonight, a frame too hot or left open, heavy rain on open trays."""

from datetime import timedelta

import numpy as np

from traywarden.domain.clock_words import at_clock
from traywarden.domain.daylight import is_night, next_dark_s
from traywarden.domain.garden import Place, PlaceKind
from traywarden.domain.hardiness import Hardiness, hardiness
from traywarden.domain.hourly import Hourly
from traywarden.domain.journal import Kind
from traywarden.domain.levels import at
from traywarden.domain.lids import Opening, find_openings
from traywarden.domain.lows_highs import Expected, expected
from traywarden.domain.nights import STILL_NIGHT_H, past_turns, turn_at, turn_of
from traywarden.domain.place_rules import (
    Threatened,
    frost_verdict,
    rain_verdict,
    shut_verdict,
    vent_verdict,
)
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.series import together
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.errors import ShortOfDataError
from traywarden.services.asking.round import STANDS, Round, Standing, Verdicts, of_each
from traywarden.services.forecast_lows import forecast_expected
from traywarden.services.outside_air import hours_ahead, relation
from traywarden.services.position import position_of
from traywarden.services.questions.frame import lid_params
from traywarden.services.questions.ground import DAY_MS
from traywarden.services.questions.place_outlook import (
    JUDGED_D,
    LOOK_BACK_D,
    SILENT_H,
    known_hours,
    place_hours,
)
from traywarden.services.series import rain_series
from traywarden.services.sky import driven_by, forecast_reaches
from traywarden.store import outside as outside_store
from traywarden.store.crops import load_crops

CLASS_KEY = {
    Hardiness.TENDER: "frost.tender_c",
    Hardiness.HALF_HARDY: "frost.half_hardy_c",
    Hardiness.HARDY: "frost.hardy_c",
}
CLASS_SOURCE = {
    Hardiness.TENDER: "tender plants are chilled below 45 °F: Univ. of Minnesota Extension",
    Hardiness.HALF_HARDY: "light freeze: AMS Glossary",
    Hardiness.HARDY: "killing freeze, 28 °F: North Carolina State Climate Office",
}
FAR_C = 10.0
"""No night is so much colder than all of the week before, and than the evening, without a forecast that says
so (no source)."""
FAR_NIGHTS, FAR_OF_D, FAR_PART, FAR_HOURS = 4, 7, 0.8, 3
"""Nights of the last days that must be known, by so much of their hours, and hours until now (no source)."""
OPENED_WITHIN_MS = 14 * 3_600_000
OPENER_DAYS = 14
FRAMES = (PlaceKind.COLD_FRAME, PlaceKind.GREENHOUSE)


def a_place(place: Place) -> Subject:
    return Subject(SubjectKind.PLACE, place.place_id)


def frost(round_: Round) -> Verdicts:
    """Whether the coming night may harm what stands in each place."""
    return of_each(round_.ground.places.values(), a_place, lambda place: _frost(round_, place))


def _frost(round_: Round, place: Place) -> Verdict:
    ground = round_.ground
    here = [t for t in round_.trays_in(place) if t.stage in STANDS]
    hour = ground.at(ground.now_ms).hour
    asked = hour >= ground.settings["frost.from_h"] or hour < STILL_NIGHT_H
    tonight = asked and not _of_another_night(round_, place)
    trays = [_threatened(round_, t) for t in here]
    if trays and tonight and (far := _far_from_cold(round_, place, max(t.limit_c for t in trays))):
        return Verdict(Answer.NO, far)
    low, why = _low(round_, place) if trays and tonight else (None, "")
    by, by_ms = _by_dark(round_)
    return frost_verdict(
        low,
        trays,
        least_chance=ground.settings["frost.least_chance"],
        tonight=tonight,
        by=by,
        by_ms=by_ms,
        why_blind=why,
        display=ground.display,
    )


def _far_from_cold(round_: Round, place: Place, limit_c: float) -> str:
    """Why the night need not be foretold, as without a forecast it is far too warm: whole nights of the last
    week were, and so is this evening, which was measured until now. Empty where it must be."""
    if forecast_reaches(round_.ground):
        return ""
    hourly = place_hours(round_.ground, place, "air", FAR_OF_D + 1)
    lows = _whole_nights_c(round_, hourly)
    evening_c = _evening_c(round_, hourly)
    if len(lows) < FAR_NIGHTS or evening_c is None:
        return ""
    lowest_c = min(*lows, evening_c)
    if lowest_c < limit_c + FAR_C:
        return ""
    display = round_.ground.display
    return (
        f"no night of the last week, nor this evening, fell below {display.temp(lowest_c)}, far above "
        f"{display.limit(limit_c)}"
    )


def _of_another_night(round_: Round, place: Place) -> bool:
    """Whether it is open from a night before: that ends, so that this night is told as itself."""
    since_ms, zone = round_.open_since_ms("frost", a_place(place)), round_.ground.zone
    return since_ms is not None and turn_at(since_ms / 1000, zone) != turn_at(round_.now_ms / 1000, zone)


def _threatened(round_: Round, standing: Standing) -> Threatened:
    assert standing.sown is not None
    crop = load_crops().get(standing.sown.key)
    its = hardiness(standing.sown.key, crop)
    warmer_c = at(round_.levels("frost")("warmer_by_c"), standing.of)
    limit_c = round(float(round_.ground.settings[CLASS_KEY[its]]) + warmer_c, 2)
    return Threatened(standing.tray.name, standing.sown.crop, its, limit_c, CLASS_SOURCE[its])


def _whole_nights_c(round_: Round, hourly: Hourly) -> list[float]:
    """The lows of the nights of the last week of which most hours are known [°C]."""
    tonight = turn_at(round_.now_ms / 1000, round_.ground.zone).night
    found = []
    for ago in range(1, FAR_OF_D + 1):
        turn = turn_of(tonight - timedelta(days=ago), round_.ground.zone)
        during = (hourly.hour_s >= turn.night_start_s) & (hourly.hour_s < turn.night_end_s)
        known = hourly.air_min_c[during & np.isfinite(hourly.air_min_c)]
        if known.size >= FAR_PART * (turn.night_end_s - turn.night_start_s) / 3600:
            found.append(float(known.min()))
    return found


def _evening_c(round_: Round, hourly: Hourly) -> float | None:
    """The lowest of the last hours, and of the night so far [°C]; None where it was not measured lately."""
    now_s = round_.now_ms / 1000
    start_s = min(turn_at(now_s, round_.ground.zone).night_start_s, now_s - FAR_HOURS * 3600)
    known = np.isfinite(hourly.air_min_c) & (hourly.hour_s >= start_s)
    lately = known & (hourly.hour_s > now_s - 2 * 3600)
    return float(hourly.air_min_c[known].min()) if lately.any() else None


def _low(round_: Round, place: Place) -> tuple[Expected | None, str]:
    """Tonight's low of the air of a place, as `ask_place_outlook` tells it."""
    ground, now_s = round_.ground, round_.now_ms / 1000
    hourly = place_hours(ground, place, "air", LOOK_BACK_D)
    known = np.flatnonzero(np.isfinite(hourly.air_temp_c))
    if not known.size or (now_s - hourly.hour_s[known[-1]]) / 3600 - 1 > SILENT_H:
        return None, f"no air temperature was measured here in the last {SILENT_H} h"
    hours = known_hours(hourly, "air")
    own = expected(past_turns(hours, now_s, ground.zone, of_night=True, days=JUDGED_D), of_night=True)
    sky = round_.sky
    if sky.outside is None or not sky.ahead_s.size:
        return own, "no night before this one is known here"
    try:
        lag = relation(ground, sky.outside, hourly.hour_s, hourly.air_temp_c)
    except ShortOfDataError as short:
        return own, str(short)
    driven = driven_by(lag, sky, hourly.hour_s, hourly.air_temp_c)
    turn = turn_at(now_s, ground.zone)
    return forecast_expected(ground, driven, hours, lag, turn, sky, of_night=True) or own, ""


def vent(round_: Round) -> Verdicts:
    """Whether each covered place is too hot."""
    covered = [p for p in round_.ground.places.values() if p.covered]
    return of_each(covered, a_place, lambda place: _vent(round_, place))


def _vent(round_: Round, place: Place) -> Verdict:
    ground, settings = round_.ground, round_.ground.settings
    air_c, why = _air_now(round_, place)
    above_c = settings["frames.vent_above_c"]
    hot = air_c is not None and air_c > above_c
    near = air_c is not None and air_c > above_c - settings["vent.close_below_c"]
    open_place = round_.open_place if near else None
    return vent_verdict(
        air_c,
        len(round_.trays_in(place)),
        above_c=above_c,
        close_below_c=settings["vent.close_below_c"],
        outside_c=None if open_place is None else _air_now(round_, open_place)[0],
        least_excess_c=settings["vent.least_excess_c"],
        why_blind=why,
        opener=_opener(round_, place) if hot else "",
        display=ground.display,
    )


def _opener(round_: Round, place: Place) -> str:
    """What the last fortnight says of a lid opener, where none was seen to open today."""
    ground = round_.ground
    openings = _openings(round_, place, OPENER_DAYS * DAY_MS)
    if openings is None:
        return ""
    today = ground.at(ground.now_ms).date()
    days = {ground.at(each.opened_s * 1000).date() for each in openings}
    if today in days or len(days) < 3:
        return ""
    return (
        f"No opening was seen today, though one was on {len(days)} of the last {OPENER_DAYS} days: if it "
        "has a lid opener, that may be stuck."
    )


def shut(round_: Round) -> Verdicts:
    """Whether each frame stands open on a cold evening."""
    frames = [p for p in round_.ground.places.values() if p.kind in FRAMES]
    return of_each(frames, a_place, lambda place: _shut(round_, place))


def _shut(round_: Round, place: Place) -> Verdict:
    ground, settings = round_.ground, round_.ground.settings
    here = round_.trays_in(place)
    dark = bool(here) and _dark(round_)
    level = round_.levels("shut")("below_c")
    below_c = max((at(level, t.of) for t in here), default=settings["shut.below_c"])
    outside = round_.open_place
    inside_c, why = _air_now(round_, place)
    outside_c = None if outside is None else _air_now(round_, outside)[0]
    opened_at, closed = _lid(round_, place) if here and dark else ("", False)
    return shut_verdict(
        inside_c,
        outside_c,
        len(here),
        below_c=below_c,
        least_excess_c=settings["shut.least_excess_c"],
        dark=dark,
        opened_at=opened_at,
        closed=closed,
        why_blind=why or "no air in the open is measured",
        display=ground.display,
    )


def _dark(round_: Round) -> bool:
    ground, at = round_.ground, position_of(round_.ground)
    return bool(is_night([ground.now_ms / 1000], ground.zone, at.latitude_deg, at.longitude_deg)[0])


def _by_dark(round_: Round) -> tuple[str, float | None]:
    """By when a place is to be made ready for the night, in words and, where it is to come, as an instant."""
    ground, at = round_.ground, position_of(round_.ground)
    dark_s = next_dark_s(ground.now_ms / 1000, ground.zone, at.latitude_deg, at.longitude_deg)
    if dark_s is None:
        return "now" if _dark(round_) else "before the night", None
    return f"before dark ({ground.at(dark_s * 1000):%H:%M})", dark_s * 1000


def _lid(round_: Round, place: Place) -> tuple[str, bool]:
    """When it was last opened and not seen closed since, or empty; and whether it was seen closed."""
    ground = round_.ground
    since_ms = ground.now_ms - OPENED_WITHIN_MS
    lately = [
        e
        for e in ground.facts.entries
        if e.place_id == place.place_id and since_ms <= e.at_ms <= ground.now_ms
    ]
    told = [e.at_ms for e in lately if e.kind is Kind.VENTED]
    seen = _openings(round_, place, OPENED_WITHIN_MS) or []
    opened = [each.opened_s * 1000 for each in seen if each.closed_s is None]
    closed = [each.closed_s * 1000 for each in seen if each.closed_s is not None]
    closed_ms = max([*closed, *(e.at_ms for e in lately if e.kind is Kind.CLOSED)], default=0.0)
    latest = max([*told, *opened], default=0.0)
    if latest <= closed_ms:
        return "", closed_ms > 0
    return at_clock(ground.at(latest), ground.at(ground.now_ms)), False


def _openings(round_: Round, place: Place, back_ms: int) -> list[Opening] | None:
    ground, outside = round_.ground, round_.open_place
    if outside is None:
        return None
    span = ground.now_ms - back_ms, ground.now_ms + 1
    inner, outer = (
        together(ground.place_heads(p.place_id, "air", *span), "air_temp_c") for p in (place, outside)
    )
    return find_openings(*inner, *outer, lid_params(ground, place))


def _air_now(round_: Round, place: Place) -> tuple[float | None, str]:
    """The newest air temperature of a place, of the warmest head there; or why it is not known."""
    ground = round_.ground
    back_ms = round(ground.settings["notices.blind_after_s"] * 1000)
    heads = ground.place_heads(place.place_id, "air", ground.now_ms - back_ms, ground.now_ms + 1)
    newest = [float(temp_c[-1]) for _, temp_c in (h.used("air_temp_c") for h in heads) if temp_c.size]
    return (max(newest), "") if newest else (None, "its air was not measured lately")


def rain(round_: Round) -> Verdicts:
    """Whether rain on the trays of each uncovered place was, or will be, heavy."""
    ground = round_.ground
    day_mm = ground.settings["rain.day_mm"]
    fell_mm, coming = _fell_mm(round_, day_mm), _coming_mm(round_)
    coming_mm, forecast = coming if coming else (None, "")
    return {
        a_place(place): rain_verdict(
            fell_mm,
            coming_mm,
            [t.tray.name for t in round_.trays_in(place)],
            day_mm=day_mm,
            forecast=forecast,
        )
        for place in ground.places.values()
        if not place.covered
    }


def _fell_mm(round_: Round, day_mm: float) -> float | None:
    """Rain recorded in the last day, by the gauge with the most readings.

    None where that gauge has fallen silent: what it told is proof of a heavy rain, and none of a light one.
    """
    ground = round_.ground
    sheltered = {place.place_id for place in ground.places.values() if place.covered}
    gauges = rain_series(
        ground.tx,
        ground.facts,
        sheltered,
        ground.now_ms - DAY_MS,
        ground.now_ms + 1,
        earliest_year=ground.settings["wire.earliest_year"],
    )
    used = [told for told in (gauge.used("rain_mm") for gauge in gauges) if told[0].size]
    if not used:
        return None
    times_s, mm = max(used, key=lambda told: told[0].size)
    silent_s = ground.now_ms / 1000 - float(times_s[-1])
    fell_mm = float(np.sum(mm))
    known = fell_mm >= day_mm or silent_s <= ground.settings["notices.blind_after_s"]
    return fell_mm if known else None


def _coming_mm(round_: Round) -> tuple[float, str] | None:
    """Rain that the newest forecast tells of for the next day."""
    ground = round_.ground
    newest = outside_store.newest_forecast(ground.tx, ground.now_ms)
    if newest is None or not hours_ahead(newest, ground.now_ms / 1000)[0].size:
        return None
    now_s = ground.now_ms / 1000
    ahead = (newest.time_s >= now_s - 3600) & (newest.time_s < now_s + 86_400) & np.isfinite(newest.rain_mm)
    return (float(newest.rain_mm[ahead].sum()), newest.source) if ahead.any() else None
