"""What every address for programs shares: bounded parameters, and an answer that is what `--json` prints."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Query, Request
from fastapi.responses import Response
from fastapi.routing import APIRoute

from traywarden.errors import UsageError, asked, did_you_mean
from traywarden.services.plain import json_text
from traywarden.services.questions.days import day_of
from traywarden.services.questions.ground import Ground
from traywarden.web.answers import FRESH_S
from traywarden.web.pages import face_of

ADDRESS = "/api/v1"
TEXT = r"^[^\x00]*$"
"""No database takes the character of code 0."""
LONGEST_DAYS = 3660.0
LEAST_DAYS = 0.1

Name = Annotated[str, Query(max_length=200, pattern=TEXT)]
Word = Annotated[str, Query(max_length=40, pattern=TEXT)]
Days = Annotated[float, Query(ge=LEAST_DAYS, le=LONGEST_DAYS, description="How far back to look.")]
From = Annotated[
    str,
    Query(
        alias="from",
        max_length=40,
        pattern=TEXT,
        description="First day, such as 2026-03-01 or “7 days ago”.",
    ),
]
To = Annotated[str, Query(max_length=40, pattern=TEXT, description="Last day; default today.")]
Air = Annotated[bool | None, Query(description="true: the air; false: the soil of the trays.")]
Limit = Annotated[int, Query(ge=1, le=10_000, description="The newest so many.")]

F = TypeVar("F", bound=Callable[..., Any])
ANSWERS: dict[Callable[..., Any], Any] = {}
"""What the handler of an address answers, for the document that describes it."""


def answers(kind: Any) -> Callable[[F], F]:
    """Say what a handler answers with: a dataclass, or a list of them."""

    def mark(handler: F) -> F:
        ANSWERS[handler] = kind
        return handler

    return mark


def known_alone(request: Request) -> None:
    """A parameter that is not there is said, not passed over: a slip of the pen changes the question."""
    route: APIRoute = request.scope["route"]
    known = [field.alias for field in route.dependant.query_params]
    for name in request.query_params:
        if name not in known:
            raise UsageError(
                asked(f"There is no parameter “{name[:80]}” here{did_you_mean(name[:80], known)}.")
            )


KNOWN_ALONE = [Depends(known_alone)]


def answered(request: Request, question: Callable[[Ground], Any]) -> Response:
    """The answer to a question, worked out once for all who ask the same.

    Programs ask every so often: one that asked ten minutes ago must not get what was so then.
    """
    asked = ("api", request.url.path, tuple(request.query_params.multi_items()))
    return as_json(face_of(request).ask(asked, lambda on: json_text(question(on)), stale_s=FRESH_S))


def as_json(text: str, status: int = 200) -> Response:
    return Response(text + "\n", status, media_type="application/json")


def span(on: Ground, start: str, end: str) -> tuple[date | None, date | None]:
    return day_of(on, start), day_of(on, end)


def measured(air: bool | None) -> str:
    return "" if air is None else "air" if air else "soil"
