"""A season's plan as a picture: the packaged chart, filled with the days of one answer."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from traywarden.domain.warm_days import LIKELY
from traywarden.links.pictures import chart
from traywarden.services.questions.plan import CropPlan, SeasonPlan, WarmAnswer
from traywarden.services.questions.plan_words import DayChance


def plan_picture(season: SeasonPlan, width: int | None = None) -> dict[str, Any]:
    """A Vega-Lite spec of the plan. For one crop the chance by day that soil is warm enough stands below.

    With a `width` in pixels one crop's name stands above alone and its legend in two rows: for small screens.
    """
    spec = chart("season")
    if width is not None and len(season.plans) == 1:
        _narrow(spec, width)
    labels = _labels(season.plans)
    rows = list(zip(labels, season.plans, strict=True))
    spec["datasets"] = {
        "stretches": [row for label, plan in rows for row in _stretches(label, plan)],
        "days": [row for label, plan in rows for row in _days(label, plan)],
        "chances": [],
        "likely": [{"level": LIKELY}],
    }
    spec["vconcat"][0]["encoding"]["y"]["sort"] = labels
    one = season.plans[0]
    spec["title"]["text"] = f"{one.crop}, {one.place}" if len(season.plans) == 1 else "When to sow"
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
    spec["datasets"]["chances"] = _chances(plan.chances)
    return spec


def _narrow(spec: dict[str, Any], width: int) -> None:
    for part in spec["vconcat"]:
        part["width"] = width
    season = spec["vconcat"][0]
    season["encoding"]["y"]["axis"] = None
    season["height"] = {"step": 56}
    season["layer"][0]["encoding"]["color"]["legend"] |= {"columns": 2}
    season["layer"][1]["encoding"]["shape"]["legend"] |= {"columns": 1}
    spec["config"]["legend"] |= {"layout": {"bottom": {"margin": 24}}}


def warm_picture(answer: WarmAnswer) -> dict[str, Any]:
    """A Vega-Lite spec of the chance by day that soil of a place is warm enough for a crop."""
    season = chart("season")
    spec = {name: part for name, part in season.items() if name not in ("vconcat", "spacing")}
    spec |= season["vconcat"][1]
    spec["datasets"] = {"chances": _chances(answer.chances), "likely": [{"level": LIKELY}]}
    spec["title"]["text"] = f"Warm enough for {answer.crop}: {answer.place}"
    spec["title"]["subtitle"] = f"by {answer.years} past year{'s' * (answer.years != 1)}, bands hold 80 %"
    return spec


def _chances(chances: Sequence[DayChance]) -> list[dict[str, Any]]:
    return [{"day": _at(row.day), "chance": row.chance, "low": row.low, "high": row.high} for row in chances]


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
