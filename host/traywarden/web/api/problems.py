"""Errors as other programs read them: application/problem+json (RFC 9457), with one sentence."""

from collections.abc import Mapping
from http import HTTPStatus

from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse

from traywarden.errors import ShortOfDataError, StoreError, UnknownNameError

MEDIA_TYPE = "application/problem+json"
STATUSES = {
    400: "It cannot be asked or written like that.",
    401: "A token is needed, or it is not known.",
    403: "The token may only ask, or the request comes from another site's page.",
    404: "There is nothing of that name or number.",
    409: "The readings do not suffice for an answer.",
    413: "The request is longer than allowed.",
    421: "Only this computer is answered, under its own names.",
    422: "A value is missing, is none that it can be, or lies outside its bounds.",
    503: "The store cannot be reached now.",
}
SCHEMA = {
    "type": "object",
    "description": "A problem as RFC 9457 has it; `detail` is one sentence: what is wrong, and what to do.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "const": "about:blank"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
    },
}


def problem(status: int, detail: str, headers: Mapping[str, str] | None = None) -> JSONResponse:
    """`about:blank` says that the title is that of the status, as RFC 9457 section 4.2.1 asks."""
    body = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": detail}
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE, headers=headers)


def status_of(error: Exception) -> int:
    if isinstance(error, StoreError):
        return 503
    if isinstance(error, UnknownNameError):
        return 404
    return 409 if isinstance(error, ShortOfDataError) else 400


def told(error: Exception) -> JSONResponse:
    """One of our own errors."""
    return problem(status_of(error), str(error))


def not_valid(error: RequestValidationError) -> JSONResponse:
    """The first value that cannot be, and what it may be."""
    first = error.errors()[0]
    where = [str(part) for part in first["loc"][1:]] or ["body"]
    says = str(first["msg"])
    if first["type"] == "missing":
        return problem(422, f"“{'.'.join(where)}” is missing; give it.")
    if first["type"] == "extra_forbidden":
        return problem(422, f"There is nothing called “{where[-1][:80]}” here; leave it out.")
    return problem(422, f"“{'.'.join(where)[:200]}” cannot be used: {says[:1].lower()}{says[1:]}.")
