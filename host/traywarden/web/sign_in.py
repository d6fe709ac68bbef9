"""Signing in and out, where a password is set."""

import math

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from traywarden.errors import UsageError
from traywarden.services.password import matches, set_password
from traywarden.web.door import SIGN_IN, Keys, keys_of
from traywarden.web.pages import back_to, bare_page, face_of
from traywarden.web.security import form_of

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
WRONG = "This is not the password."


@router.get(SIGN_IN)
def sign_in_page(request: Request, back: str = "/") -> Response:
    keys = keys_of(request)
    kept = keys.kept()
    if not kept or keys.is_signed(request.session, kept):
        return back_to(request, back)
    return _page(request, back)


@router.post(SIGN_IN)
async def sign_in(request: Request) -> Response:
    form = await form_of(request)
    password, back = form.get("password"), form.get("back")
    back = back if isinstance(back, str) else "/"
    keys, address = keys_of(request), request.client.host if request.client else ""
    wait_s = keys.attempts.begin(address)
    if wait_s > 0:
        wait = math.ceil(wait_s)
        answer = _page(request, back, _wait_words(wait), status=429)
        answer.headers["retry-after"] = f"{wait}"
        return answer
    if not isinstance(password, str) or not await run_in_threadpool(_is_right, keys, password):
        return _page(request, back, WRONG, status=403)
    keys.attempts.right(address)
    keys.sign(request.session)
    return back_to(request, back)


@router.post("/password")
async def new_password(request: Request) -> Response:
    """Set the password; where there is one already only with that, and no faster than one may sign in."""
    form = await form_of(request)
    keys, address = keys_of(request), request.client.host if request.client else ""
    now, new, again = (str(form.get(name) or "") for name in ("now", "new", "again"))
    if keys.kept():
        wait_s = keys.attempts.begin(address)
        if wait_s > 0:
            return back_to(request, form.get("back"), problem=_wait_words(math.ceil(wait_s)))
        if not await run_in_threadpool(_is_right, keys, now):
            return back_to(request, form.get("back"), problem=f"{WRONG} The old one holds.")
        keys.attempts.right(address)
    if new != again:
        return back_to(
            request, form.get("back"), problem="The two were not the same; give the new one twice."
        )
    try:
        await run_in_threadpool(set_password, face_of(request).settings.home, new)
    except UsageError as error:
        return back_to(request, form.get("back"), problem=str(error))
    keys.sign(request.session)
    return back_to(
        request, form.get("back"), says="The password is set; whoever is signed in elsewhere signs in anew."
    )


@router.post("/sign-out")
async def sign_out(request: Request) -> Response:
    await form_of(request)
    request.session.clear()
    return RedirectResponse(SIGN_IN, status_code=303)


def _wait_words(wait_s: int) -> str:
    return f"There were too many wrong tries; try again in {wait_s} second{'' if wait_s == 1 else 's'}."


def _is_right(keys: Keys, password: str) -> bool:
    with keys.attempts.checking:
        return matches(keys.kept(), password)


def _page(request: Request, back: str, why: str = "", *, status: int = 200) -> Response:
    return bare_page(
        request, "sign_in.html", status=status, title="Sign in", why=why, after=back, navigation=[]
    )
