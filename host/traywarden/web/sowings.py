"""Sowings: what is sown and not yet up, when it will be, and counts of it."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.emergence_answer import (
    COMING_UP,
    LATE,
    NOTHING_SOWN,
    ON_ITS_WAY,
    UNKNOWN,
    UP,
    EmergenceAnswer,
    TrayEmergence,
)
from traywarden.services.questions.emergence_picture import way_of
from traywarden.services.questions.emergence_words import (
    basis_words,
    degree_day_words,
    summary_words,
    unsure_words,
    warmth_words,
)
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
STEPS = (1, 2, 5, 10)
"""Seedlings more than at the last count, each one tap."""


@router.get("/sowings")
def sowings(request: Request) -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        try:
            answer = face.ask("emergence", ask_emergence)
        except (ShortOfDataError, UsageError) as short:
            return page(request, on, "sowings_none.html", title="Sowings", why=str(short))
        waiting = sorted((t for t in answer.trays if t.state in _ORDER), key=lambda t: _urgency(t, answer))
        return page(
            request,
            on,
            "sowings.html",
            title="Sowings",
            a=answer,
            says=summary_words(answer, why_not="; why stands below"),
            waiting=waiting,
            up=[t for t in answer.trays if t.state == UP],
            empty=[t for t in answer.trays if t.state == NOTHING_SOWN],
            due={t.tray for t in waiting if _due(t, answer)},
            ways={t.tray: way_of(t, answer.at) for t in waiting},
            rests={t.tray: _rests(t, answer, on.display) for t in waiting},
            numbers={tray.name: tray.tray_id for tray in on.trays.values()},
            steps=STEPS,
        )


_ORDER = (LATE, ON_ITS_WAY, UNKNOWN, COMING_UP)


def _due(tray: TrayEmergence, answer: EmergenceAnswer) -> bool:
    """The middle of the band of the first seedling has passed: look."""
    first = tray.first.expected if tray.first else None
    return tray.state == ON_ITS_WAY and first is not None and first <= answer.at


def _urgency(tray: TrayEmergence, answer: EmergenceAnswer) -> tuple[int, float]:
    """Late first, then where to look, then by the day the first is expected."""
    first = tray.first.expected.timestamp() if tray.first and tray.first.expected else float("inf")
    return (0 if tray.state == LATE else 1 if _due(tray, answer) else 2 + _ORDER.index(tray.state)), first


def _rests(tray: TrayEmergence, answer: EmergenceAnswer, display: Display) -> list[str]:
    """What the dates rest on, in sentences."""
    if tray.done is None:
        return []
    second, opinion = degree_day_words(tray, display, answer.at), tray.degree_days
    return [
        warmth_words(tray, display),
        *([f"{second} From {opinion.source}."] if opinion else []),
        basis_words(tray),
        *filter(None, (unsure_words(tray),)),
        *([f"Ahead: {tray.outlook}."] if tray.outlook else []),
    ]
