"""Questions about places, mixes, plans and the weather, at the addresses of their commands."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.days import day_of
from traywarden.services.questions.frame import FrameAnswer, FrameAsked, ask_frame
from traywarden.services.questions.germination_hours import HoursAnswer, ask_hours
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.harden import HardenAnswer, HardenAsked, ask_harden
from traywarden.services.questions.mix_advice import MixAdviceAnswer, ask_mix_advice
from traywarden.services.questions.mixes import MixCompareAnswer, ask_mix_compare
from traywarden.services.questions.moisture import DEFAULT_DAYS
from traywarden.services.questions.outside import ForecastShown, SourceDays, ask_forecast, ask_weather
from traywarden.services.questions.places import PlacesAnswer, PlacesAsked, ask_places
from traywarden.services.questions.places_now import PlacesNowAnswer, ask_places_now
from traywarden.services.questions.plan import PlanAsked, SeasonPlan, WarmAnswer, ask_plan, ask_warm
from traywarden.services.questions.rank import RankAnswer, RankAsked, ask_rank, month_of
from traywarden.services.questions.soaked import SoakedAnswer, ask_soaked
from traywarden.services.questions.tray_record import TrayRecord, ask_tray_record
from traywarden.services.questions.week import WeekAnswer, ask_week
from traywarden.web.api.answering import (
    ADDRESS,
    KNOWN_ALONE,
    Air,
    Days,
    From,
    Name,
    To,
    Word,
    answered,
    answers,
    measured,
    span,
)

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["Places, mixes, plans"])
Against = Annotated[Name, Query(description="The place to hold it against.")]
PlantsOut = Annotated[
    date, Query(alias="plants-out", description="The day plants are set out, such as 2026-05-15.")
]


@router.get("/compare")
@answers(CompareAnswer)
def compare(
    request: Request,
    place_a: Name,
    place_b: Name,
    start: From = "",
    to: To = "",
    crop: Name = "",
    air: Air = None,
) -> Response:
    """Did the frame earn its place? One place against another, by default over the last seven days."""

    def question(on: Ground) -> CompareAnswer:
        first, last = span(on, start, to)
        return ask_compare(on, CompareAsked(place_a, place_b, first, last, crop, measured(air)))

    return answered(request, question)


@router.get("/places/compare")
@answers(PlacesAnswer)
def places(
    request: Request, start: From = "", to: To = "", against: Against = "", air: Air = None
) -> Response:
    """All places side by side, by default over the last thirty days."""

    def question(on: Ground) -> PlacesAnswer:
        first, last = span(on, start, to)
        return ask_places(on, PlacesAsked(first, last, measured(air), against))

    return answered(request, question)


@router.get("/places/now")
@answers(PlacesNowAnswer)
def places_now(request: Request) -> Response:
    """Each place now: its trays, the temperature of its air and soil, and today's range so far."""
    return answered(request, ask_places_now)


@router.get("/places/rank")
@answers(RankAnswer)
def rank(request: Request, crop: Name, month: Word = "", best: bool = False, air: Air = None) -> Response:
    """Which place suits a crop in a month: hours a day in its germination range, ranked."""
    asked = RankAsked(crop, month_of(month), measured(air), best)
    return answered(request, lambda on: ask_rank(on, asked))


@router.get("/places/hours")
@answers(HoursAnswer)
def hours(
    request: Request,
    crops: Annotated[list[Name], Query(max_length=20)] = [],  # noqa: B006 - never changed
    start: From = "",
    to: To = "",
    air: Air = None,
) -> Response:
    """Hours a day in each crop's germination range, by place and month of the last year."""

    def question(on: Ground) -> HoursAnswer:
        first, last = span(on, start, to)
        return ask_hours(on, crops, measured=measured(air), start=first, end=last)

    return answered(request, question)


