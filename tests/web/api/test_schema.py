"""The document keeps its word, whatever is asked: made-up requests, right and wrong, of the real application.

A stored garden answers; names are drawn from those it has and from some it has not, so that questions get
past the name. Every run makes up the same requests.
"""

import copy
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
import schemathesis
from schemathesis import checks
from schemathesis.specs.openapi import checks as openapi_checks

from tests.services.little_garden import NOW_MS, little_garden
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.services.journal import Draft, put
from traywarden.services.tokens import make_token
from traywarden.store import garden
from traywarden.web.api.document import document

EXAMPLES = 5
TRAYS = ["tomatoes", "lettuce", "peppers", "nowhere"]
PLACES = ["Cold frame", "Open bench", "Shade", "nowhere"]
MIXES = ["Peat mix", "Bark mix", "nowhere"]
CROPS = ["tomato", "lettuce", "pepper", "nothing"]
DAYS = ["", "2026-03-05", "7 days ago", "yesterday", "2026-02-30", "soon"]
NAMES = {
    "tray": ["", *TRAYS], "other": ["", *TRAYS], "subject": [*TRAYS, *PLACES],
    "place": PLACES, "place_a": PLACES, "place_b": PLACES, "frame": PLACES, "against": ["", *PLACES],
    "mix": ["", *MIXES], "a": MIXES, "b": MIXES,
    "crop": CROPS, "what": [*CROPS, "Roma"], "lot": ["Roma", "nothing"],
    "from": DAYS, "to": DAYS, "at": ["", "2 h ago", "yesterday 18:00", "soon"],
    "month": ["", "3", "March", "13", "never"], "kind": ["", "watered", "flower", "painted"],
    "by": ["", "place", "mix", "lot", "colour"],
    "method": ["integral", "average", "no method"], "cutoff": ["none", "vertical", "no cutoff"],
    "head": ["p1/1", "p9/9"],
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
def garden_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The little garden, with a lot, counts and something to tell."""
    home = tmp_path_factory.mktemp("api")
    little = little_garden(home)
    with little.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato", 0.85, True, 50, 3.0, "")
        for name, counts in (("tomatoes", (4, 21, 30)), ("lettuce", (1, 12))):
            for n, count in enumerate(counts):
                at_ms = NOW_MS - (len(counts) - n) * 86_400_000
                tray_id = little.tray_ids[name]
                put(tx, Draft(Kind.EMERGED, at_ms, tray_id=tray_id, data={"count": count}), NOW_MS)
    little.store.close()
    return home


@pytest.fixture(scope="module")
def served(garden_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The application over a copy of the garden; a token that may write."""
    home = tmp_path_factory.mktemp("served") / "home"
    shutil.copytree(garden_home, home)
    visitor = Visitor(home)
    with visitor.store.write() as tx:
        secret = make_token(tx, "tests", NOW_MS, writes=True).secret
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


@api.parametrize()
@hypothesis.settings(
    max_examples=EXAMPLES,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(hypothesis.HealthCheck),
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)
def test_every_answer_keeps_to_the_document(case: Any, served: str) -> None:
    response = case.call(base_url="http://localhost", headers={"Authorization": f"Bearer {served}"})
    case.validate_response(response, checks=CHECKS)
