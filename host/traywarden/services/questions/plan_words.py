"""A plan in words: when to sow, when soil is warm enough, and what to do where that would mislead."""

from dataclasses import dataclass
from datetime import date

from traywarden.domain.counting_back import Days
from traywarden.domain.crops import RECOMMENDED_FROM, Crop
from traywarden.domain.garden import Place
from traywarden.domain.warm_days import FEW_YEARS, LIKELY, Chances


@dataclass(frozen=True, slots=True)
class DayChance:
    """Chance that the week from that day on is warm enough, with its 80 % band."""

    day: date
    chance: float
    low: float
    high: float


def sowing_words(crop: Crop, place: Place, sow: Days, plants_out: date) -> str:
    """“Sow Tomato in “Frame” about Mon 2 Mar 2026 (27 Feb to 5 Mar) for plants to set out on …”"""
    return (
        f"Sow {crop.name} in “{place.name}” about {day_words(sow.usual)} "
        f"({span_words(sow.early, sow.late)}) for plants to set out on {day_words(plants_out)}."
    )


def advice_words(
    crop: Crop,
    sow: Days,
    warm: DayChance | None,
    chances: Chances,
    today: date,
    plants_out: date,
    late: Days | None,
) -> str:
    """What to do where the plain answer would mislead, else empty. `late`: when ready if sown today."""
    parts = []
    if sow.late < today <= plants_out:
        words = f"That sowing day passed {(today - sow.usual).days} days ago"
        if late is not None:
            words += f"; sown today, plants are ready about {day_words(late.usual)}"
        parts.append(words + ".")
    if warm is not None and warm.chance < LIKELY:
        often = f"in {warm.chance * 100:.0f} %" if warm.chance >= 0.005 else "in none"
        words = f"Soil there was warm enough on that day {often} of the years known"
        after = [s.first for s in chances.spells if s.first > sow.usual]
        if after:
            words += f", likely from {day_words(min(after))} on"
        if crop.floor_kind == RECOMMENDED_FROM:
            words += " (below its recommended range seed comes up late and unevenly)"
        parts.append(words + ": start it in a warmer place, or set out later.")
    return " ".join(parts)


def spell_words(crop: Crop, place: Place, chances: Chances) -> str:
    """When soil of a place is likely warm enough, in one sentence."""
    if not chances.spells:
        return f"Soil in “{place.name}” is on no day of the year likely warm enough for {crop.name}."
    spells = " and ".join(
        "all the year"
        if (s.last - s.first).days >= 364
        else f"from {day_words(s.first)} to {day_words(s.last)}"
        for s in chances.spells
    )
    few = f" ({chances.years} years: few to say so)" if chances.years < FEW_YEARS else ""
    return f"Soil in “{place.name}” is likely warm enough for {crop.name} {spells}{few}."


def span_words(early: date, late: date) -> str:
    """“3 to 10 Apr”, “28 Mar to 3 Apr”; the year stands beside it.

    >>> span_words(date(2026, 4, 3), date(2026, 4, 10)), span_words(date(2026, 3, 28), date(2026, 4, 3))
    ('3 to 10 Apr', '28 Mar to 3 Apr')
    """
    same = (early.year, early.month) == (late.year, late.month)
    return f"{early.day if same else f'{early.day} {early:%b}'} to {late.day} {late:%b}"


def day_words(day: date) -> str:
    """“Mon 2 Mar 2026”."""
    return f"{day:%a} {day.day} {day:%b %Y}"
