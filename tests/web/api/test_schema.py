"""The document keeps its word, whatever is asked: made-up requests, right and wrong, of the real application.

Three weeks of an invented garden answer; names are drawn from those it has and from some it has not, so that
questions get past the name. Every run makes up the same requests.
"""

import copy
from collections.abc import Iterator
from typing import Any

import hypothesis
import pytest
import schemathesis
from schemathesis import checks
from schemathesis.specs.openapi import checks as openapi_checks

from tests.web.conftest import Visitor
from tests.web.season_home import season_home
from traywarden.services.tokens import make_token
from traywarden.web.api.document import document

QUESTIONS, DEEDS = 8, 5
"""Requests drawn for each address. Questions take the same few kinds of parameter everywhere, so drawing is
enough for each; a deed has fields of its own: of it every boundary is tried besides.
"""
TRAYS = ["Tray 1", "Tray 3", "Tray 9", "nowhere"]
PLACES = ["cold frame", "open bench", "dappled shade", "nowhere"]
MIXES = ["Open mix", "Heavy mix", "nowhere"]
CROPS = ["tomato", "lettuce", "pepper", "nothing"]
DAYS = ["", "2026-03-15", "7 days ago", "yesterday", "2026-02-30", "soon"]
NAMES = {
    "tray": ["", *TRAYS], "other": ["", *TRAYS], "subject": [*TRAYS, *PLACES],
    "place": PLACES, "place_a": PLACES, "place_b": PLACES, "frame": PLACES, "against": ["", *PLACES],
    "mix": ["", *MIXES], "a": MIXES, "b": MIXES,
    "crop": CROPS, "what": [*CROPS, "Roma 2025"], "lot": ["Roma 2025", "nothing"],
    "from": DAYS, "to": DAYS, "at": ["", "2 h ago", "yesterday 18:00", "soon"],
    "month": ["", "3", "March", "13", "never"], "kind": ["", "watered", "flower", "painted"],
    "by": ["", "place", "mix", "lot", "colour"],
    "method": ["integral", "average", "no method"], "cutoff": ["none", "vertical", "no cutoff"],
    "head": ["open-bench-1/1", "p9/9"],
    "fill": ["95%", "0.5", "200%", "all"], "name": [*TRAYS, *MIXES, *CROPS],
}  # fmt: skip
LISTS = {"crops": CROPS, "wanted": CROPS, "trays": TRAYS}
CHECKS = [
    checks.not_a_server_error,
    openapi_checks.status_code_conformance,
    openapi_checks.content_type_conformance,
    openapi_checks.response_schema_conformance,
    openapi_checks.negative_data_rejection,
    openapi_checks.unsupported_method,
]


def with_names(made: dict[str, Any]) -> dict[str, Any]:
    """The document, with names of this garden to choose from in what is sent."""
    told = copy.deepcopy(made)
    for methods in told["paths"].values():
        for operation in methods.values():
            for parameter in operation.get("parameters", ()):
                _choose(parameter["name"], parameter["schema"])
    for schema in told["components"]["schemas"].values():
        if (
            schema.get("properties", {}).keys() & {"deed", "at"}
            and schema.get("additionalProperties") is False
        ):
            for field, of in schema["properties"].items():
                _choose(field, of)
    return told


def _choose(name: str, schema: dict[str, Any]) -> None:
    if name in NAMES and schema.get("type") == "string":
        schema["enum"] = NAMES[name]
    elif name in LISTS:
        schema["items"]["enum"] = LISTS[name]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The application over that garden; a token that may write."""
    home = tmp_path_factory.mktemp("served") / "home"
    visitor = Visitor(home, season_home(home, past_years=False))
    with visitor.store.write() as tx:
        secret = make_token(tx, "tests", visitor.face.now_ms(), writes=True).secret
    HELD.append(visitor.client.app)
    yield secret
    HELD.clear()
    visitor.close()


HELD: list[Any] = []


async def application(scope: Any, receive: Any, send: Any) -> None:
    """Requests are made up before there is a garden to ask."""
    await HELD[0](scope, receive, send)


api = schemathesis.openapi.from_dict(with_names(document()))
api.app = application


def made_up(examples: int, *, boundaries: bool) -> hypothesis.settings:
    drawn = [hypothesis.Phase.generate]
    return hypothesis.settings(
        max_examples=examples,
        derandomize=True,
        deadline=None,
        database=None,
        suppress_health_check=list(hypothesis.HealthCheck),
        phases=[hypothesis.Phase.explicit, *drawn] if boundaries else drawn,
    )


@api.include(method="GET").parametrize()
@made_up(QUESTIONS, boundaries=False)
def test_every_answer_keeps_to_the_document(case: Any, served: str) -> None:
    _asked(case, served)


@api.exclude(method="GET").parametrize()
@made_up(DEEDS, boundaries=True)
def test_every_deed_keeps_to_the_document(case: Any, served: str) -> None:
    _asked(case, served)


def _asked(case: Any, secret: str) -> None:
    response = case.call(base_url="http://localhost", headers={"Authorization": f"Bearer {secret}"})
    case.validate_response(response, checks=CHECKS)
