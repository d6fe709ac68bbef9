"""Every place now: which trays stand there, what its air and soil are, and how far they went today."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.garden import Place
from traywarden.domain.series import together
from traywarden.domain.units import list_words
from traywarden.errors import UsageError
from traywarden.services.questions.compare import COLUMN
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_outlook import SILENT_H

HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class MeasuredNow:
    """Air or soil of a place [°C]; `temp_c` is the mean over `heads` of the newest reading of each.

    `low_c` and `high_c` are of the garden's day so far, several heads taken together as in a comparison.
    Without `temp_c`, `reason` says why.
    """

    temp_c: float | None
    at: datetime | None
    low_c: float | None
    high_c: float | None
    heads: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PlaceNow:
    place: str
    kind: str
    covered: bool
    trays: tuple[str, ...]
    air: MeasuredNow
    soil: MeasuredNow


@dataclass(frozen=True, slots=True)
class PlacesNowAnswer:
    garden: str
    at: datetime
    sentence: str
    places: tuple[PlaceNow, ...]


def ask_places_now(ground: Ground) -> PlacesNowAnswer:
    """Every place with its trays, its air and its soil now and today.

    Raises UsageError where there is no place yet. A place where nothing is measured says so.
    """
    if not ground.places:
        raise UsageError(
            'There is no place yet; add one with: traywarden place add "Open bench" --kind "open bench"'
        )
    found = tuple(_place(ground, place) for place in ground.places.values())
    return PlacesNowAnswer(ground.garden.name, ground.at(ground.now_ms), _sentence(ground, found), found)


def _place(ground: Ground, place: Place) -> PlaceNow:
    stand = ground.facts.trays_in_place(place.place_id, ground.now_ms, ground.now_ms + 1)
    here = {stay.subject for stay in stand}
    return PlaceNow(
        place.name,
        place.kind.value,
        place.covered,
        tuple(tray.name for tray in ground.trays.values() if tray.tray_id in here),
        _measured(ground, place, "air"),
        _measured(ground, place, "soil"),
    )


def _measured(ground: Ground, place: Place, measured: str) -> MeasuredNow:
    day_ms = day_start_ms(local_date(ground.now_ms, ground.zone), ground.zone)
    fresh_ms = ground.now_ms - SILENT_H * HOUR_MS
    heads = ground.place_heads(place.place_id, measured, min(day_ms, fresh_ms), ground.now_ms + 1)
    used = [head.used(COLUMN[measured]) for head in heads]
    newest = [
        (float(time_s[-1]) * 1000, float(temp_c[-1]))
        for time_s, temp_c in used
        if time_s.size and time_s[-1] * 1000 >= fresh_ms
    ]
    time_s, temp_c = together(heads, COLUMN[measured])
    today = temp_c[time_s * 1000 >= day_ms]
    low, high = (round(float(f(today)), 3) if today.size else None for f in (np.min, np.max))
    if not newest:
        return MeasuredNow(None, None, low, high, 0, _why_not(ground, place, measured))
    mean_c = round(float(np.mean([t for _, t in newest])), 3)
    return MeasuredNow(mean_c, ground.at(max(at for at, _ in newest)), low, high, len(newest))


def _why_not(ground: Ground, place: Place, measured: str) -> str:
    now_ms = ground.now_ms
    trays = [stay.subject for stay in ground.facts.trays_in_place(place.place_id, now_ms, now_ms + 1)]
    has_head = any(ground.facts.heads_in_tray(tray, now_ms, now_ms + 1) for tray in trays)
    if measured == "air":
        has_head = has_head or bool(ground.facts.heads_in_place(place.place_id, now_ms, now_ms + 1))
    if has_head:
        return f"no {measured} temperature was measured in the last {SILENT_H} h"
    if measured == "air":
        return "no head hangs here, and none is in a tray that stands here"
    return "no tray with a head stands here" if trays else "no tray stands here"


def _sentence(ground: Ground, places: tuple[PlaceNow, ...]) -> str:
    known = [(side.temp_c, place.place) for place in places if (side := place.air).temp_c is not None]
    if not known:
        return f"No air is measured now in {list_words(place.place for place in places)}."
    told = (f"{ground.display.temp(temp_c)} in {name}" for temp_c, name in known if temp_c is not None)
    return f"The air now: {list_words(told)}."
