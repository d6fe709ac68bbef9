"""What one place was against another: the frame's gain over the bench, in one sentence and day by day."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from traywarden.domain.comparison import Comparison, Limits
from traywarden.domain.crops import Crop
from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.garden import Place
from traywarden.domain.places import PlaceClimate, compare
from traywarden.domain.series import together
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.position import position_of
from traywarden.services.questions.days import span_of
from traywarden.services.questions.degree_days import base_of, floor_words
from traywarden.services.questions.ground import Ground
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store

DEFAULT_DAYS = 7
COLUMN = {"air": "air_temp_c", "soil": "soil_temp_c"}


@dataclass(frozen=True, slots=True)
class CompareAnswer:
    """`measured` is “air” or “soil”; `crop` whose base and limits were used, and `crop_why`."""

    garden: str
    measured: str
    sentence: str
    crop: str | None
    crop_why: str
    base_source: str
    limits_source: str
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class CompareAsked:
    """Two places; days (default the last seven and today so far); crop (default what is sown most)."""

    a: str
    b: str
    start: date | None = None
    end: date | None = None
    crop: str = ""
    measured: str = ""
    base_c: float | None = None


def ask_compare(ground: Ground, asked: CompareAsked) -> CompareAnswer:
    """Compare place a with place b; differences are a − b.

    Without `measured` it is the air where both places have it, else the soil of their trays.

    Raises UnknownNameError, UsageError (a place with itself), ShortOfDataError (nothing measured in common;
    says what there is).
    """
    a, b = (garden_store.place_named(ground.tx, name) for name in (asked.a, asked.b))
    if a.place_id == b.place_id:
        raise UsageError(f"“{a.name}” cannot be compared with itself; name another place.")
    if asked.measured and asked.measured not in COLUMN:
        raise UsageError(f"Places are compared by “air” or “soil”, not by “{asked.measured}”.")
    ground.need_readings()
    crop, why = _crop(ground, asked.crop)
    base_c, base_source = base_of(crop) if crop else (None, "")
    if asked.base_c is not None:
        base_c, base_source = asked.base_c, "given"
    first, last = span_of(ground, asked.start, asked.end, DEFAULT_DAYS)
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms)
    measured, climate_a, climate_b = _climates(ground, (a, b), asked.measured, start_ms, end_ms)
    limits = Limits(crop.name, crop.floor_c, crop.max_c or crop.opt_high_c) if crop else None
    position = position_of(ground)
    found = compare(
        climate_a,
        climate_b,
        ground.zone,
        start_s=start_ms / 1000,
        end_s=end_ms / 1000,
        latitude_deg=position.latitude_deg,
        longitude_deg=position.longitude_deg,
        base_c=base_c,
        limits=limits,
        least_coverage=ground.settings["coverage.least"],
        longest_gap_s=ground.settings["coverage.longest_gap_s"],
    )
    if position.stand_in:
        found = replace(found, night_rule=f"{found.night_rule}; {position.stand_in}")
    return CompareAnswer(
        ground.garden.name,
        measured,
        found.in_words(ground.display, measured),
        crop.name if crop else None,
        why,
        base_source,
        _limits_source(crop),
        found,
    )


def _crop(ground: Ground, name: str) -> tuple[Crop | None, str]:
    """The crop asked for, or the one sown in the most trays now."""
    if name:
        return crop_store.crop_named(name), "asked for"
    sown = [ground.facts.sowing_of_tray(tray_id, ground.now_ms) for tray_id in ground.trays]
    counted = Counter(
        crop.key for s in sown if s and (crop := ground.crop_of(s)) and crop.floor_c is not None
    )
    if not counted:
        return None, ""
    key, trays = min(counted.items(), key=lambda item: (-item[1], item[0]))
    noun = "tray" if trays == 1 else "trays"
    tie = sum(number == trays for number in counted.values()) > 1
    than = "as many as any other" if tie else "more than any other"
    return crop_store.load_crops()[key], f"sown in {trays} {noun}, {than}"


def _limits_source(crop: Crop | None) -> str:
    if crop is None:
        return ""
    high = crop.max_source or crop.source if crop.max_c is not None else crop.source
    low = f"{floor_words(crop)} ({crop.floor_source})" if crop.floor_c is not None else ""
    top = ""
    if crop.max_c is not None:
        top = f"published maximum ({high})"
    elif crop.opt_high_c is not None:
        top = f"upper end of its best range ({high})"
    return "; ".join(part for part in (low, top) if part)


def _climates(
    ground: Ground, places: tuple[Place, Place], measured: str, start_ms: int, end_ms: int
) -> tuple[str, PlaceClimate, PlaceClimate]:
    """Air or soil of both places; ShortOfDataError where neither has readings on both sides."""
    for kind in (measured,) if measured else ("air", "soil"):
        sides = [
            together(ground.place_heads(place.place_id, kind, start_ms, end_ms + 1), COLUMN[kind])
            for place in places
        ]
        if all(time_s.size for time_s, _ in sides):
            one, other = (
                PlaceClimate(place.name, time_s, temp_c)
                for place, (time_s, temp_c) in zip(places, sides, strict=True)
            )
            return kind, one, other
    what = measured or "air or soil"
    there = " ".join(_there(ground, place, measured) for place in places)
    span = f"{local_date(start_ms, ground.zone)} to {local_date(end_ms - 1, ground.zone)}"
    raise ShortOfDataError(
        f"“{places[0].name}” and “{places[1].name}” cannot be compared from {span}: "
        f"{what} temperature is not known on both sides. {there} Choose a span with --from and --to."
    )


def _there(ground: Ground, place: Place, measured: str) -> str:
    """What there is of a place at any time, in one sentence."""
    told = []
    for kind in (measured,) if measured else ("air", "soil"):
        time_s, _ = together(ground.place_heads(place.place_id, kind, 0, ground.now_ms + 1), COLUMN[kind])
        if time_s.size:
            first, last = (
                datetime.fromtimestamp(float(t), UTC).astimezone(ground.zone).date()
                for t in (time_s[0], time_s[-1])
            )
            told.append(f"{kind} on {first}" if first == last else f"{kind} from {first} to {last}")
    if told:
        return f"“{place.name}” has {' and '.join(told)}."
    return f"“{place.name}” has none at all; hang a head there, or move a tray with a head there."
