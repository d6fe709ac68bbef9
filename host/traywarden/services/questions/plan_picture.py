"""A season's plan as a picture: the packaged chart, filled with the days of one answer."""

from datetime import date
from typing import Any

from traywarden.domain.warm_days import LIKELY
from traywarden.links.pictures import chart
from traywarden.services.questions.plan import CropPlan, SeasonPlan


def plan_picture(season: SeasonPlan) -> dict[str, Any]:
    """A Vega-Lite spec of the plan. For one crop the chance by day that soil is warm enough stands below."""
    spec = chart("season")
    labels = _labels(season.plans)
    rows = list(zip(labels, season.plans, strict=True))
    spec["datasets"] = {
        "stretches": [row for label, plan in rows for row in _stretches(label, plan)],
        "days": [row for label, plan in rows for row in _days(label, plan)],
        "chances": [],
        "likely": [{"level": LIKELY}],
    }
    spec["vconcat"][0]["encoding"]["y"]["sort"] = labels
    spec["title"]["text"] = season.plans[0].crop if len(season.plans) == 1 else "When to sow"
    years = {plan.years for plan in season.plans}
    counted = f"{max(years)}" if len(years) == 1 else f"up to {max(years)}"
    soil = (
        f"counted in soil of {counted} past years, bars hold 80 %" if max(years) else "published weeks alone"
    )
    spec["title"]["subtitle"] = f"{season.garden}; {soil}"
    if len(season.plans) > 1 or not season.plans[0].chances:
        spec["vconcat"] = spec["vconcat"][:1]
        return spec
    plan = season.plans[0]
    spec["datasets"]["chances"] = [
        {"day": _at(row.day), "chance": row.chance, "low": row.low, "high": row.high} for row in plan.chances
    ]
    return spec


def _labels(plans: tuple[CropPlan, ...]) -> list[str]:
    """“Tomato, Frame”; where that is said twice, with the day."""
    plain = [f"{plan.crop}, {plan.place}" for plan in plans]
    return [
        f"{label}, {plan.plants_out:%d %b}" if plain.count(label) > 1 else label
        for label, plan in zip(plain, plans, strict=True)
    ]


def _stretches(label: str, plan: CropPlan) -> list[dict[str, Any]]:
    found = []
    if plan.sow is not None:
        found.append(_row(label, "sow", plan.sow.early, plan.sow.late))
    up = plan.emerge or plan.sow
    if plan.emerge is not None and plan.sow is not None:
        found.append(_row(label, "seedlings come", max(plan.emerge.early, plan.sow.late), plan.emerge.late))
    if up is not None and up.late < plan.harden_from:
        found.append(_row(label, "growing on", up.late, plan.harden_from))
    found.append(_row(label, "harden off", plan.harden_from, plan.plants_out))
    return [row for row in found if row["from"] < row["to"]]


def _days(label: str, plan: CropPlan) -> list[dict[str, Any]]:
    found = [{"sowing": label, "what": "plant out", "day": _at(plan.plants_out), "text": ""}]
    if plan.sow is not None:
        day = plan.sow.usual
        text = f"{day.day} {day:%b}"
        found.append({"sowing": label, "what": "usual sowing day", "day": _at(day), "text": text})
    return found


def _row(label: str, stage: str, first: date, last: date) -> dict[str, Any]:
    return {"sowing": label, "stage": stage, "from": _at(first), "to": _at(last)}


def _at(day: date) -> str:
    # A date alone would be UTC midnight to the renderer, which is the day before west of Greenwich.
    return f"{day.isoformat()}T12:00:00"
