"""What a week brought: waterings and driest hours, frame against bench, lows and highs; what comes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.garden import Tray
from traywarden.domain.hourly import HOUR_S, Hourly, hourly_together
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.series import FloatArray
from traywarden.domain.units import list_words
from traywarden.domain.wetting import WettingKind
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_outlook import ask_place_outlook
from traywarden.services.questions.place_record import Record, open_place, place_record
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.waterings import tray_waterings
from traywarden.services.wettings import Event, event_ms

DAYS = 7


@dataclass(frozen=True, slots=True)
class WeekTray:
    """One tray over the week. `driest_pct` is the driest hour of its driest head, of container capacity;
    `below_line_h` hours with a mean below the dry line; `litres` what was written down."""

    tray: str
    place: str | None
    mix: str | None
    crop: str | None
    sown: date | None
    by_hand: int
    rains: int
    litres: float | None
    last_watered: datetime | None
    driest_pct: float | None
    driest: datetime | None
    below_line_h: float | None
    soil_low_c: float | None
    soil_mean_c: float | None
    soil_high_c: float | None
    counted: int | None
    counted_on: date | None


@dataclass(frozen=True, slots=True)
class WeekPlace:
    """Lowest and highest reading of a place over the days that count."""

    place: str
    measured: str
    low_c: float | None
    low_on: date | None
    high_c: float | None
    high_on: date | None
    days: int


@dataclass(frozen=True, slots=True)
class Coming:
    """One thing that comes: of a tray, or of all places (`subject` empty)."""

    subject: str
    says: str


@dataclass(frozen=True, slots=True)
class WeekAnswer:
    """`comparisons`: every covered place against the open one. `coming` is empty for a week that is over."""

    garden: str
    at: datetime
    first_day: date
    last_day: date
    sentence: str
    trays: tuple[WeekTray, ...]
    comparisons: tuple[CompareAnswer, ...]
    places: tuple[WeekPlace, ...]
    coming: tuple[Coming, ...]
    remarks: tuple[str, ...]


def ask_week(ground: Ground, ending: date | None = None) -> WeekAnswer:
    """The seven garden days that end with `ending`; by default with today, as far as it has come.

    Raises UsageError (no tray yet; a day to come), ShortOfDataError (nothing was ever measured).
    """
    ground.chosen_trays("")
    ground.need_readings()
    today = local_date(ground.now_ms, ground.zone)
    last = ending or today
    if last > today:
        raise UsageError(f"The week to {last} is not over; the last day there can be is today, {today}.")
    first = last - timedelta(days=DAYS - 1)
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    water = tray_waterings(ground, start_ms, end_ms)
    trays = tuple(
        _tray(ground, tray, water[tray.tray_id].events, start_ms, end_ms) for tray in ground.trays.values()
    )
    places, comparisons, remarks = _places(ground, first, last)
    coming = _coming(ground) if last == today else ()
    if last == today:
        remarks.append("today is in it as far as it has come")
    return WeekAnswer(
        ground.garden.name,
        ground.at(ground.now_ms),
        first,
        last,
        week_words(trays, last),
        trays,
        comparisons,
        places,
        coming,
        tuple(remarks),
    )


def week_words(trays: Sequence[WeekTray], last: date) -> str:
    """The week in one sentence: how often water was given, the driest tray, what came up."""
    watered = [tray for tray in trays if tray.by_hand]
    times = sum(tray.by_hand for tray in watered)
    told = ["nothing was watered by hand"]
    if watered:
        told = [f"{_many(times, 'watering')} by hand went to {_many(len(watered), 'tray')}"]
    known = [(tray.driest_pct, tray) for tray in trays if tray.driest_pct is not None]
    if known:
        pct, driest = min(known, key=lambda pair: pair[0])
        assert driest.driest is not None
        on = f"{driest.driest:%A}"
        told.append(f"the driest was {driest.tray}, at {pct:.0f} % of container capacity on {on}")
    counted = [tray for tray in trays if tray.counted]
    if counted:
        seedlings = _many(sum(tray.counted or 0 for tray in counted), "seedling")
        told.append(f"{seedlings} were counted in {list_words([tray.tray for tray in counted])}")
    return f"In the week to {last.day} {last:%B} {list_words(told)}."


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _tray(ground: Ground, tray: Tray, events: Sequence[Event], start_ms: int, end_ms: int) -> WeekTray:
    at_ms, tray_id = end_ms - 1, tray.tray_id
    here = [event for event in events if start_ms <= event_ms(event) < end_ms]
    rains = [event for event in here if event[0] is not None and event[0].kind is WettingKind.RAIN]
    litres = [float(entry.data["litres"]) for _, entry in here if entry and entry.data.get("litres")]
    place, mix = ground.place_of(tray_id, at_ms), ground.mix_of(tray_id, at_ms)
    sowing = ground.facts.sowing_of_tray(tray_id, at_ms)
    crop = ground.crop_of(sowing) if sowing else None
    count = _counted(ground, tray_id, sowing, start_ms, end_ms)
    heads = ground.tray_hourly(tray_id, start_ms, end_ms)
    driest = [
        found for head in heads if (found := _driest(ground, tray_id, head.hour_s, head.moisture_m3_m3))
    ]
    pct, hour_s = min(driest, default=(None, None))
    soil = hourly_together(heads)
    by_hand = [event for event in here if event not in rains]
    return WeekTray(
        tray.name,
        place.name if place else None,
        mix.name if mix else None,
        crop.name if crop else None,
        local_date(sowing.at_ms, ground.zone) if sowing and sowing.at_ms >= start_ms else None,
        len(by_hand),
        len(rains),
        round(sum(litres), 2) if litres else None,
        ground.at(event_ms(by_hand[-1])) if by_hand else None,
        None if pct is None else round(pct, 1),
        None if hour_s is None else ground.at(hour_s * 1000),
        _below_line_h(ground, tray_id, heads, at_ms),
        _of(np.fmin, soil.soil_min_c),
        _mean(soil.soil_temp_c),
        _of(np.fmax, soil.soil_max_c),
        int(count.data["count"]) if count else None,
        local_date(count.at_ms, ground.zone) if count else None,
    )


def _driest(
    ground: Ground, tray_id: int, hour_s: FloatArray, m3_m3: FloatArray
) -> tuple[float, float] | None:
    """The driest hour of a head [% of container capacity], and when it began."""
    known = np.flatnonzero(np.isfinite(m3_m3))
    if not known.size:
        return None
    at = int(known[np.argmin(m3_m3[known])])
    mix = ground.mix_of(tray_id, round(float(hour_s[at]) * 1000))
    return None if mix is None else (float(m3_m3[at] / mix.container_capacity_m3_m3 * 100), float(hour_s[at]))


def _below_line_h(ground: Ground, tray_id: int, heads: Sequence[Hourly], at_ms: int) -> float | None:
    """Hours in which any head was below the dry line of the tray's mix; None where none is known."""
    mix = ground.mix_of(tray_id, at_ms)
    if mix is None or not any(np.isfinite(head.moisture_m3_m3).any() for head in heads):
        return None
    below = {
        hour_s for head in heads for hour_s in head.hour_s[head.moisture_m3_m3 < mix.dry_line_m3_m3].tolist()
    }
    return float(len(below) * HOUR_S / 3600)


