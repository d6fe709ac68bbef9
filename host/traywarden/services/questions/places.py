"""All places side by side: which warms first, keeps the night, dries more than its air explains."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.bootstrap import Interval
from traywarden.domain.days import local_date
from traywarden.domain.exposure import Exposure, PlaceStretch, exposures
from traywarden.domain.many_places import PlaceSummary, side_by_side
from traywarden.domain.place_days import day_curve, same_days
from traywarden.domain.units import Display, list_words, span_words
from traywarden.services.questions.days import span_of
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import Record, open_place, place_record

DEFAULT_DAYS = 30


@dataclass(frozen=True, slots=True)
class PlaceCurve:
    """Mean temperature of each hour of the day [°C], over days on which every place was measured."""

    place: str
    temps_c: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class PlacesAnswer:
    """Every place that was measured. `against` is the one the others are held against.

    `drying` is the drying power of each against it, beyond what the air explains.
    """

    garden: str
    measured: str
    sentence: str
    first_day: date
    last_day: date
    against: str
    places: tuple[PlaceSummary, ...]
    drying: tuple[Exposure, ...]
    curves: tuple[PlaceCurve, ...]
    curve_days: int
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlacesAsked:
    """Days (default the last thirty), “air” or “soil” (default air), and the place to hold others against."""

    start: date | None = None
    end: date | None = None
    measured: str = ""
    against: str = ""


def ask_places(ground: Ground, asked: PlacesAsked) -> PlacesAnswer:
    """Compare every place that was measured in the span.

    Raises UnknownNameError, UsageError, ShortOfDataError (nothing measured; the reference not measured).
    """
    first, last = span_of(ground, asked.start, asked.end, DEFAULT_DAYS)
    record = place_record(ground, asked.measured, first, last)
    reference = open_place(ground, record, asked.against)
    summaries = tuple(side_by_side(record.days, reference))
    drying = _drying(ground, first, last, record.places[reference].name)
    curves, curve_days = _curves(ground, record)
    return PlacesAnswer(
        ground.garden.name,
        record.measured,
        places_words(summaries, drying, ground.display, record.measured),
        first,
        last,
        record.places[reference].name,
        summaries,
        drying,
        curves,
        curve_days,
        _remarks(ground, record, summaries),
    )


def places_words(
    places: tuple[PlaceSummary, ...], drying: tuple[Exposure, ...], display: Display, measured: str
) -> str:
    """One sentence: what is clearly different from the reference, place by place."""
    reference = places[0].reference
    if len(places) < 2:
        return f"Only {reference} was measured ({measured}), so there is nothing to compare it with."
    told, alike = [], []
    for place in places:
        if place.difference is None:
            continue
        clear = _clear(place, display)
        clear += [_drying_words(e) for e in drying if e.place == place.name and _sure(e.ratio, 1.0)]
        if clear:
            told.append(f"{place.name} {list_words(clear)}")
        else:
            alike.append(place.name)
    words = f"Against {reference} ({measured}): " if told or alike else ""
    words += "; ".join(told)
    if alike:
        words += ("; " if told else "") + f"{list_words(alike)} did not differ clearly"
    return words + "."


def _clear(place: PlaceSummary, display: Display) -> list[str]:
    found = place.difference
    assert found is not None
    had, words = [], []
    low, high, half = found.low_c, found.high_c, found.half_warm_h
    for each, warm, cold in ((low, "warmer nights", "colder nights"), (high, "hotter days", "cooler days")):
        if _sure(each) and each.estimate is not None:
            size = display.temp_difference(abs(each.estimate)).lstrip("+")
            had.append(f"{warm if each.estimate > 0 else cold} ({size})")
    if had:
        words.append(f"had {list_words(had)}")
    if _sure(half) and half.estimate is not None:
        when = "later" if half.estimate > 0 else "earlier"
        words.append(f"warmed {span_words(abs(half.estimate) * 3600)} {when}")
    return words


def _drying_words(found: Exposure) -> str:
    assert found.ratio.estimate is not None
    return f"dried {found.ratio.estimate:.1f} times as fast as {found.reference} would in the same air"


def _sure(interval: Interval, nothing: float = 0.0) -> bool:
    if interval.low is None or interval.high is None or interval.reason:
        return False
    return interval.low > nothing or interval.high < nothing


def _drying(ground: Ground, first: date, last: date, reference: str) -> tuple[Exposure, ...]:
    if not ground.trays:
        return ()
    back = (local_date(ground.now_ms, ground.zone) - first).days + 1
    answer = ask_dry_down(ground, days=float(back))
    stretches = [
        PlaceStretch(s.place, s.tray, s.mix, s.rate_pct_per_day, s.mean_vpd_kpa)
        for s in answer.stretches
        if s.place is not None and first <= s.start.date() < last + timedelta(days=1)
    ]
    return tuple(exposures(stretches, reference))


def _curves(ground: Ground, record: Record) -> tuple[tuple[PlaceCurve, ...], int]:
    common = same_days(record.days)
    days = [day for day, keep in zip(record.days[0].days, common.tolist(), strict=True) if keep]
    curves = tuple(
        PlaceCurve(
            hours.name,
            tuple(None if np.isnan(t) else round(t, 3) for t in day_curve(hours, ground.zone, days).tolist()),
        )
        for hours in record.hours
    )
    return (curves, len(days)) if days else ((), 0)


def _remarks(ground: Ground, record: Record, places: tuple[PlaceSummary, ...]) -> tuple[str, ...]:
    remarks = []
    silent = [p.name for p in ground.places.values() if p not in record.places]
    if silent:
        remarks.append(f"not measured ({record.measured}): {list_words(silent)}")
    if len({place.days for place in places}) > 1:
        remarks.append(
            "places were not measured on the same days, so only the differences can be set against each other"
        )
    if record.measured == "soil":
        remarks.append(
            "soil is that of the trays that stood there: a wetter or deeper tray warms later in any place"
        )
    return tuple(remarks)
