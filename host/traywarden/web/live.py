"""A line to every open page: “changed” when something was stored (server-sent events)."""

import asyncio
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse

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
        while not changes.ended:
            try:
                number = await asyncio.wait_for(queue.get(), STILL_HERE_S)
            except TimeoutError:
                if await request.is_disconnected():
                    return
                yield ": still here\n\n"
                continue
            if not changes.ended:
                yield f"event: changed\ndata: {number}\n\n"
    finally:
        changes.leave(queue)
