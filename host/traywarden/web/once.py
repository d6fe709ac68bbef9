"""Links of notices: a page that says what one would do, and the button that does it, once.

Opening the page does nothing: programs that look through mail open every link. It needs no password and no
session; the link itself is the right to do this one thing.
"""

import math

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from traywarden.errors import TraywardenError, UsageError
from traywarden.services.one_time import NO_LINK, Links, Offer
from traywarden.web.attempts import Attempts
from traywarden.web.door import ONCE
from traywarden.web.face import Face
from traywarden.web.pages import bare_page, face_of

LONGEST_COUNT = 6
router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)


@router.get(ONCE + "{token}")
def look(request: Request, token: str) -> Response:
    if wait := _wait(request):
        return wait
    try:
        offer = _offer(face_of(request), token)
    except TraywardenError as error:
        return _not_done(request, error)
    _right(request)
    return _page(request, offer=offer, action=request.url.path)


@router.post(ONCE + "{token}")
async def do(request: Request, token: str) -> Response:
    if wait := _wait(request):
        return wait
    try:
        way, count = await _chosen(request)
        did = await run_in_threadpool(_do, face_of(request), token, way, count)
    except TraywardenError as error:
        return _not_done(request, error)
    _right(request)
    return _page(request, did=did)


def _offer(face: Face, token: str) -> Offer:
    with face.asking() as on:
        return Links(face.settings).offer(on, token)


async def _chosen(request: Request) -> tuple[str, int | None]:
    """Which button was pressed, and what was counted."""
    form = await request.form(max_files=0, max_fields=4)
    way, count = (str(form.get(name) or "").strip() for name in ("way", "count"))
    if count and not (count.isascii() and count.isdecimal() and len(count) <= LONGEST_COUNT):
        raise UsageError(f"“{count[:20]}” is not a whole number of seedlings.")
    return way, int(count) if count else None


def _do(face: Face, token: str, way: str, count: int | None) -> str:
    with face.asking() as on, face.store.write() as tx:
        did = Links(face.settings).do(tx, on, token, way, count)
    face.answers.written()
    return did


def _attempts(request: Request) -> Attempts:
    found: Attempts = request.app.state.link_attempts
    return found


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


def _right(request: Request) -> None:
    _attempts(request).right(_address(request))


def _wait(request: Request) -> Response | None:
    """Links that are none are tried no faster than passwords."""
    wait_s = math.ceil(_attempts(request).begin(_address(request)))
    if not wait_s:
        return None
    answer = _page(request, problem=f"Too many links that are none; wait {wait_s} s.", status=429)
    answer.headers["retry-after"] = str(wait_s)
    return answer


def _not_done(request: Request, error: TraywardenError) -> Response:
    if str(error) != NO_LINK:
        _right(request)  # a link of ours that is used up or too old is no guess
    return _page(request, problem=str(error), status=404)


def _page(
    request: Request,
    *,
    offer: Offer | None = None,
    action: str = "",
    did: str = "",
    problem: str = "",
    status: int = 200,
) -> HTMLResponse:
    shown = {"offer": offer, "action": action, "did_it": did, "why": problem}
    return bare_page(request, "once.html", title="From a notice", status=status, navigation=[], **shown)
