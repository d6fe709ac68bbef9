"""Now: what needs a person, what will today, what is quiet."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.domain.hushes import untils
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.hushed import ask_hushed
from traywarden.services.questions.today import ask_today
from traywarden.web.channels import reaches_nobody
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get("/")
def now(request: Request) -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        places = sorted(place.name for place in on.places.values())
        try:
            answer = face.ask("today", ask_today)
        except (ShortOfDataError, UsageError) as short:
            return page(request, on, "nothing_yet.html", title="Now", why=str(short))
        trays = {tray.tray: tray for tray in answer.trays}
        ids = {tray.name: tray.tray_id for tray in on.trays.values()}
        return page(
            request,
            on,
            "now.html",
            title="Now",
            a=answer,
            trays=trays,
            ids=ids,
            places=places,
            hushed=ask_hushed(on),
            reaches=reaches_nobody(face),
            untils=untils(on.at(on.now_ms)),
        )
