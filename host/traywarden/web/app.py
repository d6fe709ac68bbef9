"""The pages put together: routes, what guards them, and errors in one sentence."""

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.sessions import SessionMiddleware

from traywarden.errors import NoGardenError, TraywardenError
from traywarden.services.signing import signing_key
from traywarden.web import (
    batches,
    calibrate,
    charts,
    download,
    garden_parts,
    hushing,
    journal,
    live,
    making,
    mixes,
    notices,
    now,
    once,
    places,
    planning,
    probes,
    settings,
    sign_in,
    sowings,
    start,
    theme,
    trays,
    weather,
    week,
    writing,
)
from traywarden.web.api import deeds, document, further_deeds, garden_questions, hushes, lists, questions
from traywarden.web.api.problems import not_valid, problem, status_of, told
from traywarden.web.attempts import Attempts
from traywarden.web.changes import Changes
from traywarden.web.door import Door, Keys
from traywarden.web.face import Face
from traywarden.web.pages import FOLDER, bare_page
from traywarden.web.refused import Refused
from traywarden.web.security import Guard

YEAR_S = 365 * 86_400
PAGES = (
    now,
    trays,
    places,
    mixes,
    sowings,
    batches,
    planning,
    weather,
    journal,
    week,
    download,
    writing,
    hushing,
    notices,
    theme,
    charts,
    live,
    start,
    making,
    probes,
    calibrate,
    garden_parts,
    settings,
    sign_in,
)
WITHOUT_A_SESSION = (once,)
API = (questions, garden_questions, lists, deeds, further_deeds, hushes, document)


def made_app(face: Face, changes: Changes, *, loopback: bool = True, secure: bool = False) -> FastAPI:
    """The application for one garden.

    `loopback`: it is served on this computer alone. `secure`: over TLS, so that cookies never go without.
    """
    app = FastAPI(title="Traywarden", docs_url=None, redoc_url=None, openapi_url=None)
    keys = Keys(face, signing_key(face.settings.home), loopback)
    app.state.link_attempts = Attempts()
    app.state.face, app.state.changes, app.state.keys, app.state.secure = face, changes, keys, secure
    app.state.refused = Refused()
    for module in (*PAGES, *WITHOUT_A_SESSION, *API):
        app.include_router(module.router)
    for name in ("styles", "scripts"):
        app.mount(f"/{name}", StaticFiles(directory=FOLDER / name), name=name)
    app.add_middleware(Door, keys=keys)
    app.add_middleware(
        SessionMiddleware,
        secret_key=keys.session_key,
        session_cookie="traywarden",
        same_site="strict",
        https_only=secure,
        max_age=YEAR_S,
    )
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(live.MadeAt, changes=changes)
    app.add_middleware(Guard, this_computer_alone=lambda: loopback and not keys.is_set())
    app.add_exception_handler(TraywardenError, _told)
    app.add_exception_handler(HTTPException, _no_such_page)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(Exception, _failed)
    return app


async def _told(request: Request, error: Exception) -> Response:
    if _for_a_program(request):
        return told(error)
    if isinstance(error, NoGardenError):
        return RedirectResponse("/start", status_code=303)
    status = 400 if status_of(error) == 404 else status_of(error)
    return bare_page(request, "refused.html", status=status, title="Not done", why=str(error))


async def _no_such_page(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    why = "There is no such page here." if status == 404 else "That cannot be asked of this page."
    if isinstance(error, HTTPException) and status == 413:
        why = str(error.detail)
    if _for_a_program(request):
        headers = error.headers if isinstance(error, HTTPException) else None
        return problem(status, why.replace("page", "address"), headers)
    return bare_page(request, "refused.html", status=status, title="Not here", why=why)


async def _not_valid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    if _for_a_program(request):
        return not_valid(error)
    why = "Something in this address cannot be; go on from a page."
    return bare_page(request, "refused.html", status=400, title="Not done", why=why)


async def _failed(request: Request, error: Exception) -> Response:
    """What no part foresaw; the server writes where it was into its log."""
    why = f"Traywarden failed where it should not ({type(error).__name__}); its log says where."
    return problem(500, why) if _for_a_program(request) else PlainTextResponse(why, 500)


def _for_a_program(request: Request) -> bool:
    return request.url.path.startswith("/api/")
