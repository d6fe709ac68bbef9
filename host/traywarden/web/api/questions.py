"""Questions about trays and seed, each at the address of its command, with the command's options."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from traywarden.domain.degree_days import CUTOFFS, METHODS
from traywarden.domain.sowing_costs import THIN_S
from traywarden.domain.sowing_plan import MOST_PER_CELL
from traywarden.domain.units import Display, c_from_f
from traywarden.errors import UsageError
from traywarden.services.fractions import fraction_from_text
from traywarden.services.questions.batch import BatchAnswer, ask_batch
from traywarden.services.questions.batches import BatchesAnswer, ask_batches
from traywarden.services.questions.degree_days import DegreeDaysAnswer, DegreeDaysAsked, ask_degree_days
from traywarden.services.questions.dry_down import DryDownAnswer, ask_dry_down
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import EmergenceAnswer
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.learned import LearnedAnswer, ask_learned
from traywarden.services.questions.level import LevelAnswer, ask_level
from traywarden.services.questions.moisture import DEFAULT_DAYS, MoistureAnswer, ask_moisture
from traywarden.services.questions.quality import QualityAnswer, ask_quality
from traywarden.services.questions.seeds import SeedsAnswer, SeedsAsked, ask_seeds
from traywarden.services.questions.today import TodayAnswer, ask_today
from traywarden.services.questions.waterings import WateringsAnswer, ask_waterings
from traywarden.services.questions.with_nights import (
    WholeBacktest,
    WholeOutlook,
    ask_whole_backtest,
    ask_whole_outlook,
)
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

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["Trays and seed"])
Degrees = Annotated[float | None, Query(ge=-200, le=500, allow_inf_nan=False)]
Price = Annotated[float | None, Query(ge=0, le=1e9, allow_inf_nan=False)]
Number = Annotated[int | None, Query(ge=1, le=1_000_000)]


@router.get("/today")
@answers(TodayAnswer)
def today(request: Request) -> Response:
    """What needs me now, most urgent first; what will be dry within a day; every tray at a glance."""
    return answered(request, ask_today)


@router.get("/outlook")
@answers(WholeOutlook)
def outlook(request: Request, tray: Name = "") -> Response:
    """When each tray will be at its dry line, and how cold each place gets tonight."""
    return answered(request, lambda on: ask_whole_outlook(on, tray))


@router.get("/backtest")
@answers(WholeBacktest)
def backtest(request: Request, tray: Name = "", days: Days = 120.0) -> Response:
    """How far the outlook can be trusted: asked into the garden's past, and compared with what came."""
    return answered(request, lambda on: ask_whole_backtest(on, tray, days))


@router.get("/emergence")
@answers(EmergenceAnswer | LearnedAnswer)
def emergence(request: Request, tray: Name = "", learned: bool = False, crop: Name = "") -> Response:
    """When seed will come up; with `learned` what the garden's own records taught, by crop and lot."""
    if crop and not learned:
        raise UsageError("A crop is asked about with learned=true; otherwise name a tray, or none for all.")
    if learned and tray:
        raise UsageError("What was learned is asked by crop: learned=true&crop=tomato")
    return answered(request, lambda on: ask_learned(on, crop) if learned else ask_emergence(on, tray))


@router.get("/seeds")
@answers(SeedsAnswer)
def seeds(
    request: Request,
    what: Name,
    plants: Number = None,
    cells: Number = None,
    tray: Name = "",
    place: Name = "",
    fill: Word = "95%",
    sure: Word = "90%",
    gain: Word = "2%",
    most: Annotated[int, Query(ge=1, le=100)] = MOST_PER_CELL,
    temp: Degrees = None,
    seed_price: Annotated[Price, Query(alias="seed-price")] = None,
    cell_price: Annotated[Price, Query(alias="cell-price")] = None,
    hour_price: Annotated[Price, Query(alias="hour-price")] = None,
    thin_seconds: Annotated[float, Query(alias="thin-seconds", ge=0, le=3600)] = THIN_S,
) -> Response:
    """How many seeds to sow in each cell of a lot or a crop, so that the plants wanted come of it."""
    wanted, certain, least = (
        fraction_from_text(text, f"part for {name}")
        for name, text in (("fill", fill), ("sure", sure), ("gain", gain))
    )
    if wanted is None or certain is None or least is None:
        raise UsageError("A part is needed for fill, sure and gain; write it like 95%.")

    def question(on: Ground) -> SeedsAnswer:
        asked = SeedsAsked(
            what,
            plants,
            cells,
            tray,
            place,
            wanted,
            certain,
            least,
            most,
            _c(temp, on.display),
            seed_price,
            cell_price,
            hour_price,
            thin_seconds,
        )
        return ask_seeds(on, asked)

    return answered(request, question)


