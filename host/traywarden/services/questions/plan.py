"""When to sow: counted back from the day plants are wanted, against how warm the place's soil has been."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from traywarden.domain.counting_back import Days, GrowingOn, count_back, ready_if_sown
from traywarden.domain.crops import Crop
from traywarden.domain.days import local_date
from traywarden.domain.development import RateCurve, curve_for
from traywarden.domain.garden import Place
from traywarden.domain.raising import HARDEN_D, HARDEN_SOURCE, Raising
from traywarden.domain.warm_days import (
    FEW_YEARS,
    Chances,
    WarmSpell,
    date_in_year,
    warm_chances,
)
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.degree_days import floor_words
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.plan_words import (
    DayChance,
    advice_words,
    day_words,
    sowing_words,
    spell_words,
)
from traywarden.services.soil_years import PastSoil, Witness, past_soil
from traywarden.store import crops as crop_store
from traywarden.store import garden as garden_store
from traywarden.store.raising import load_planting_temperatures, load_raising

SEED_LOG_SPREAD = 0.2
"""Spread of ln(days) of other seed and mix, beside that of the published days (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class PlanAsked:
    """One crop, the place its tray will stand in, and the day plants are wanted on."""

    crop: str
    place: str
    plants_out: date


@dataclass(frozen=True, slots=True)
class CropPlan:
    """One crop's plan. Days have 80 % bands; None where the past does not tell, and `reason` says why.

    `warm_at_sowing` is the chance on the usual sowing day; `spells` when soil is likely warm enough; `limits`
    what that means and its source. `counted_by` says whose soil the days were counted in: past years', or,
    where there are none, the temperature that the published weeks are meant for.
    """

    crop: str
    crop_key: str
    place: str
    plants_out: date
    sentence: str
    advice: str
    sow: Days | None
    emerge: Days | None
    ready: Days | None
    harden_from: date
    harden_by: date
    harden_source: str
    weeks: tuple[float, float]
    weeks_source: str
    emergence_d: tuple[float, float, float] | None
    emergence_source: str
    warm_at_sowing: DayChance | None
    limits: str
    spells: tuple[WarmSpell, ...]
    chances: tuple[DayChance, ...]
    years: int
    counted_by: str
    witnesses: tuple[Witness, ...]
    relation: str
    reason: str


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """Plans for several crops, by sowing day."""

    garden: str
    today: date
    sentence: str
    plans: tuple[CropPlan, ...]


@dataclass(frozen=True, slots=True)
class WarmAnswer:
    """When soil of a place is likely warm enough for a crop, day by day of a year."""

    crop: str
    place: str
    sentence: str
    limits: str
    spells: tuple[WarmSpell, ...]
    chances: tuple[DayChance, ...]
    years: int
    witnesses: tuple[Witness, ...]
    relation: str
    reason: str


def ask_plan(ground: Ground, asked: list[PlanAsked]) -> SeasonPlan:
    """When to sow each crop so that its plants are ready on the wanted day.

    Raises UnknownNameError, UsageError (nothing asked), ShortOfDataError (no transplant age or no days to
    emergence are published for a crop).
    """
    if not asked:
        raise UsageError("A season's plan needs at least one crop with a place and a day; add some.")
    pasts: dict[int, PastSoil] = {}
    plans = []
    for each in asked:
        crop = crop_store.crop_named(each.crop)
        place = garden_store.place_named(ground.tx, each.place)
        if place.place_id not in pasts:
            pasts[place.place_id] = past_soil(ground, place)
        plans.append(_plan(ground, crop, place, each.plants_out, pasts[place.place_id]))
    plans.sort(key=lambda p: (p.sow.usual if p.sow else p.plants_out, p.crop))
    today = local_date(ground.now_ms, ground.zone)
    return SeasonPlan(ground.garden.name, today, season_words(plans, today), tuple(plans))


def ask_warm(ground: Ground, crop_name: str, place_name: str) -> WarmAnswer:
    """First and last days on which soil of a place is likely warm enough to sow a crop.

    Raises UnknownNameError, ShortOfDataError (no limit is published, or no year of soil is known).
    """
    crop = crop_store.crop_named(crop_name)
    place = garden_store.place_named(ground.tx, place_name)
    low_c, high_c, limits = _limits(ground, crop)
    past = past_soil(ground, place)
    today = local_date(ground.now_ms, ground.zone)
    chances = warm_chances(past.days, low_c, high_c, today.year)
    if chances.spells and max(spell.last for spell in chances.spells) < today:
        chances = warm_chances(past.days, low_c, high_c, today.year + 1)
    if not chances.years:
        why = past.reason or "no year is known"
        raise ShortOfDataError(f"When soil in “{place.name}” is warm enough cannot be told, as {why}.")
    return WarmAnswer(
        crop.name,
        place.name,
        spell_words(crop, place, chances),
        limits,
        chances.spells,
        _by_day(chances, chances.spells[0].first.year if chances.spells else today.year),
        chances.years,
        past.witnesses,
        past.relation,
        past.reason,
    )


def _plan(ground: Ground, crop: Crop, place: Place, plants_out: date, past: PastSoil) -> CropPlan:
    raising, rate = _published(crop), curve_for(crop, crop_store.load_heat_sums().get(crop.key))
    emergence = _at_recommended(rate, raising)
    growing = GrowingOn(raising.weeks_low, raising.weeks_high, emergence, raising.source)
    emergence_log_sd = float(np.hypot(rate.log_sd, SEED_LOG_SPREAD))
    found = count_back(past.years, rate.rate_per_d, growing, plants_out, emergence_log_sd=emergence_log_sd)
    low_c, high_c, limits = _limits(ground, crop)
    chances = warm_chances(past.days, low_c, high_c, plants_out.year)
    sow, emerge, ready, emergence_d = found.sow, found.emerge, found.ready, found.emergence_d
    counted_by = f"soil of {found.years} past year{'s' if found.years != 1 else ''} in this place"
    reason = past.reason if not found.years else ""
    if sow is None:
        sow, emerge, ready, emergence_d = _as_published(growing, plants_out)
        reason = "; ".join(part for part in (found.reason, past.reason) if part)
        counted_by = "the published weeks alone, for the temperatures they are meant for"
    elif found.failed:
        counted_by += f"; in {found.failed} more nothing would have been up in time"
    if found.years and found.years < FEW_YEARS:
        counted_by += f" (few: a rare year will not be among {found.years})"
    warm = _chance_on(chances, sow.usual) if chances.years else None
    today = local_date(ground.now_ms, ground.zone)
    late = None
    if sow.late < today:
        late = ready_if_sown(past.years, rate.rate_per_d, growing, today, emergence_log_sd=emergence_log_sd)
    return CropPlan(
        crop.name,
        crop.key,
        place.name,
        plants_out,
        sowing_words(crop, place, sow, plants_out),
        advice_words(crop, sow, warm, chances, today, plants_out, late),
        sow,
        emerge,
        ready,
        plants_out - timedelta(days=HARDEN_D[1]),
        plants_out - timedelta(days=HARDEN_D[0]),
        HARDEN_SOURCE,
        (raising.weeks_low, raising.weeks_high),
        raising.source,
        emergence_d,
        rate.says,
        warm,
        limits,
        chances.spells,
        _by_day(chances, plants_out.year),
        found.years,
        counted_by,
        past.witnesses,
        past.relation,
        reason,
    )


def _published(crop: Crop) -> Raising:
    ages = load_raising().get(crop.key)
    if not ages:
        raise ShortOfDataError(
            f"No transplant age is published here for {crop.name}, so its sowing day cannot be counted back; "
            f"ask when its soil is warm enough with: traywarden plan warm “{crop.name}” --place PLACE"
        )
    return ages[0]


def _at_recommended(rate: RateCurve, raising: Raising) -> float:
    """Days to emergence within the published weeks: at the middle of the temperature printed beside them."""
    middle_c = (raising.germination_low_c + raising.germination_high_c) / 2
    per_d = float(rate.rate_per_d(np.array([middle_c]))[0])
    return 1.0 / per_d if per_d > 0 else 7.0


def _as_published(
    growing: GrowingOn, plants_out: date
) -> tuple[Days, Days, Days, tuple[float, float, float]]:
    weeks = (growing.weeks_low, (growing.weeks_low + growing.weeks_high) / 2, growing.weeks_high)
    late, usual, early = (plants_out - timedelta(days=round(7 * w)) for w in weeks)
    up = timedelta(days=round(growing.emergence_d))
    d = growing.emergence_d
    return (
        Days(early, usual, late),
        Days(early + up, usual + up, late + up),
        Days(plants_out, plants_out, plants_out),
        (d, d, d),
    )


def _limits(ground: Ground, crop: Crop) -> tuple[float | None, float | None, str]:
    """Limits of the week's mean, and in words with their sources: the warmer of the two published."""
    words, low_c = [], crop.floor_c
    if low_c is not None:
        words.append(f"{ground.display.limit(low_c)} and more ({floor_words(crop)}, {crop.floor_source})")
    planting = load_planting_temperatures().get(crop.key)
    if planting is not None and (low_c is None or planting.realistic_c > low_c):
        low_c = planting.realistic_c
        words = [f"{ground.display.limit(low_c)} and more (realistic for planting, {planting.source})"]
    high_c = crop.max_c
    if high_c is not None:
        words.append(
            f"{ground.display.limit(high_c)} and less (published maximum, {crop.max_source or crop.source})"
        )
    if not words:
        raise ShortOfDataError(f"No temperature limit is published here for {crop.name}.")
    return low_c, high_c, "mean of the week after sowing " + ", ".join(words)


def _chance_on(chances: Chances, day: date) -> DayChance | None:
    chance, low, high = chances.at(day)
    return None if np.isnan(chance) else DayChance(day, chance, low, high)


def _by_day(chances: Chances, year: int) -> tuple[DayChance, ...]:
    if not chances.years:
        return ()
    rows = zip(chances.chance.tolist(), chances.low.tolist(), chances.high.tolist(), strict=True)
    leap = date(year, 1, 1) + timedelta(days=365) < date(year + 1, 1, 1)
    return tuple(
        DayChance(date_in_year(place, year), round(chance, 4), round(low, 4), round(high, 4))
        for place, (chance, low, high) in enumerate(rows)
        if not np.isnan(chance) and (leap or place != 59)
    )


def season_words(plans: list[CropPlan], today: date) -> str:
    """One sentence on several plans, ordered by sowing day."""
    ahead = [p for p in plans if p.sow and p.sow.usual >= today]
    if len(plans) == 1:
        return plans[0].sentence
    if not ahead:
        return f"All {len(plans)} sowing days have passed."
    first = ahead[0]
    assert first.sow is not None
    return (
        f"{len(plans)} sowings; next is {first.crop} in “{first.place}”, about {day_words(first.sow.usual)} "
        f"(in {(first.sow.usual - today).days} days)."
    )