@router.get("/places/frame")
@answers(FrameAnswer)
def frame(request: Request, frame: Name, against: Against = "", start: From = "", to: To = "") -> Response:
    """What a cover does: its gain by night and by day, hours too hot, and when it was opened."""

    def question(on: Ground) -> FrameAnswer:
        first, last = span(on, start, to)
        return ask_frame(on, FrameAsked(frame, against, first, last))

    return answered(request, question)


@router.get("/places/harden")
@answers(HardenAnswer)
def harden(
    request: Request,
    subject: Name,
    against: Against = "",
    crop: Name = "",
    days: Annotated[int, Query(ge=1, le=3660, description="How many days back.")] = 14,
) -> Response:
    """Do these plants still need hardening off? Of a tray, or of a place."""
    return answered(request, lambda on: ask_harden(on, HardenAsked(subject, against, crop, days)))


@router.get("/mix/compare")
@answers(MixCompareAnswer)
def mix_compare(request: Request, a: Name, b: Name, days: Days = DEFAULT_DAYS) -> Response:
    """Which of two mixes dries faster under equal demand, by how much, and how sure that is."""
    return answered(request, lambda on: ask_mix_compare(on, a, b, days))


@router.get("/mix/soaked")
@answers(SoakedAnswer)
def mix_soaked(request: Request, name: Name = "", days: Days = DEFAULT_DAYS) -> Response:
    """How long each mix stays soaked after a watering: hours in which roots get hardly any air."""
    return answered(request, lambda on: ask_soaked(on, name, days))


@router.get("/mix/advice")
@answers(MixAdviceAnswer)
def mix_advice(request: Request, name: Name = "", days: Days = DEFAULT_DAYS) -> Response:
    """What to change in a mix that stays wet too long, or dries too soon."""
    return answered(request, lambda on: ask_mix_advice(on, name, days))


@router.get("/plan")
@answers(SeasonPlan)
def plan(request: Request, crop: Name, place: Name, plants_out: PlantsOut) -> Response:
    """When to sow one crop so that its plants are ready on a day, and whether soil is warm enough then."""
    return answered(request, lambda on: ask_plan(on, [PlanAsked(crop, place, plants_out)]))


@router.get("/plan/season")
@answers(SeasonPlan)
def plan_season(
    request: Request,
    wanted: Annotated[list[Name], Query(min_length=1, max_length=100, description="The crops.")],
    place: Name,
    plants_out: PlantsOut,
) -> Response:
    """A plan for several crops of one place and day. (The command also reads a file; this does not.)"""
    asked = [PlanAsked(crop, place, plants_out) for crop in wanted]
    return answered(request, lambda on: ask_plan(on, asked))


@router.get("/plan/warm")
@answers(WarmAnswer)
def plan_warm(request: Request, crop: Name, place: Name) -> Response:
    """First and last days on which soil of a place is likely warm enough to sow a crop."""
    return answered(request, lambda on: ask_warm(on, crop, place))


@router.get("/forecast/show")
@answers(ForecastShown)
def forecast(request: Request) -> Response:
    """What the newest forecast says, day by day, and how long it still reaches."""
    return answered(request, ask_forecast)


@router.get("/weather/show")
@answers(list[SourceDays])
def weather(request: Request) -> Response:
    """Which past weather there is: sources, years, and days that lack."""
    return answered(request, ask_weather)


@router.get("/record")
@answers(TrayRecord)
def record(request: Request, tray: Name, days: Annotated[float, Query(ge=0.1, le=3660.0)] = 7.0) -> Response:
    """What a tray went through: moisture, warmth, waterings and journal, every line as it is drawn."""
    return answered(request, lambda on: ask_tray_record(on, tray, days))


@router.get("/week")
@answers(WeekAnswer)
def week(request: Request, ending: To = "") -> Response:
    """What a week brought: waterings, driest hours, frame against bench, lows and highs, and what comes."""
    return answered(request, lambda on: ask_week(on, day_of(on, ending)))