@router.get("/degree-days")
@answers(DegreeDaysAnswer)
def degree_days(
    request: Request,
    tray: Name = "",
    place: Name = "",
    air: Air = None,
    crop: Name = "",
    base: Degrees = None,
    upper: Degrees = None,
    start: From = "",
    to: To = "",
    method: Annotated[Word, Query(description=f"integral, {', '.join(METHODS)}.")] = "integral",
    cutoff: Annotated[Word, Query(description=f"{', '.join(CUTOFFS)}.")] = "none",
) -> Response:
    """Degree-days above a crop's base, day by day and in sum, since the tray was sown."""
    if tray and air:
        raise UsageError("A tray has soil; ask for the air of a place, with place and air=true.")

    def question(on: Ground) -> DegreeDaysAnswer:
        first, last = span(on, start, to)
        low_c, high_c = _c(base, on.display), _c(upper, on.display)
        cut = "horizontal" if cutoff == "none" and high_c is not None else cutoff
        asked = DegreeDaysAsked(
            tray, place, measured(bool(air)), crop, low_c, high_c, first, last, method, cut
        )
        return ask_degree_days(on, asked)

    return answered(request, question)


@router.get("/waterings")
@answers(WateringsAnswer)
def waterings(request: Request, tray: Name = "", days: Days = 14.0) -> Response:
    """When each tray was watered, by hand or by rain, how much it rose, and how long ago that was."""
    return answered(request, lambda on: ask_waterings(on, tray, days))


@router.get("/moisture")
@answers(MoistureAnswer)
def moisture(request: Request, tray: Name = "", days: Days = DEFAULT_DAYS) -> Response:
    """How wet each tray is: between dry and container capacity, and on the trade's scale from 1 to 5."""
    return answered(request, lambda on: ask_moisture(on, tray, days))


@router.get("/dry-down")
@answers(DryDownAnswer)
def dry_down(request: Request, mix: Name = "", tray: Name = "", days: Days = 60.0) -> Response:
    """How fast each mix dries between two waterings: by mix, and stretch by stretch."""
    return answered(request, lambda on: ask_dry_down(on, mix=mix, tray=tray, days=days))


@router.get("/level")
@answers(LevelAnswer)
def level(request: Request, tray: Name = "", days: Days = 60.0) -> Response:
    """Whether a tray stands level: which end, or which tray on a base, stays drier."""
    return answered(request, lambda on: ask_level(on, tray, days))


@router.get("/quality")
@answers(QualityAnswer)
def quality(request: Request, tray: Name = "", days: Days = 14.0) -> Response:
    """Whether the readings are to be trusted: troubles of every head, why each is one, and what to do."""
    return answered(request, lambda on: ask_quality(on, tray, days))


@router.get("/batch")
@answers(BatchAnswer)
def batch(request: Request, tray: Name, other: Name = "") -> Response:
    """How a batch came up, and whether another truly did better. A tray, or TRAY@DAY."""
    return answered(request, lambda on: ask_batch(on, tray, other))


@router.get("/batches")
@answers(BatchesAnswer)
def batches(
    request: Request,
    crop: Name = "",
    by: Word = "",
    start: From = "",
    to: To = "",
) -> Response:
    """Every batch that was counted; with `by` whether places, mixes or lots differ."""

    def question(on: Ground) -> BatchesAnswer:
        first, last = span(on, start, to)
        return ask_batches(on, crop=crop, by=by, start=first, end=last)

    return answered(request, question)


def _c(degrees: float | None, display: Display) -> float | None:
    """Degrees as they are displayed, in °C."""
    return c_from_f(degrees) if degrees is not None and display.temperature == "F" else degrees
