"""Writing from another program: every deed of the command line, with a token, and back again."""

import json
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.cli.entries import register
from traywarden.domain.journal import Kind
from traywarden.services.tokens import make_token
from traywarden.store import garden
from traywarden.web.api.deeds import MOST_TRAYS
from traywarden.web.api.document import DEEDS_IN_WORDS, document
from traywarden.web.security import MOST_API_BYTES
from traywarden.web.writing import DEEDS


@pytest.fixture
def key(visitor: Visitor) -> dict[str, str]:
    """The header of a program that may write."""
    with visitor.store.write() as tx:
        made = make_token(tx, "display", NOW_MS, writes=True)
    return {"authorization": f"Bearer {made.secret}"}


def write(visitor: Visitor, key: dict[str, str], **deed: Any) -> Response:
    return visitor.client.post("/api/v1/journal", json=deed, headers=key)


WRITTEN: list[tuple[dict[str, Any], Kind, dict[str, Any]]] = [
    (
        {"deed": "sowed", "trays": ["lettuce"], "crop": "lettuce", "cells": 30, "depth_mm": 5},
        Kind.SOWED,
        {"crop": "lettuce", "cells": 30, "depth_mm": 5.0},
    ),
    ({"deed": "watered", "trays": ["lettuce"], "how": "below", "litres": 0.25}, Kind.WATERED,
     {"how": "below", "litres": 0.25}),
    ({"deed": "moved", "trays": ["lettuce"], "to": "Cold frame"}, Kind.MOVED, {}),
    ({"deed": "emerged", "trays": ["lettuce"], "count": 20, "filled": 18}, Kind.EMERGED,
     {"count": 20, "filled_cells": 18}),
    ({"deed": "emerged", "trays": ["lettuce"], "count": 0}, Kind.EMERGED, {"count": 0}),
    ({"deed": "potted-up", "trays": ["lettuce"], "count": 12}, Kind.POTTED_UP, {"count": 12}),
    ({"deed": "planted-out", "trays": ["lettuce"]}, Kind.PLANTED_OUT, {}),
    ({"deed": "weighed", "trays": ["lettuce"], "grams": 5200.5}, Kind.WEIGHED, {"grams": 5200.5}),
    ({"deed": "levelled", "trays": ["lettuce"]}, Kind.LEVELLED, {}),
    ({"deed": "vented", "place": "Cold frame"}, Kind.VENTED, {}),
    ({"deed": "closed", "place": "Cold frame"}, Kind.CLOSED, {}),
    ({"deed": "rained", "mm": 6}, Kind.RAINED, {"mm": 6.0}),
    ({"deed": "note", "trays": ["lettuce"], "note": "<b>slugs</b> 🐌 \u202eright to left"}, Kind.NOTED, {}),
]  # fmt: skip


def test_every_deed_of_the_command_line_can_be_written() -> None:
    import typer
    import typer.main

    app = typer.Typer()
    register(app)
    names = set(typer.main.get_group(app).commands)
    assert {deed["deed"] for deed, _, _ in WRITTEN} == names == set(DEEDS)
    assert len(DEEDS_IN_WORDS) == len(names)


@pytest.mark.parametrize(("deed", "kind", "data"), WRITTEN)
def test_a_deed_is_written_and_taken_back(
    visitor: Visitor, key: dict[str, str], deed: dict[str, Any], kind: Kind, data: dict[str, Any]
) -> None:
    before = visitor.entries()
    answer = write(visitor, key, **deed, at="2 h ago")
    assert answer.status_code == 201, answer.text
    (line,) = answer.json()["entries"]
    (made,) = [entry for entry in visitor.entries() if entry not in before]
    assert (made.kind, dict(made.data), made.at_ms) == (kind, data, NOW_MS - 2 * 3_600_000)
    assert made.note == deed.get("note", "")
    assert (line["entry"], line["kind"], line["state"]) == (made.entry_id, kind.value, "holds")
    back = visitor.client.post(f"/api/v1/journal/{made.entry_id}/undo", headers=key)
    assert back.status_code == 201, back.text
    assert visitor.entries() == before
    again = visitor.client.post(f"/api/v1/journal/{made.entry_id}/undo", headers=key)
    assert again.status_code == 400
    assert "already taken back" in again.json()["detail"]


def test_several_trays_are_written_together_or_not_at_all(visitor: Visitor, key: dict[str, str]) -> None:
    before = visitor.entries()
    refused = write(visitor, key, deed="watered", trays=["lettuce", "nowhere"])
    assert refused.status_code == 404
    assert visitor.entries() == before
    done = write(visitor, key, deed="watered", trays=["lettuce", "peppers", "lettuce"])
    assert [line["tray"] for line in done.json()["entries"]] == ["lettuce", "peppers"]


