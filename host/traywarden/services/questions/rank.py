"""Which place suits which crop in which month: hours in its germination range, ranked, with the evidence."""

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.bootstrap import Interval
from traywarden.domain.place_days import PlaceDays
from traywarden.domain.ranking import LEAST_DAYS, Pair, Ranking, rank_places
from traywarden.domain.units import list_words
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import (
    first_known_day,
    measured_days,
    nothing_placed,
    range_of,
    range_source,
    today_of,
)
from traywarden.store import crops as crop_store

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
LONGEST_YEARS = 10
YEAR_D = 365


@dataclass(frozen=True, slots=True)
class RankAsked:
    """A crop; month 1 … 12 (None: the last year); “air” or “soil” (default soil); only its best range."""

    crop: str
    month: int | None = None
    measured: str = ""
    best: bool = False


@dataclass(frozen=True, slots=True)
class RankAnswer:
    """`low_c` and `high_c`: the range whose hours are counted, from `range_source`. `years` it rests on."""

    garden: str
    crop: str
    month: int | None
    measured: str
    sentence: str
    low_c: float
    high_c: float
    range_source: str
    years: tuple[int, ...]
    ranking: Ranking
    remarks: tuple[str, ...]


def ask_rank(ground: Ground, asked: RankAsked) -> RankAnswer:
    """Rank the places for a crop and a month by hours a day in its germination range.

    Raises UnknownNameError, UsageError (no such month, no published range), ShortOfDataError (nothing
    measured in that month; says which months there are).
    """
    crop = crop_store.crop_named(asked.crop)
    low_c, high_c = range_of(crop, best=asked.best)
    if asked.month is not None and not 1 <= asked.month <= 12:
        raise UsageError(f"There is no month {asked.month}; give --month 1 to 12.")
    ground.need_readings()
    measured, places = _days_of_month(ground, asked, {"x": (low_c, high_c)})
    if not any(np.isfinite(place.mean_c).any() for place in places):
        raise ShortOfDataError(nothing_placed(ground) or _nothing(ground, asked))
    found = rank_places([place.name for place in places], [place.inside_h["x"] for place in places])
    years = sorted(
        {
            day.year
            for place in places
            for day, h in zip(place.days, place.mean_c, strict=True)
            if np.isfinite(h)
        }
    )
    return RankAnswer(
        ground.garden.name,
        crop.name,
        asked.month,
        measured,
        ranking_words(found, crop.name, asked.month, measured),
        low_c,
        high_c,
        range_source(crop, best=asked.best),
        tuple(years),
        found,
        _remarks(found, years, measured, asked.month),
    )


def month_of(text: str) -> int | None:
    """1 to 12 for “4”, “April” or “apr”; None for nothing. Raises UsageError for what is no month."""
    words = text.strip()
    if not words:
        return None
    if words.isdecimal():
        return int(words)
    near = [n for n, name in enumerate(MONTHS, 1) if name.casefold().startswith(words.casefold())]
    if len(near) != 1 or len(words) < 3:
        raise UsageError(f"“{text}” is no month; give 1 to 12 or a name such as April.")
    return near[0]


def ranking_words(found: Ranking, crop: str, month: int | None, measured: str) -> str:
    """The ranking in one sentence: who leads by how much, and who cannot be told apart."""
    when = MONTHS[month - 1] if month else "the last year"
    start = f"{crop}, {when}, {measured}: "
    if len(found.ranked) < 2:
        return f"{start}{found.reason}."
    top, *others = found.ranked
    verdicts = {(pair.better, pair.worse): pair for pair in found.pairs}
    if all(pair.verdict == "cannot tell" for pair in found.pairs):
        hours = list_words(f"{_hours(place.hours_h)} in {place.name}" for place in found.ranked)
        return f"{start}no place is surely better; hours a day in range: {hours}."
    ahead = [verdicts[top.name, other.name] for other in others]
    if ahead[0].verdict == "better":
        first = f"{top.name} first, {_hours(top.hours_h)} h a day in range against"
        parts = [f"{first} {_hours(others[0].hours_h)} in {others[0].name} ({_lead(ahead[0])})"]
    else:
        parts = [f"{top.name} leads with {_hours(top.hours_h)} h a day in range"]
        parts += [f"ahead of {pair.worse} ({_lead(pair)})" for pair in ahead if pair.verdict == "better"]
    for above, below in zip(found.ranked, others, strict=False):
        pair = verdicts[above.name, below.name]
        if pair.verdict == "cannot tell":
            parts.append(f"cannot tell {below.name} from {above.name}")
        elif pair.verdict == "same":
            parts.append(f"{above.name} and {below.name} are as good as the same")
        elif above is not top:
            parts.append(f"{below.name} follows with {_hours(below.hours_h)} h")
    return start + "; ".join(parts) + "."


def _hours(interval: Interval) -> str:
    return "–" if interval.estimate is None else f"{interval.estimate:.1f}"


def _lead(pair: Pair) -> str:
    lead = pair.lead_h
    if lead.estimate is None or lead.low is None or lead.high is None:
        return lead.reason
    return f"{lead.estimate:.1f} h more, {lead.low:.1f} to {lead.high:.1f}, {lead.n} days"


def _days_of_month(
    ground: Ground, asked: RankAsked, spans: dict[str, tuple[float, float]]
) -> tuple[str, list[PlaceDays]]:
    today, since = today_of(ground), first_known_day(ground)
    if asked.month is None:
        windows = [(max(since, today - timedelta(days=YEAR_D)), today)]
    else:
        years = range(max(since.year, today.year - LONGEST_YEARS), today.year + 1)
        each = [(date(y, asked.month, 1), date(y, asked.month, monthrange(y, asked.month)[1])) for y in years]
        windows = [(start, min(end, today)) for start, end in each if start <= today]
    return measured_days(ground, asked.measured, windows, spans)


def _nothing(ground: Ground, asked: RankAsked) -> str:
    what = asked.measured or "soil or air"
    if asked.month is None:
        return f"No {what} temperature was measured in any place in the last year; hang a head in one."
    return (
        f"No {what} temperature was measured in any {MONTHS[asked.month - 1]}; the garden's heads were first "
        f"placed on {first_known_day(ground)}. Ask about another month, or leave --month out."
    )


def _remarks(found: Ranking, years: Sequence[int], measured: str, month: int | None) -> tuple[str, ...]:
    remarks = [f"{name} is left out: {why}" for name, why in found.left_out]
    if month is not None and len(years) == 1 and len(found.ranked) > 1:
        remarks.append(f"all of it from {years[0]}: another year may differ")
    if len(found.ranked) > 1 and found.days < 2 * LEAST_DAYS:
        remarks.append(f"only {found.days} days: one spell of weather")
    if measured == "soil" and len(found.ranked) > 1:
        remarks.append("soil is that of the trays that stood there; their mix and moisture are in it")
    return tuple(remarks)