def _counted(ground: Ground, tray_id: int, sowing: Entry | None, start_ms: int, end_ms: int) -> Entry | None:
    """The last count of seedlings in the week, of what is sown there at its end."""
    since_ms = max(start_ms, sowing.at_ms) if sowing else start_ms
    found = [
        entry
        for entry in ground.facts.of_tray(tray_id, Kind.EMERGED)
        if since_ms <= entry.at_ms < end_ms and entry.data.get("count") is not None
    ]
    return max(found, key=lambda entry: (entry.at_ms, entry.entry_id), default=None)


def _places(
    ground: Ground, first: date, last: date
) -> tuple[tuple[WeekPlace, ...], tuple[CompareAnswer, ...], list[str]]:
    """Lows and highs of every place, covered ones against the open one, and what could not be said."""
    try:
        record = place_record(ground, "", first, last)
    except ShortOfDataError as short:
        return (), (), [str(short)]
    places = tuple(_place(record, n) for n in range(len(record.places)))
    comparisons: list[CompareAnswer] = []
    remarks: list[str] = []
    reference = record.places[open_place(ground, record)]
    for place in record.places:
        if place.covered and not reference.covered:
            asked = CompareAsked(place.name, reference.name, first, last, measured=record.measured)
            try:
                comparisons.append(ask_compare(ground, asked))
            except ShortOfDataError as short:
                remarks.append(str(short))
    return places, tuple(comparisons), remarks


def _place(record: Record, n: int) -> WeekPlace:
    days = record.days[n]
    known = np.flatnonzero(np.isfinite(days.low_c) & np.isfinite(days.high_c))
    if not known.size:
        return WeekPlace(record.places[n].name, record.measured, None, None, None, None, 0)
    low, high = int(known[np.argmin(days.low_c[known])]), int(known[np.argmax(days.high_c[known])])
    return WeekPlace(
        record.places[n].name,
        record.measured,
        round(float(days.low_c[low]), 2),
        days.days[low],
        round(float(days.high_c[high]), 2),
        days.days[high],
        int(known.size),
    )


def _coming(ground: Ground) -> tuple[Coming, ...]:
    """What “today” and the outlook of places say of the hours to come."""
    today = ask_today(ground)
    found = [
        Coming(soon.tray, f"{soon.what[:1].lower()}{soon.what[1:]} {soon.when}: {soon.why}")
        for soon in today.soon
    ]
    for seed in today.seed:
        done = "" if seed.done is None else f", {seed.done * 100:.0f} % of the way to half up"
        why = f" ({seed.why})" if seed.why else ""
        found.append(Coming(seed.tray, f"{seed.crop} {_STATES.get(seed.state, seed.state)}{done}{why}"))
    try:
        found.append(Coming("", ask_place_outlook(ground).sentence))
    except ShortOfDataError as short:
        found.append(Coming("", str(short)))
    return tuple(found)


_STATES = {"on its way": "is on its way", "due": "may be up now: look", "late": "is late"}


def _of(extreme: np.ufunc, values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(extreme.reduce(known)), 2) if known.size else None


def _mean(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(known.mean()), 2) if known.size else None
