"""Trays: each at a glance, and one in full with everything that can be written down of it."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from traywarden.domain.garden import Tray
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.journal_pages import Sought, journal_page
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import EmergenceAnswer, TrayEmergence
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.outlook import OutlookAnswer, ask_outlook
from traywarden.services.questions.today import TodayAnswer, TrayNow, ask_today
from traywarden.store import journal as journal_store
from traywarden.store.crops import load_crops
from traywarden.web.charts import CHARTS
from traywarden.web.face import Face
from traywarden.web.pages import face_of, page
from traywarden.web.tray_answers import TrayAnswers, tray_answers
from traywarden.web.tray_chart import tray_chart

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)

SPANS_DAYS = (3, 7, 14, 30, 90)
USUAL_DAYS = 7
MOST_LISTED_DAYS = 30
"""Waterings of so many days are listed; those before them stand in the chart and its table."""
NEWEST_LINES = 30
BY_PLACE, BY_WATER = "place", "water"

CHARTS["tray"] = tray_chart


@router.get("/trays")
def trays(request: Request, by: str = BY_PLACE) -> HTMLResponse:
    """Every tray in a row: by place, or what needs water first."""
    face, first_dry = face_of(request), by == BY_WATER
    with face.asking() as on:
        try:
            answer = face.ask("today", ask_today)
        except (ShortOfDataError, UsageError) as short:
            return page(request, on, "trays_yet.html", title="Trays", why=str(short), trays=_named(on))
        outlook = face.ask("outlook", ask_outlook) if first_dry else None
        return page(
            request,
            on,
            "trays.html",
            title="Trays",
            a=answer,
            outlook={each.tray: each for each in outlook.trays} if outlook else {},
            order=_driest_first(answer, outlook) if outlook else [],
            rows={each.tray: each for each in answer.trays},
            ids={tray.name: tray.tray_id for tray in on.trays.values()},
            seed={each.tray: each for each in answer.seed},
            coming=_coming(face),
            by=BY_WATER if first_dry else BY_PLACE,
        )


@router.get("/trays/{number}")
def one_tray(request: Request, number: str, days: str = "") -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        tray = _tray(on, number)
        span = int(days) if days.isascii() and days.isdigit() and int(days) in SPANS_DAYS else USUAL_DAYS
        listed = min(span, MOST_LISTED_DAYS)
        answers = face.ask(("tray", tray.tray_id, listed), _asked_of(tray, listed))
        written = journal_page(on.tx, on.zone, on.display, Sought(tray.tray_id))
        return page(
            request,
            on,
            "tray.html",
            title=tray.name,
            tray=tray,
            t=answers,
            days=span,
            listed=listed,
            spans=SPANS_DAYS,
            as_of=_as_of(on, answers),
            journal=[
                (line, line.says.removeprefix(f"tray {tray.name}: ")) for line in written.lines[:NEWEST_LINES]
            ],
            written=written.total,
            places=sorted(place.name for place in on.places.values()),
            lots=sorted(lot.name for lot in on.lots.values()),
            crops=sorted((crop.name, key) for key, crop in load_crops().items()),
        )


def _asked_of(tray: Tray, days: int) -> Callable[[Ground], TrayAnswers]:
    return lambda on: tray_answers(on, tray.name, days)


def _tray(on: Ground, number: str) -> Tray:
    found = on.trays.get(int(number)) if number.isascii() and number.isdigit() else None
    if found is None:
        raise HTTPException(404)
    return found


def _named(on: Ground) -> list[Tray]:
    return sorted(on.trays.values(), key=lambda tray: tray.name)


def _driest_first(answer: TodayAnswer, outlook: OutlookAnswer) -> list[str]:
    """Those below their dry line before all others, also without an outlook; then as they will dry."""
    dry = {each.tray for each in answer.trays if _is_dry(each)}
    return sorted((each.tray for each in outlook.trays), key=lambda tray: tray not in dry)


def _is_dry(tray: TrayNow) -> bool:
    return tray.moisture_fraction is not None and tray.moisture_fraction <= 0


def _coming(face: Face) -> dict[str, TrayEmergence]:
    """When seed is expected to be up; a deed that changes it shows in the other columns."""
    try:
        answer: EmergenceAnswer = face.ask("emergence", ask_emergence, waits=False)
    except (ShortOfDataError, UsageError):
        return {}
    return {each.tray: each for each in answer.trays}


def _as_of(on: Ground, answers: TrayAnswers) -> str:
    """Changes when the chart does: with a reading of the tray, and with any entry."""
    measured = answers.now.measured if answers.now else None
    stamp = f"{measured:%Y%m%dT%H%M}" if measured else "none"
    return f"{stamp}.{journal_store.newest_entry_id(on.tx)}"
