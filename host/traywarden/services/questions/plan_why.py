"""What a plan rests on, in sentences: whose soil, which published weeks, and when it is warm enough."""

from collections.abc import Sequence
from datetime import date

from traywarden.domain.warm_days import WarmSpell
from traywarden.services.questions.plan import CropPlan
from traywarden.services.questions.plan_words import span_words
from traywarden.services.soil_years import Witness


def why_words(plan: CropPlan) -> list[str]:
    """Whose soil the days were counted in, weeks, emergence, limits with their sources, and the years."""
    low, high = plan.weeks
    weeks = f"{low:g} to {high:g}" if low != high else f"{low:g}"
    told = [
        f"Counted in {plan.counted_by}.",
        f"From sowing to planting out: {weeks} weeks ({plan.weeks_source}).",
    ]
    if plan.emergence_d is not None:
        early, usual, late = plan.emergence_d
        band = f" ({early:.0f} to {late:.0f})" if late > early else ""
        told.append(f"Emergence: about {usual:.0f} days{band}; {plan.emergence_source}.")
    told.append(f"Warm enough: {plan.limits}.")
    told += [f"  likely {ends_words(spell)}" for spell in plan.spells]
    return told + years_words(plan.witnesses, plan.relation)


def years_words(witnesses: Sequence[Witness], relation: str) -> list[str]:
    """Where past soil is known from, and how past weather became soil."""
    told = [f"Years: {each.source}, {each.first} to {each.last}; {each.says}." for each in witnesses]
    return told + ([f"The relation: {relation}."] if relation else [])


def ends_words(spell: WarmSpell) -> str:
    """“from 12 Apr (3 to 20 Apr) to 9 Oct (1 to 15 Oct)”."""
    first, last = (
        _between(spell.first, spell.first_between),
        _between(spell.last, spell.last_between),
    )
    return f"from {first} to {last}"


def _between(day: date, between: tuple[date, date] | None) -> str:
    if between is None:
        return f"{date_words(day)} (its spread cannot be told)"
    return f"{date_words(day)} ({span_words(*between)})"


def date_words(day: date) -> str:
    """“9 Oct”, where the year stands beside it."""
    return f"{day.day} {day:%b}"
