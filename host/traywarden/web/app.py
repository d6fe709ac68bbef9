"""The pages put together: routes, what guards them, and errors in one sentence."""

from fastapi import FastAPI, Request
from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.sessions import SessionMiddleware

from traywarden.errors import ShortOfDataError, StoreError, TraywardenError
from traywarden.web import batches, charts, journal, live, now, planning, sowings, theme, writing
from traywarden.web.changes import Changes
from traywarden.web.face import Face
from traywarden.web.pages import FOLDER, bare_page
from traywarden.web.security import Guard, session_key

YEAR_S = 365 * 86_400
PAGES = (now, sowings, batches, planning, journal, writing, theme, charts, live)


def made_app(face: Face, changes: Changes, *, loopback: bool = True) -> FastAPI:
    """The application for one garden. `loopback`: it is served on this computer alone."""
    app = FastAPI(title="Traywarden", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.face, app.state.changes = face, changes
    for module in PAGES:
        app.include_router(module.router)
    for name in ("styles", "scripts"):
        app.mount(f"/{name}", StaticFiles(directory=FOLDER / name), name=name)
    app.add_middleware(
        SessionMiddleware,
        secret_key=session_key(face.settings.home),
        session_cookie="traywarden",
        same_site="strict",
        max_age=YEAR_S,
    )
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Guard, loopback=loopback)
    app.add_exception_handler(TraywardenError, _told)
    app.add_exception_handler(HTTPException, _no_such_page)
    return app


async def _told(request: Request, error: Exception) -> Response:
    status = 503 if isinstance(error, StoreError) else 409 if isinstance(error, ShortOfDataError) else 400
    return bare_page(request, "refused.html", status=status, title="Not done", why=str(error))


async def _no_such_page(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    why = "There is no such page here." if status == 404 else "That cannot be asked of this page."
    return bare_page(request, "refused.html", status=status, title="Not here", why=why)
