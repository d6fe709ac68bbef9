"""How much warmth has a tray or place gathered above a crop's base, day by day and in sum."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from traywarden.domain.crops import RECOMMENDED_FROM, Crop
from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.degree_days import daily_degree_days
from traywarden.domain.series import FloatArray, together
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.days import span_of
from traywarden.services.questions.ground import Ground
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store

DEFAULT_DAYS = 14
EDGE_MS = 12 * 3_600_000
"""Readings just outside the span still tell what happened at its edges."""


@dataclass(frozen=True, slots=True)
class DegreeDay:
    """One garden day; numbers are None where the day is blank, and `reason` says why."""

    date: date
    degree_days: float | None
    sum_degree_days: float
    min_c: float | None
    mean_c: float | None
    max_c: float | None
    coverage: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class DegreeDaysAnswer:
    """Degree-days of one tray or place. `total` sums the days that are known; `blank_days` are not in it."""

    garden: str
    subject: str
    subject_kind: str
    measured: str
    crop: str | None
    base_c: float
    base_source: str
    upper_c: float | None
    upper_source: str
    method: str
    cutoff: str
    since: str
    first_day: date
    last_day: date
    days: tuple[DegreeDay, ...]
    total: float
    blank_days: int


@dataclass(frozen=True, slots=True)
class DegreeDaysAsked:
    """What is asked: a tray, or a place (then `measured` “soil” or “air”); crop or base; span; method."""

    tray: str = ""
    place: str = ""
    measured: str = "soil"
    crop: str = ""
    base_c: float | None = None
    upper_c: float | None = None
    start: date | None = None
    end: date | None = None
    method: str = "integral"
    cutoff: str = "none"


def ask_degree_days(ground: Ground, asked: DegreeDaysAsked) -> DegreeDaysAnswer:
    """Degree-days by garden day, with coverage, the reason for every blank, and the running sum.

    By default from the day the tray was sown, else the last fourteen days; crop and base from what is sown.

    Raises UsageError (neither or both of tray and place; no base to be had), UnknownNameError,
    ShortOfDataError (nothing measured there in the span).
    """
    if bool(asked.tray) == bool(asked.place):
        raise UsageError("Ask about one tray or one place: degree-days TRAY, or degree-days --place PLACE.")
    crop = crop_store.crop_named(asked.crop) if asked.crop else None
    since, start = "", asked.start
    subject, sown_crop, sown_day = _subject(ground, asked)
    crop = crop or (sown_crop if asked.base_c is None else None)
    if start is None and sown_day is not None:
        start, since = sown_day, "sowing"
    base_c, base_source = _base(asked, crop, subject)
    upper_c, upper_source = _upper(asked, crop)
    first, last = span_of(ground, start, asked.end, DEFAULT_DAYS)
    times, temps = _readings(ground, asked, subject, first, last)
    table = daily_degree_days(
        times,
        temps,
        ground.zone,
        base_c,
        upper_c,
        cutoff=asked.cutoff,
        method=asked.method,
        least_coverage=ground.settings["coverage.least"],
        longest_gap_s=ground.settings["coverage.longest_gap_s"],
        first_day=first,
        last_day=last,
    )
    days = _rows(table, local_date(ground.now_ms, ground.zone))
    return DegreeDaysAnswer(
        ground.garden.name,
        subject,
        "tray" if asked.tray else "place",
        "soil" if asked.tray else asked.measured,
        crop.name if crop else None,
        base_c,
        base_source,
        upper_c,
        upper_source,
        asked.method,
        asked.cutoff,
        since or f"{first}",
        first,
        last,
        days,
        days[-1].sum_degree_days if days else 0.0,
        sum(day.degree_days is None for day in days),
    )


def base_of(crop: Crop) -> tuple[float | None, str]:
    """Base temperature [°C] of a crop and where it comes from; where none is known, the floor stands in."""
    if crop.base_temp_c is not None:
        return crop.base_temp_c, crop.base_temp_source
    if crop.floor_c is None:
        return None, ""
    return crop.floor_c, f"no base is known; {floor_words(crop)} stands in ({crop.floor_source})"


def floor_words(crop: Crop) -> str:
    """What the crop's lowest temperature is."""
    return (
        "the lower end of its recommended range" if crop.floor_kind == RECOMMENDED_FROM else crop.floor_kind
    )