@pytest.mark.parametrize(
    ("deed", "status", "sentence"),
    [
        ({"deed": "watered", "trays": []}, 422, "trays"),
        ({"deed": "watered", "trays": ["x"] * (MOST_TRAYS + 1)}, 422, "trays"),
        ({"deed": "watered", "trays": "lettuce"}, 422, "trays"),
        ({"deed": "watered", "trays": ["lettuce"], "litres": -1}, 422, "litres"),
        ({"deed": "watered", "trays": ["lettuce"], "litres": "1"}, 422, "litres"),
        ({"deed": "watered", "trays": ["lettuce"], "liters": 1}, 422, "There is nothing called “liters”"),
        ({"deed": "flooded", "trays": ["lettuce"]}, 422, "body"),
        ({"deed": "weighed", "trays": ["lettuce"]}, 422, "“weighed.grams” is missing"),
        ({"deed": "note", "trays": ["lettuce"], "note": " "}, 400, "A note needs words."),
        ({"deed": "note", "trays": ["lettuce"], "note": "a\x00b"}, 422, "note"),
        ({"deed": "note", "trays": ["lettuce"], "note": "x" * 10_001}, 422, "note"),
        ({"deed": "sowed", "trays": ["lettuce"]}, 400, "Say what was sown"),
        ({"deed": "emerged", "trays": ["lettuce"], "count": 1, "filled": 2}, 400, "cannot fill"),
        ({"deed": "rained", "at": "tomorrow"}, 400, "cannot be read"),
        ({"deed": "rained", "at": "2030-01-01"}, 400, "still to come"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    visitor: Visitor, key: dict[str, str], deed: dict[str, Any], status: int, sentence: str
) -> None:
    before = visitor.entries()
    answer = write(visitor, key, **deed)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert sentence in answer.json()["detail"]
    assert visitor.entries() == before


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'{"deed": "rained", "mm": NaN}', b'{"deed": "rained", "note": "\\ud800"}',
     b"[" * 30_000, b"\xff\xfe", json.dumps({"deed": "rained", "mm": 10**400}).encode()],
)  # fmt: skip
def test_a_body_that_is_no_deed_is_a_problem_and_not_a_failure(
    visitor: Visitor, key: dict[str, str], body: bytes
) -> None:
    headers = {**key, "content-type": "application/json"}
    answer = visitor.client.post("/api/v1/journal", content=body, headers=headers)
    assert answer.status_code in (400, 422), answer.text
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_body_too_long_is_refused_whether_it_says_so_or_not(visitor: Visitor, key: dict[str, str]) -> None:
    headers = {**key, "content-type": "application/json"}
    long = b'{"deed": "rained", "note": "' + b"x" * MOST_API_BYTES + b'"}'
    said = visitor.client.post("/api/v1/journal", content=long, headers=headers)
    unsaid = visitor.client.post(
        "/api/v1/journal", content=(long[n : n + 5000] for n in range(0, len(long), 5000)), headers=headers
    )
    for answer in (said, unsaid):
        assert answer.status_code == 413, answer.text
        assert answer.headers["content-type"] == "application/problem+json"


def test_writing_needs_a_token_that_may_write(visitor: Visitor) -> None:
    before = visitor.entries()
    with visitor.store.write() as tx:
        asks = make_token(tx, "asks", NOW_MS, writes=False).secret
    posts = [path for path, methods in document()["paths"].items() if "post" in methods]
    assert len(posts) == 8
    form = {"form_token": visitor.token()}
    for path in posts:
        address = path.replace("{entry}", "1")
        for headers, status in (
            ({}, 401),
            ({"authorization": "Bearer no"}, 401),
            ({"authorization": "Bearer " + asks[:-1]}, 401),
            ({"authorization": "Basic " + asks}, 401),
            ({"authorization": "Bearer " + asks}, 403),
        ):
            answer = visitor.client.post(address, json={"deed": "rained", **form}, headers=headers)
            assert answer.status_code == status, (path, headers)
            assert ("www-authenticate" in answer.headers) == (status == 401)
    assert visitor.entries() == before


def test_a_program_that_names_no_origin_may_write_and_another_sites_page_may_not(
    visitor: Visitor, key: dict[str, str]
) -> None:
    assert write(visitor, key, deed="rained").status_code == 201
    assert write(visitor, {**key, "origin": "http://evil.example"}, deed="rained").status_code == 403


def test_a_token_writes_by_this_way_alone(visitor: Visitor, key: dict[str, str]) -> None:
    before = visitor.entries()
    answer = visitor.client.post("/write/watered", data={"tray": "lettuce"}, headers=key)
    assert answer.status_code == 400
    assert visitor.entries() == before


def test_a_dropped_token_is_refused_and_none_is_stored(visitor: Visitor, key: dict[str, str]) -> None:
    from traywarden.store import tokens

    secret = key["authorization"].split()[1]
    visitor.store.close()
    files = [path.read_bytes() for path in Path(visitor.home).glob("*") if path.is_file()]
    assert files
    assert all(secret.encode() not in each for each in files)
    with visitor.store.write() as tx:
        tokens.drop(tx, "display")
    assert write(visitor, key, deed="rained").status_code == 401


def test_hostile_names_are_told_as_they_are(visitor: Visitor, key: dict[str, str]) -> None:
    name = "<script>“a”/b & ../ 🌱\u202e"
    with visitor.store.write() as tx:
        tray = garden.add_tray(tx, name, 10, None)
    answer = write(visitor, key, deed="watered", trays=[name])
    (line,) = answer.json()["entries"]
    assert line["tray"] == tray.name
    listed = visitor.client.get("/api/v1/journal", params={"tray": name}).json()
    assert [each["entry"] for each in listed] == [line["entry"]]
