"""Hushing from a page and taking it back; trying again what a channel did not take."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.domain.clock_words import clock
from traywarden.domain.hushes import Hush
from traywarden.domain.notice_words import rule_words
from traywarden.errors import TraywardenError, UsageError
from traywarden.services.hushing import Wish, end_hush, put_hush
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.hushed import HushLine, hush_line
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx
from traywarden.web.face import Face
from traywarden.web.pages import back_to, face_of
from traywarden.web.security import form_of
from traywarden.web.writing import Written

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
BY_THE_PAGE = "a tap on the page"


@router.post("/hush")
async def hush(request: Request) -> Response:
    form = await form_of(request)
    try:
        line = await run_in_threadpool(put_down, face_of(request), _wish(Written.of(form)))
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    until = clock(line.until, line.since)
    return back_to(request, form.get("back"), says=f"Hushed until {until}: {about(line)}.")


@router.post("/hush/undo")
async def undo(request: Request) -> Response:
    form = await form_of(request)
    number = str(form.get("hush"))
    try:
        if not number.isdecimal() or len(number) > 9:
            raise UsageError("Say which hush to take back.")
        line = await run_in_threadpool(take_back, face_of(request), int(number), BY_THE_PAGE)
    except TraywardenError as error:
        return back_to(request, form.get("back"), problem=str(error))
    return back_to(request, form.get("back"), says=f"Heard of again: {about(line)}.")


@router.post("/notices/retry")
async def retry(request: Request) -> Response:
    form = await form_of(request)
    channel = str(form.get("channel") or "")
    number = await run_in_threadpool(_freed, face_of(request), channel)
    tried = f"{number} given-up {'notice is' if number == 1 else 'notices are'} tried again."
    return back_to(
        request, form.get("back"), says=tried if number else "What waits is tried again by itself."
    )


def _freed(face: Face, channel: str) -> int:
    with face.store.write() as tx:
        number = notice_store.free_parked(tx, channel, face.now_ms())
    face.answers.written()
    return number


def about(line: HushLine) -> str:
    """“lettuce, water now”, “everything in Cold frame”, “everything”."""
    what = line.name if line.about != "place" else f"everything in {line.name}"
    what = "everything" if line.about == "all" else what
    return f"{what}, {rule_words(line.rule)}" if line.rule else what


def put_down(face: Face, wish: Wish) -> HushLine:
    return _written(face, lambda tx, on: put_hush(tx, wish, face.settings, on.now_ms))


def take_back(face: Face, number: int, who: str) -> HushLine:
    return _written(face, lambda tx, on: end_hush(tx, number, who, on.now_ms))


def _written(face: Face, write: Callable[[Tx, Ground], Hush]) -> HushLine:
    with face.asking() as on, face.store.write() as tx:
        line = hush_line(on, write(tx, on))
    face.answers.written()
    return line


def _wish(written: Written) -> Wish:
    tray, place = written.trays[0] if written.trays else "", written.text("place")
    return Wish(
        written.text("until"),
        tray,
        place,
        not tray and not place and "place" in written.fields,
        written.text("rule"),
        written.text("who") or BY_THE_PAGE,
        written.text("why"),
    )