def _subject(ground: Ground, asked: DegreeDaysAsked) -> tuple[str, Crop | None, date | None]:
    """The name as stored, what is sown there and since when."""
    if asked.place:
        if asked.measured not in ("soil", "air"):
            raise UsageError(f"Degree-days are of “soil” or “air”, not of “{asked.measured}”.")
        return garden_store.place_named(ground.tx, asked.place).name, None, None
    tray = garden_store.tray_named(ground.tx, asked.tray)
    sowing = ground.facts.sowing_of_tray(tray.tray_id, ground.now_ms)
    if sowing is None:
        return tray.name, None, None
    return tray.name, ground.crop_of(sowing), local_date(sowing.at_ms, ground.zone)


def _base(asked: DegreeDaysAsked, crop: Crop | None, subject: str) -> tuple[float, str]:
    if asked.base_c is not None:
        return asked.base_c, "given"
    if crop is None:
        raise UsageError(
            f"Degree-days need a base and nothing is sown in “{subject}”; add --crop tomato or --base 10."
        )
    base_c, source = base_of(crop)
    if base_c is None:
        raise UsageError(f"No base temperature is known for {crop.name}; add --base 10.")
    return base_c, source


def _upper(asked: DegreeDaysAsked, crop: Crop | None) -> tuple[float | None, str]:
    if asked.cutoff == "none":
        return None, ""
    if asked.upper_c is not None:
        return asked.upper_c, "given"
    if crop is None or crop.opt_high_c is None:
        raise UsageError(f"The {asked.cutoff} cutoff needs an upper temperature; add --upper 30.")
    return crop.opt_high_c, f"upper end of {crop.name}'s best range ({crop.source})"


def _readings(
    ground: Ground, asked: DegreeDaysAsked, subject: str, first: date, last: date
) -> tuple[FloatArray, FloatArray]:
    start_ms = day_start_ms(first, ground.zone) - EDGE_MS
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone) + EDGE_MS, ground.now_ms + 1)
    if asked.tray:
        tray = garden_store.tray_named(ground.tx, asked.tray)
        heads, column = ground.tray_series(tray.tray_id, start_ms, end_ms), "soil_temp_c"
    else:
        place = garden_store.place_named(ground.tx, asked.place)
        heads = ground.place_heads(place.place_id, asked.measured, start_ms, end_ms)
        column = "air_temp_c" if asked.measured == "air" else "soil_temp_c"
    times, temps = together(heads, column)
    if not times.size:
        what = "air" if column == "air_temp_c" else "soil"
        ground.need_readings()
        if what == "soil" and _air_too(ground, asked.place, start_ms, end_ms):
            raise ShortOfDataError(
                f"No soil temperature was measured for “{subject}” from {first} to {last}, but its air was; "
                "add --air to ask about that."
            )
        raise ShortOfDataError(
            f"No {what} temperature was measured for “{subject}” from {first} to {last}; "
            "place a head there with “traywarden probe place”, or ask about another span with --from."
        )
    return times, temps


def _air_too(ground: Ground, place: str, start_ms: int, end_ms: int) -> bool:
    if not place:
        return False
    place_id = garden_store.place_named(ground.tx, place).place_id
    return bool(together(ground.place_heads(place_id, "air", start_ms, end_ms), "air_temp_c")[0].size)


def _rows(table: pd.DataFrame, today: date) -> tuple[DegreeDay, ...]:
    numbers = table[["degree_days", "min_c", "mean_c", "max_c"]].to_numpy(float)
    sums = np.nancumsum(numbers[:, 0])
    rows: list[DegreeDay] = []
    for n, day in enumerate(table.index):
        heat, low, mean, high = (None if np.isnan(v) else round(float(v), 3) for v in numbers[n])
        reason = str(table["reason"].iloc[n])
        if heat is None and day == today:
            reason = f"the day is not over: {reason}"
        coverage = round(float(table["coverage"].iloc[n]), 4)
        rows.append(DegreeDay(day, heat, round(float(sums[n]), 3), low, mean, high, coverage, reason))
    return tuple(rows)
