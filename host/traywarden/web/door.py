"""Who is let in: a visitor who signed in, a program with a token; this computer alone without a password."""

import urllib.parse
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from traywarden.errors import TraywardenError
from traywarden.services.password import kept_hash, signed_by
from traywarden.services.tokens import let_in
from traywarden.store.tokens import Token
from traywarden.web.api.problems import problem
from traywarden.web.attempts import Attempts
from traywarden.web.face import Face

SIGNED_IN_MS = 30 * 86_400_000
"""Then one signs in again (common practice, no source)."""
SIGN_IN = "/sign-in"
OPEN = (SIGN_IN, "/styles/traywarden.css", "/styles/icon.svg", "/scripts/live.js", "/theme")
ONCE = "/once/"
"""Links of notices: each is the right to do one thing once."""
FOR_PROGRAMS = ("/api/", "/charts/", "/live")
"""Where a token serves instead of a visitor's signing in."""
_NO_PASSWORD = (
    "There is no password any more, so only this computer may ask; set one with: traywarden password set"
)
_NO_TOKEN = (
    "Send a token, as the header “Authorization: Bearer TOKEN”; make one with: traywarden token add NAME"
)
_WRONG_TOKEN = "This token is not known here; make one with: traywarden token add NAME"
_NO_WRITING = "This token may only ask; make one that may write with: traywarden token add NAME --write"


@dataclass(frozen=True)
class Keys:
    """What opens the door. `session_key` signs the visitors' cookies."""

    face: Face
    session_key: str
    loopback: bool
    attempts: Attempts = field(default_factory=Attempts)

    def is_set(self) -> bool:
        """Whether a password is set; where its file cannot be read, that there is one."""
        try:
            return bool(self.kept())
        except TraywardenError:
            return True

    def kept(self) -> str:
        """The hash of the password; empty where none is set."""
        return kept_hash(self.face.settings.home)

    def sign(self, session: dict[str, Any]) -> None:
        """Remember that this visitor gave the password; nothing of before is kept."""
        session.clear()
        session["signed"] = signed_by(self.session_key, self.kept())
        session["signed_ms"] = self.face.now_ms()

    def is_signed(self, session: dict[str, Any], kept: str) -> bool:
        at_ms = session.get("signed_ms")
        if not isinstance(at_ms, int) or not 0 <= self.face.now_ms() - at_ms < SIGNED_IN_MS:
            return False
        return bool(kept) and session.get("signed") == signed_by(self.session_key, kept)

    def token(self, header: str) -> Token | None:
        with self.face.store.read() as tx:
            return let_in(tx, header.partition(" ")[2].strip())


class Door:
    """Stands before every address; what it lets through may be answered."""

    def __init__(self, app: ASGIApp, *, keys: Keys) -> None:
        self._app, self._keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        try:
            refusal = await self._refusal(scope)
        except TraywardenError as error:
            refusal = problem(503, str(error)) if _of_api(scope) else PlainTextResponse(str(error), 503)
        await (refusal or self._app)(scope, receive, send)

    async def _refusal(self, scope: Scope) -> Response | None:
        path, header = scope["path"], Headers(scope=scope).get("authorization", "")
        kept = self._keys.kept()  # a line of a file: sooner read than handed to a thread
        if header.lower().startswith("bearer ") and path.startswith(FOR_PROGRAMS):
            return self._of_token(scope, await run_in_threadpool(self._keys.token, header))
        if not kept and not self._keys.loopback:
            return _refused(scope, 403, _NO_PASSWORD)
        if _of_api(scope) and scope["method"] == "POST":
            return _refused(scope, 401, _NO_TOKEN)
        if not kept or path in OPEN or path.startswith(ONCE) or self._keys.is_signed(scope["session"], kept):
            return None
        if path.startswith(FOR_PROGRAMS):
            return _refused(scope, 401, _NO_TOKEN)
        return RedirectResponse(_sign_in_for(scope) if _asks(scope) else SIGN_IN, 303)

    def _of_token(self, scope: Scope, token: Token | None) -> Response | None:
        if token is None:
            return _refused(scope, 401, _WRONG_TOKEN)
        if _asks(scope) or (token.writes and _of_api(scope)):
            return None
        return _refused(scope, 403, _NO_WRITING)


def keys_of(request: Request) -> Keys:
    found: Keys = request.app.state.keys
    return found


def _asks(scope: Scope) -> bool:
    return scope["method"] in ("GET", "HEAD")


def _of_api(scope: Scope) -> bool:
    return bool(scope["path"].startswith("/api/"))


def _refused(scope: Scope, status: int, why: str) -> Response:
    made = problem(status, why) if _of_api(scope) else PlainTextResponse(why, status)
    if status == 401:
        made.headers["www-authenticate"] = 'Bearer realm="traywarden"'
    return made


def _sign_in_for(scope: Scope) -> str:
    """The page to sign in on, which leads back to what was asked for."""
    wanted = scope["path"] + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else "")
    return SIGN_IN if wanted == "/" else f"{SIGN_IN}?{urllib.parse.urlencode({'back': wanted[:2000]})}"
