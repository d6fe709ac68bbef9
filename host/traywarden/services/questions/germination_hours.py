"""Hours a day in each crop's germination range, by place and month."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.bootstrap import Interval
from traywarden.domain.crops import Crop
from traywarden.domain.daily_interval import daily_mean_interval
from traywarden.domain.place_days import PlaceDays
from traywarden.domain.ranking import DAY_H
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.days import span_of
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import (
    first_known_day,
    garden_crops,
    measured_days,
    nothing_placed,
    range_of,
    range_source,
    today_of,
)
from traywarden.store import crops as crop_store

YEAR_D = 365


@dataclass(frozen=True, slots=True)
class MonthHours:
    """Hours a day in a crop's range, in one place and month. `best_h` are those in its best range."""

    crop: str
    place: str
    year: int
    month: int
    days: int
    hours_h: Interval
    best_h: Interval | None


@dataclass(frozen=True, slots=True)
class HoursAnswer:
    garden: str
    measured: str
    first_day: date
    last_day: date
    crops: tuple[str, ...]
    ranges_c: tuple[tuple[float, float], ...]
    sources: tuple[str, ...]
    months: tuple[MonthHours, ...]


def ask_hours(
    ground: Ground,
    crops: Sequence[str] = (),
    *,
    measured: str = "",
    start: date | None = None,
    end: date | None = None,
) -> HoursAnswer:
    """Hours a day in each crop's germination range, by place and month of the last year.

    Without `crops` those of the garden. Raises UnknownNameError, UsageError, ShortOfDataError.
    """
    chosen = [crop_store.crop_named(name) for name in crops] or garden_crops(ground)
    if not chosen:
        raise UsageError("No crop is sown and no lot is kept; name one: traywarden places hours tomato")
    ground.need_readings()
    spans = {f"all {crop.key}": range_of(crop) for crop in chosen}
    spans |= {f"best {crop.key}": range_of(crop, best=True) for crop in chosen if _has_best(crop)}
    since = start or max(first_known_day(ground), today_of(ground) - timedelta(days=YEAR_D))
    first, last = span_of(ground, min(since, today_of(ground)), end, YEAR_D)
    kind, places = measured_days(ground, measured, [(first, last)], spans)
    if not any(np.isfinite(place.mean_c).any() for place in places):
        raise ShortOfDataError(
            nothing_placed(ground)
            or f"No {measured or 'soil or air'} temperature was measured in any place from {first} to "
            f"{last}; ask about another span with --from and --to."
        )
    rows = [row for crop in chosen for place in places for row in _months(crop, place)]
    return HoursAnswer(
        ground.garden.name,
        kind,
        first,
        last,
        tuple(crop.name for crop in chosen),
        tuple(range_of(crop) for crop in chosen),
        tuple(range_source(crop) for crop in chosen),
        tuple(rows),
    )


def _months(crop: Crop, place: PlaceDays) -> list[MonthHours]:
    rows = []
    for year, month in sorted({(day.year, day.month) for day in place.days}):
        mine = place.where(np.array([(day.year, day.month) == (year, month) for day in place.days]))
        days = int(np.isfinite(mine.mean_c).sum())
        if not days:
            continue
        best = mine.inside_h.get(f"best {crop.key}")
        rows.append(
            MonthHours(
                crop.name,
                place.name,
                year,
                month,
                days,
                daily_mean_interval(mine.inside_h[f"all {crop.key}"], bounds=DAY_H),
                None if best is None else daily_mean_interval(best, bounds=DAY_H),
            )
        )
    return rows


def _has_best(crop: Crop) -> bool:
    return crop.min_c is not None and crop.opt_low_c is not None and crop.opt_high_c is not None
