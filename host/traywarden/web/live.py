"""A line to every open page: the number of the newest change, at once and whenever there is one.

A page knows the number it was made at (`made_at`), so that it also sees what was stored between its being
made and its line being open, and while the line was broken (server-sent events).
"""

import asyncio
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from traywarden.web.changes import Changes

router = APIRouter(include_in_schema=False)
STILL_HERE_S = 15.0


@router.get("/live")
async def live(request: Request) -> StreamingResponse:
    changes: Changes = request.app.state.changes
    return StreamingResponse(_events(request, changes), media_type="text/event-stream")


async def _events(request: Request, changes: Changes) -> AsyncIterator[str]:
    queue = changes.listen()
    try:
        yield "retry: 3000\n\n"
        yield _told(changes.number)
        while not changes.ended:
            try:
                number = await asyncio.wait_for(queue.get(), STILL_HERE_S)
            except TimeoutError:
                if await request.is_disconnected():
                    return
                yield ": still here\n\n"
                continue
            if not changes.ended:
                yield _told(number)
    finally:
        changes.leave(queue)


def _told(number: int) -> str:
    return f"event: changed\ndata: {number}\n\n"


class MadeAt:
    """Notes at the beginning of a request which change was the newest, for the page made of it."""

    def __init__(self, app: ASGIApp, changes: Changes) -> None:
        self._app, self._changes = app, changes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope.setdefault("state", {})["change"] = self._changes.number
        await self._app(scope, receive, send)


def made_at(request: Request) -> int:
    """The newest change when this request came in."""
    number: int = request.state.change
    return number
