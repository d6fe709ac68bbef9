"""Before sowing: seeds in each cell, when to sow for plants on a day, and when soil is warm enough."""

from datetime import UTC, date, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.links.calendar import calendar_bytes
from traywarden.services.fractions import fraction_from_text
from traywarden.services.journal_changes import number_from_text
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.plan import PlanAsked, SeasonPlan, ask_plan, ask_warm
from traywarden.services.questions.plan_calendar import plan_days
from traywarden.services.questions.plan_picture import plan_picture, warm_picture
from traywarden.services.questions.plan_why import ends_words, why_words, years_words
from traywarden.services.questions.plan_words import span_words
from traywarden.services.questions.seeds import SeedsAnswer, SeedsAsked, ask_seeds
from traywarden.services.questions.seeds_why import share_words
from traywarden.services.questions.seeds_why import why_words as seeds_why
from traywarden.store.crops import load_crops
from traywarden.web.charts import CHARTS, Chart, Params
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
REFUSED = (ShortOfDataError, UsageError, UnknownNameError)
DAY_COLUMNS = ("crop", "place", "what", "first day", "usual day", "last day")
CHANCE_COLUMNS = ("day", "chance", "80 % from", "80 % to")
WIDTH = 430
"""Pixels of a plan's chart: still read on a phone, where it is drawn smaller."""


@router.get("/sowings/seeds")
def seeds(request: Request) -> HTMLResponse:
    face, asked = face_of(request), dict(request.query_params)
    answer: SeedsAnswer | None = None
    why = ""
    with face.asking() as on:
        if asked.get("what"):
            try:
                answer = face.ask(("seeds", *sorted(asked.items())), lambda ground: _seeds(ground, asked))
            except REFUSED as refused:
                why = str(refused)
        return page(
            request,
            on,
            "seeds.html",
            title="Seeds in each cell",
            a=answer,
            why=why,
            asked=asked,
            lots=sorted(lot.name for lot in on.lots.values()),
            rests=seeds_why(answer) if answer else [],
            share=share_words,
            **_choices(on),
        )


@router.get("/sowings/plan")
def plan(request: Request, crop: str = "", place: str = "", day: str = "") -> HTMLResponse:
    face = face_of(request)
    answer: SeasonPlan | None = None
    why = ""
    with face.asking() as on:
        if crop or place or day:
            try:
                answer = face.ask(("plan", crop, place, day), lambda ground: _plan(ground, crop, place, day))
            except REFUSED as refused:
                why = str(refused)
        return page(
            request,
            on,
            "plan.html",
            title="When to sow",
            a=answer,
            why=why,
            asked={"crop": crop, "place": place, "day": day},
            rests=why_words(answer.plans[0]) if answer else [],
            band=span_words,
            **_choices(on),
        )


@router.get("/sowings/plan.ics")
def calendar(request: Request, crop: str = "", place: str = "", day: str = "") -> Response:
    """The plan as days of a calendar program; made again, it changes the same entries."""
    face = face_of(request)
    with face.asking() as on:
        days = plan_days(face.ask(("plan", crop, place, day), lambda ground: _plan(ground, crop, place, day)))
        now = datetime.fromtimestamp(on.now_ms / 1000, UTC)
        body = calendar_bytes(f"{on.garden.name}: sowing", on.garden.slug, days, now)
    headers = {"content-disposition": 'attachment; filename="sowing-plan.ics"'}
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)


@router.get("/sowings/warm")
def warm(request: Request, crop: str = "", place: str = "") -> HTMLResponse:
    face = face_of(request)
    answer = None
    why = ""
    with face.asking() as on:
        if crop or place:
            try:
                answer = face.ask(("warm", crop, place), lambda ground: ask_warm(ground, crop, place))
            except REFUSED as refused:
                why = str(refused)
        return page(
            request,
            on,
            "warm.html",
            title="When soil is warm enough",
            a=answer,
            why=why,
            asked={"crop": crop, "place": place},
            rests=years_words(answer.witnesses, answer.relation) if answer else [],
            ends=ends_words,
            **_choices(on),
        )


def _choices(on: Ground) -> dict[str, Any]:
    return {
        "crops": sorted(crop.name for crop in load_crops().values()),
        "places": sorted(place.name for place in on.places.values()),
        "trays": sorted(tray.name for tray in on.trays.values()),
    }


def _seeds(on: Ground, asked: Params) -> SeedsAnswer:
    """What the form asks; what it leaves open is as the command has it."""
    given: dict[str, Any] = {name: asked.get(name, "") for name in ("tray", "place")}
    for name in ("plants", "cells"):
        if words := asked.get(name, "").strip():
            given[name] = _whole(words, name)
    for name, field, what in (("fill", "fill", "fill"), ("sure", "certain", "sureness")):
        share = fraction_from_text(asked.get(name, ""), what)
        if share is not None:
            given[field] = share
    for name in ("seed_price", "cell_price", "hour_price"):
        if words := asked.get(name, "").strip():
            given[name] = float(number_from_text(words, name))
    return ask_seeds(on, SeedsAsked(asked.get("what", ""), **given))


def _whole(words: str, name: str) -> int:
    value = number_from_text(words, name)
    if not isinstance(value, int):
        raise UsageError(f"{words} is not a whole number ({name}).")
    return value


def _plan(on: Ground, crop: str, place: str, day: str) -> SeasonPlan:
    if not crop or not place or not day:
        raise UsageError("A plan needs a crop, a place, and the day plants are wanted; choose all three.")
    try:
        plants_out = date.fromisoformat(day.strip())
    except ValueError:
        raise UsageError(f"“{day}” is not a day; write it like 2027-05-15.") from None
    return ask_plan(on, [PlanAsked(crop, place, plants_out)])


def _season_chart(on: Ground, params: Params) -> Chart:
    answer = _plan(on, *(params.get(name, "") for name in ("crop", "place", "day")))
    spec = plan_picture(answer, WIDTH)
    rows: list[tuple[Any, ...]] = []
    for each in answer.plans:
        for what, days in (("sow", each.sow), ("seedlings", each.emerge), ("ready", each.ready)):
            if days is not None:
                rows.append((each.crop, each.place, what, days.early, days.usual, days.late))
        rows.append((each.crop, each.place, "harden off from", each.harden_from, "", each.harden_by))
        rows.append((each.crop, each.place, "plant out", each.plants_out, each.plants_out, each.plants_out))
    return Chart(spec, answer.sentence, DAY_COLUMNS, rows)


def _warm_chart(on: Ground, params: Params) -> Chart:
    answer = ask_warm(on, params.get("crop", ""), params.get("place", ""))
    spec = warm_picture(answer) | {"width": WIDTH}
    rows = [(row.day, row.chance, row.low, row.high) for row in answer.chances]
    return Chart(spec, answer.sentence, CHANCE_COLUMNS, rows)


CHARTS |= {"season": _season_chart, "warm": _warm_chart}
