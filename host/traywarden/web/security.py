"""What stands before every page: which hosts may ask, what a page may load, and that a form is our own."""

import hmac
import secrets
from collections.abc import Callable, Mapping

from fastapi import HTTPException
from fastapi.responses import PlainTextResponse
from starlette.datastructures import FormData, Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from traywarden.errors import UsageError
from traywarden.web.api.problems import problem

MOST_FORM_BYTES = 1 << 20
MOST_API_BYTES = 1 << 16
UPLOAD = "/weather/upload"
"""Where a file may be sent, of up to MOST_UPLOAD_BYTES: some thirty years of hours."""
MOST_UPLOAD_BYTES = 32 << 20
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


class Guard:
    """Adds the headers, refuses hosts that are not ours, and bodies longer than a form can be.

    Where this computer alone is served only its own names are ours: a page elsewhere whose name was turned to
    127.0.0.1 must not read this garden. With a password it would have to sign in, as no cookie goes with that
    name; so then any name will do, as it must behind a proxy.
    """

    def __init__(self, app: ASGIApp, *, this_computer_alone: Callable[[], bool]) -> None:
        self._app, self._alone = app, this_computer_alone

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers, of_api = Headers(scope=scope), scope["path"].startswith("/api/")
        most = MOST_API_BYTES if of_api else MOST_FORM_BYTES
        if scope["path"] == UPLOAD:
            most = MOST_UPLOAD_BYTES
        if _name(headers.get("host", "")) not in LOOPBACK and self._alone():
            refusal = 421, "This garden answers on this computer alone, as http://localhost."
        elif scope["method"] not in ("GET", "HEAD") and not _same_origin(headers):
            refusal = 403, "This came from another site's page; open the garden's own page."
        elif _length(headers) > most:
            refusal = 413, _too_long(most)
        else:
            await self._app(scope, _bounded(receive, most), _guarded(send))
            return
        status, why = refusal
        answer = problem(status, why) if of_api else PlainTextResponse(why, status)
        await answer(scope, receive, _guarded(send))


def _too_long(most: int) -> str:
    return f"That is longer than the {most >> 10} KiB that may be sent."


def _bounded(receive: Receive, most: int) -> Receive:
    """A body that does not say how long it is ends where it grows too long."""
    come = 0

    async def bounded() -> Message:
        nonlocal come
        message = await receive()
        come += len(message.get("body", b""))
        if come > most:
            raise HTTPException(413, _too_long(most))
        return message

    return bounded


def _name(host: str) -> str:
    return host.rpartition(":")[0] if host.rpartition(":")[2].isdigit() else host


def _same_origin(headers: Mapping[str, str]) -> bool:
    """Whether a browser says that the request comes from our own page, or no browser asks."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or origin.partition("://")[2] == headers.get("host")


def _length(headers: Mapping[str, str]) -> int:
    length = headers.get("content-length", "0")
    return int(length) if length.isdigit() else MOST_FORM_BYTES + 1


def _guarded(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return guarded


def form_token(request: Request) -> str:
    """What every form of this visitor carries, made at the first one."""
    if "form" not in request.session:
        request.session["form"] = secrets.token_urlsafe(24)
    token: str = request.session["form"]
    return token


async def form_of(request: Request) -> FormData:
    """What was sent. Raises UsageError where it is no form of ours."""
    form = await request.form(max_files=1, max_fields=2000)
    sent, known = form.get("form_token"), request.session.get("form")
    if not isinstance(sent, str) or not known or not hmac.compare_digest(sent.encode(), known.encode()):
        await form.close()
        raise UsageError(
            "This form is too old or not from this page, so nothing was written; open the page anew and send "
            "it again."
        )
    return form
