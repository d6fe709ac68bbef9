"""Notices: what was told lately, and what became of it."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from traywarden.domain.notices import NoticeState
from traywarden.services.questions.notices import ask_notices
from traywarden.web.channels import reaches_nobody
from traywarden.web.pages import face_of, page

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
MOST = 60
"""More than a grower scrolls through; the command line has them all."""


@router.get("/notices")
def notices(request: Request) -> HTMLResponse:
    face = face_of(request)
    with face.asking() as on:
        answer = ask_notices(on.tx, MOST, with_sent=True)
        spared = [n for n in answer.notices if n.state == NoticeState.SPARED.value]
        told = [n for n in answer.notices if n not in spared]
        return page(
            request,
            on,
            "notices.html",
            title="Notices",
            a=answer,
            told=told,
            spared=spared,
            reaches=reaches_nobody(face),
        )
