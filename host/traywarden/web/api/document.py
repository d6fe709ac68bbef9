"""The document that describes the addresses for programs (OpenAPI), and a page of it for people."""

import threading
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from fastapi.openapi.utils import get_openapi
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.routing import APIRoute

from traywarden import __version__
from traywarden.web.api import deeds, further_deeds, garden_questions, hushes, lists, questions
from traywarden.web.api.answering import ANSWERS
from traywarden.web.api.problems import MEDIA_TYPE, SCHEMA, STATUSES
from traywarden.web.pages import bare_page

router = APIRouter(include_in_schema=False)
REF = "#/components/schemas/{model}"
ABOUT = (
    "The questions of the command line and the journal of a garden, for other programs. Every address "
    "answers what the command of that name prints with `--json`, and takes the command's long options as "
    "parameters. Where a token is needed it is sent as `Authorization: Bearer TOKEN`. "
    "A number that is not known is null."
)
NAMED = {
    "tray": "A tray, by its name.",
    "other": "Another tray to hold it against.",
    "place": "A place, by its name.",
    "place_a": "The place.",
    "place_b": "The place it is held against.",
    "frame": "A covered place.",
    "subject": "A tray, or a place.",
    "mix": "A mix, by its name.",
    "a": "One mix.",
    "b": "The other mix.",
    "crop": "A crop, by its name or another it goes by.",
    "lot": "A lot, by its name.",
    "what": "A lot, or a crop.",
    "name": "Its name.",
    "notice": "The notice's id, or enough of its beginning.",
    "entry": "The number of the entry.",
    "hush": "The number of the hush.",
}
"""What parameters mean that are called the same everywhere."""
NUMBER_OR_NULL = ["number", "null"]
_making = threading.Lock()


@router.get("/api/openapi.json")
def openapi(request: Request) -> JSONResponse:
    del request
    return JSONResponse(document())


@router.get("/api", response_class=HTMLResponse)
def page(request: Request) -> Response:
    """The document for people to read."""
    made = document()
    groups: dict[str, list[dict[str, Any]]] = {}
    for address, methods in made["paths"].items():
        for method, told in methods.items():
            row = {"method": method.upper(), "address": address, "takes": _takes(made, told), **told}
            groups.setdefault(told["tags"][0], []).append(row)
    bodies = made["components"]["schemas"]
    kinds = [bodies[each.__name__] for each in DEEDS_IN_WORDS]
    return bare_page(request, "api.html", title="For other programs", groups=groups, kinds=kinds, about=ABOUT)


def _takes(made: dict[str, Any], told: dict[str, Any]) -> dict[str, Any] | None:
    """The schema of what is sent there, where it is one."""
    sent = told.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
    found: dict[str, Any] | None = made["components"]["schemas"].get(sent.get("$ref", "").rpartition("/")[2])
    return found


DEEDS_IN_WORDS = (
    deeds.Sowed,
    deeds.Watered,
    deeds.Moved,
    deeds.Emerged,
    deeds.PottedUp,
    deeds.PlantedOut,
    deeds.Weighed,
    deeds.Levelled,
    deeds.Vented,
    deeds.Closed,
    deeds.Rained,
    deeds.Noted,
)


def document() -> dict[str, Any]:
    """The OpenAPI document, made when it is first asked for: its many schemas take a second or so."""
    with _making:
        return _document()


@lru_cache(maxsize=1)
def _document() -> dict[str, Any]:
    routes = [
        each
        for module in (questions, garden_questions, lists, deeds, further_deeds, hushes)
        for each in module.router.routes
    ]
    made = get_openapi(title="Traywarden", version=__version__, description=ABOUT, routes=routes)
    schemas = made["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    answered, more = _answers([each for each in routes if isinstance(each, APIRoute)])
    schemas.update(more)
    schemas["Problem"] = SCHEMA
    made["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
    for route, method, told in _operations(routes, made["paths"]):
        writes = method == "post"
        status = str(route.status_code or 200)
        told["responses"] = {
            status: {
                "description": "The answer.",
                "content": {"application/json": {"schema": answered[route.path, method]}},
            },
            **{
                str(number): {
                    "description": says,
                    "content": {MEDIA_TYPE: {"schema": {"$ref": REF.format(model="Problem")}}},
                }
                for number, says in STATUSES.items()
                if writes or number != 413
            },
        }
        for parameter in told.get("parameters", ()):
            if parameter["name"] in NAMED:
                parameter.setdefault("description", NAMED[parameter["name"]])
        told["security"] = [{"token": []}] if writes else [{"token": []}, {}]
    return made


def _operations(routes: list[Any], paths: dict[str, Any]) -> Iterator[tuple[APIRoute, str, dict[str, Any]]]:
    for route in routes:
        if isinstance(route, APIRoute):
            for method in route.methods or ():
                yield route, method.lower(), paths[route.path][method.lower()]


def _answers(routes: list[APIRoute]) -> tuple[dict[tuple[str, str], Any], dict[str, Any]]:
    """What each address answers, and the schemas that this refers to; made from the answers' dataclasses."""
    # imported here because nobody but a reader of the document needs it
    from pydantic import TypeAdapter

    of = {(r.path, method.lower()): ANSWERS[r.endpoint] for r in routes for method in r.methods or ()}
    asked = [(key, "serialization", TypeAdapter(kind)) for key, kind in of.items()]
    found, shared = TypeAdapter.json_schemas(asked, ref_template=REF)  # type: ignore[arg-type]
    whole = {key: _or_null(schema) for (key, _), schema in found.items()}
    return whole, _or_null(shared.get("$defs", {}))


def _or_null(schema: Any) -> Any:
    """A number of an answer may be unknown, which is null. Pairs of the same are told as a list of two."""
    if isinstance(schema, list):
        return [_or_null(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    made = {name: _or_null(each) for name, each in schema.items()}
    if made.get("type") == "number":
        made["type"] = list(NUMBER_OR_NULL)
    if made.get("anyOf") == [{"type": NUMBER_OR_NULL}, {"type": "null"}]:
        del made["anyOf"]
        made["type"] = list(NUMBER_OR_NULL)
    pair = made.get("prefixItems", [])
    if pair and all(each == pair[0] for each in pair) and "items" not in made:
        made["items"] = made.pop("prefixItems")[0]
    return made
