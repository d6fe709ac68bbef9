"""What questions about places stand on: each place's hours and days, and which of them is the open one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from traywarden.domain.crops import Crop
from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.garden import Place, PlaceKind
from traywarden.domain.hourly import hourly_together
from traywarden.domain.place_days import PlaceDays, PlaceHours, Span, joined, place_days
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.ground import Ground
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store

MEASURES = ("air", "soil")
OPEN_KINDS = (PlaceKind.OPEN_GROUND, PlaceKind.OPEN_BENCH)


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """The places that were measured, and their days over one span."""

    measured: str
    places: tuple[Place, ...]
    hours: tuple[PlaceHours, ...]
    days: tuple[PlaceDays, ...]


def place_record(
    ground: Ground,
    measured: str,
    first: date,
    last: date,
    *,
    spans_c: Mapping[str, Span] | None = None,
    prefer: str = "air",
) -> Record:
    """Hours and days of every place with a reading in the span.

    Without `measured` it is what two places or more have, `prefer` first. Raises UsageError for an unknown
    measure, ShortOfDataError where nothing was measured.
    """
    check_measured(measured)
    ground.need_readings()
    wanted = list(ground.places.values())
    order = (measured,) if measured else (prefer, *(m for m in MEASURES if m != prefer))
    found: dict[str, list[tuple[Place, PlaceHours]]] = {}
    for kind in order:
        pairs = [(place, place_hours(ground, place, kind, first, last)) for place in wanted]
        found[kind] = [(place, hours) for place, hours in pairs if np.isfinite(hours.temp_c).any()]
        if len(found[kind]) >= min(2, len(wanted)):
            break
    kind = max(found, key=lambda k: len(found[k]))
    if not found[kind]:
        names = ", ".join(f"“{place.name}”" for place in wanted) or "any place"
        raise ShortOfDataError(
            nothing_placed(ground)
            or f"No {measured or 'air or soil'} temperature was measured in {names} from {first} to {last}; "
            "hang a head there, move a tray with a head there, or ask about another span."
        )
    days = tuple(days_of_hours(ground, hours, first, last, spans_c) for _, hours in found[kind])
    return Record(kind, tuple(p for p, _ in found[kind]), tuple(h for _, h in found[kind]), days)


def place_hours(ground: Ground, place: Place, measured: str, first: date, last: date) -> PlaceHours:
    """A place's air or soil by the hour, with the air's vapour-pressure deficit beside either."""
    start_ms, end_ms = _span_ms(ground, first, last)
    together = hourly_together(ground.place_hourly(place.place_id, measured, start_ms, end_ms))
    hours = PlaceHours.of(place.name, together, measured)
    if measured == "air" or not hours.hour_s.size:
        return hours
    air = hourly_together(ground.place_hourly(place.place_id, "air", start_ms, end_ms))
    if not air.hour_s.size:
        return hours
    at = np.searchsorted(air.hour_s, hours.hour_s)
    at = np.minimum(at, air.hour_s.size - 1)
    return replace(hours, vpd_kpa=np.where(air.hour_s[at] == hours.hour_s, air.vpd_kpa[at], np.nan))


def days_of_hours(
    ground: Ground, hours: PlaceHours, first: date, last: date, spans_c: Mapping[str, Span] | None = None
) -> PlaceDays:
    """Days by the garden's own coverage policy."""
    least = ground.settings["coverage.least"]
    return place_days(hours, ground.zone, first, last, spans_c=spans_c, least_coverage=least)


def open_place(ground: Ground, record: Record, name: str = "") -> int:
    """Which place of the record the others are held against: the one named, else the open one best measured.

    Raises UnknownNameError, ShortOfDataError (the one named was not measured in the span).
    """
    if name:
        place = garden_store.place_named(ground.tx, name)
        if place not in record.places:
            raise ShortOfDataError(
                f"No {record.measured} temperature was measured in “{place.name}” in this span; "
                "choose another place with --against, or another span."
            )
        return record.places.index(place)

    def fitness(n: int) -> tuple[bool, bool, int]:
        place = record.places[n]
        known = int(np.isfinite(record.days[n].mean_c).sum())
        return (place.kind in OPEN_KINDS, not place.covered, known)

    return max(range(len(record.places)), key=fitness)


