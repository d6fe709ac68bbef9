"""Hushing from another program: nothing is sent about a tray, a place or all of it until a time."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from traywarden.services.hushing import LONGEST_WHO, LONGEST_WHY, Wish
from traywarden.services.plain import json_text
from traywarden.services.questions.hushed import HushedAnswer, HushLine, ask_hushed
from traywarden.services.questions.worth import DAYS, WorthAnswer, ask_worth
from traywarden.web.api.answering import ADDRESS, KNOWN_ALONE, TEXT, Days, answered, answers, as_json
from traywarden.web.api.lists import Everything
from traywarden.web.hushing import put_down, take_back
from traywarden.web.pages import face_of

router = APIRouter(prefix=ADDRESS, dependencies=KNOWN_ALONE, tags=["Notices"])
BIGGEST_NUMBER = 2**31 - 1
A_PROGRAM = "a program"
Name = Annotated[str, Field(max_length=200, pattern=TEXT)]


class HushWish(BaseModel):
    """What to hush: a `tray`, a `place`, or `all`; every rule, or one; until when, by whom and why."""

    model_config = ConfigDict(extra="forbid", strict=True)

    until: Annotated[str, Field(min_length=1, max_length=60, pattern=TEXT)]
    tray: Name = ""
    place: Name = ""
    everything: Annotated[bool, Field(alias="all")] = False
    rule: Annotated[str, Field(max_length=40, pattern=TEXT)] = ""
    who: Annotated[str, Field(max_length=LONGEST_WHO, pattern=TEXT)] = ""
    why: Annotated[str, Field(max_length=LONGEST_WHY, pattern=TEXT)] = ""


@router.get("/notices/hushed")
@answers(HushedAnswer)
def hushed(request: Request, everything: Everything = False) -> Response:
    """What is hushed now (with `all` also what was): until when, by whom and why."""
    return answered(request, lambda on: ask_hushed(on, everything=everything))


@router.get("/notices/worth")
@answers(WorthAnswer)
def worth(request: Request, days: Days = DAYS) -> Response:
    """Which notices led to something in the journal, and which setting would spare some of the others."""
    return answered(request, lambda on: ask_worth(on, days))


@router.post("/notices/hush", status_code=201)
@answers(HushLine)
def hush(request: Request, wish: HushWish) -> Response:
    """Send nothing about it until a time; what still holds then is told then."""
    asked = Wish(
        wish.until, wish.tray, wish.place, wish.everything, wish.rule, wish.who or A_PROGRAM, wish.why
    )
    return as_json(json_text(put_down(face_of(request), asked)), status=201)


@router.post("/notices/hush/{hush}/undo", status_code=201)
@answers(HushLine)
def unhush(request: Request, hush: Annotated[int, Path(ge=1, le=BIGGEST_NUMBER)]) -> Response:
    """Take a hush back; what it kept quiet and still holds is told."""
    return as_json(json_text(take_back(face_of(request), hush, A_PROGRAM)), status=201)
