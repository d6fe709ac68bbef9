"""A season's plan as days of a calendar: sow, look for seedlings, harden off, plant out."""

from datetime import timedelta

from traywarden.links.calendar import CalendarDay
from traywarden.services.questions.plan import CropPlan, SeasonPlan


def plan_days(season: SeasonPlan) -> list[CalendarDay]:
    """What a calendar is told of a plan, in the order of its days."""
    days = [day for plan in season.plans for day in _of(plan)]
    return sorted(days, key=lambda day: (day.first, day.summary))


def _of(plan: CropPlan) -> list[CalendarDay]:
    key = f"{plan.crop_key}/{plan.place}/{plan.plants_out.isoformat()}"
    found = []
    if plan.sow is not None:
        words = [f"{plan.sentence}", plan.advice, f"Counted in {plan.counted_by}."]
        text = "\n".join(word for word in words if word)
        found.append(
            CalendarDay(
                f"{key}/sow", plan.sow.usual, plan.sow.usual, f"Sow {plan.crop} in {plan.place}", text
            )
        )
    if plan.emerge is not None:
        found.append(
            CalendarDay(
                f"{key}/emerge",
                plan.emerge.early,
                plan.emerge.late,
                f"Look for seedlings: {plan.crop} in {plan.place}",
                f"Expected about {plan.emerge.usual:%d %b}, if sown about then.",
            )
        )
    found.append(
        CalendarDay(
            f"{key}/harden",
            plan.harden_from,
            plan.plants_out - timedelta(days=1),
            f"Harden off {plan.crop}",
            f"Begin by {plan.harden_by:%d %b} at the latest ({plan.harden_source}: one to two weeks).",
        )
    )
    found.append(
        CalendarDay(f"{key}/out", plan.plants_out, plan.plants_out, f"Plant out {plan.crop}", plan.sentence)
    )
    return found