def check_measured(measured: str) -> None:
    if measured and measured not in MEASURES:
        raise UsageError(f"Places are compared by “air” or “soil”, not by “{measured}”.")


def range_of(crop: Crop, *, best: bool = False) -> Span:
    """Lowest and highest temperature [°C] a crop's seed comes up at, or of its best range.

    Raises UsageError where none is published.
    """
    low = crop.opt_low_c if best else crop.floor_c
    high = crop.opt_high_c if best else (crop.max_c if crop.max_c is not None else crop.opt_high_c)
    if low is None or high is None:
        what = "best range" if best else "germination range"
        raise UsageError(f"No {what} is published for {crop.name}; see what is with: traywarden crop show")
    return low, high


def range_source(crop: Crop, *, best: bool = False) -> str:
    """Where the range comes from, in words."""
    if best or crop.min_c is None:
        return f"{'best' if best else 'recommended'} range, {crop.source}"
    top = "published maximum" if crop.max_c is not None else "upper end of its best range"
    of_top = crop.max_source or crop.source
    if of_top == crop.source:
        return f"published minimum to {top}, {crop.source}"
    return f"published minimum, {crop.source}, to {top}, {of_top}"


def garden_crops(ground: Ground) -> list[Crop]:
    """Crops of the garden: those sown since, then those of its lots, each once, that have a range."""
    known = crop_store.load_crops()
    sown = [crop for entry in ground.facts.entries if (crop := ground.crop_of(entry)) is not None]
    lots = [known[lot.crop] for lot in ground.lots.values() if lot.crop in known]
    each = {crop.key: crop for crop in [*sown, *lots]}
    return [crop for crop in each.values() if _has_range(crop)]


def nothing_placed(ground: Ground) -> str:
    """What to do where no head ever had a place; empty where one had."""
    if ground.facts.head_places or ground.facts.head_trays:
        return ""
    return "No head is in a tray or place yet; see which wait with: traywarden probe list"


def first_known_day(ground: Ground) -> date:
    """The first day any head was placed: nothing is known of a place before it."""
    starts = [stay.start_ms for stay in (*ground.facts.head_places, *ground.facts.head_trays)]
    return local_date(min(starts, default=ground.now_ms), ground.zone)


def measured_days(
    ground: Ground,
    measured: str,
    windows: Sequence[tuple[date, date]],
    spans_c: Mapping[str, Span],
) -> tuple[str, list[PlaceDays]]:
    """Days of every place over some spans, one after the other: of the soil where two have it, else air.

    Raises UsageError for an unknown measure.
    """
    check_measured(measured)
    best: tuple[str, list[PlaceDays]] = (measured or "soil", [])
    most = -1
    for kind in (measured,) if measured else reversed(MEASURES):
        places = [
            joined(
                [
                    days_of_hours(ground, place_hours(ground, place, kind, start, end), start, end, spans_c)
                    for start, end in windows
                ]
            )
            for place in ground.places.values()
            if windows
        ]
        known = sum(bool(np.isfinite(place.mean_c).any()) for place in places)
        if known > most:
            best, most = (kind, places), known
        if known > 1:
            break
    return best


def today_of(ground: Ground) -> date:
    return local_date(ground.now_ms, ground.zone)


def _has_range(crop: Crop) -> bool:
    return crop.floor_c is not None and (crop.max_c is not None or crop.opt_high_c is not None)


def _span_ms(ground: Ground, first: date, last: date) -> tuple[int, int]:
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    return day_start_ms(first, ground.zone), end_ms
