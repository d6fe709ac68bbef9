"""Hushing from another program: with a token that may write, in the words of the command line."""

from typing import Any

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.services.tokens import make_token


@pytest.fixture
def key(visitor: Visitor) -> dict[str, str]:
    with visitor.store.write() as tx:
        made = make_token(tx, "display", NOW_MS, writes=True)
    return {"authorization": f"Bearer {made.secret}"}


def test_a_program_hushes_and_takes_it_back(visitor: Visitor, key: dict[str, str]) -> None:
    wish = {"tray": "lettuce", "rule": "dry", "until": "tonight", "who": "the shed's display", "why": "🌧"}
    made = visitor.client.post("/api/v1/notices/hush", json=wish, headers=key)
    assert made.status_code == 201, made.text
    line = made.json()
    assert (line["name"], line["rule"], line["who"], line["why"]) == ("lettuce", "dry", wish["who"], "🌧")
    assert line["until"].startswith("2026-03-16T18:00")
    listed = visitor.client.get("/api/v1/notices/hushed").json()
    assert [h["hush"] for h in listed["hushes"]] == [line["hush"]]
    again = visitor.client.post(f"/api/v1/notices/hush/{line['hush']}/undo", headers=key)
    assert (again.status_code, again.json()["holds"]) == (201, False)
    assert visitor.client.get("/api/v1/notices/hushed").json()["hushes"] == []


@pytest.mark.parametrize(
    ("wish", "status"),
    [
        ({"until": "3 h"}, 400),
        ({"tray": "lettuce"}, 422),
        ({"tray": "nowhere", "until": "3 h"}, 404),
        ({"tray": "lettuce", "all": True, "until": "3 h"}, 400),
        ({"tray": "lettuce", "until": "3 h", "how": "loud"}, 422),
        ({"tray": "lettuce", "until": "3 h", "why": "x" * 401}, 422),
    ],
)
def test_what_cannot_be_hushed_is_refused(
    visitor: Visitor, key: dict[str, str], wish: dict[str, Any], status: int
) -> None:
    answer = visitor.client.post("/api/v1/notices/hush", json=wish, headers=key)
    assert answer.status_code == status, answer.text
    assert visitor.client.get("/api/v1/notices/hushed").json()["hushes"] == []


def test_without_a_token_that_may_write_nothing_is_hushed(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        made = make_token(tx, "reader", NOW_MS, writes=False)
    wish = {"all": True, "until": "3 h"}
    for headers, status in (({}, 401), ({"authorization": f"Bearer {made.secret}"}, 403)):
        answer = visitor.client.post("/api/v1/notices/hush", json=wish, headers=headers)
        assert answer.status_code == status
    assert visitor.client.get("/api/v1/notices/hushed").json()["hushes"] == []
