"""Whom the pages serve, what they may load, and that only our own forms write."""

import pytest
from starlette.routing import Route

from tests.web.conftest import Visitor
from traywarden.web.app import PAGES
from traywarden.web.security import HEADERS, MOST_FORM_BYTES


def forms() -> list[str]:
    """Every address a form can be sent to."""
    return [
        route.path
        for module in PAGES
        for route in module.router.routes
        if isinstance(route, Route) and "POST" in (route.methods or ())
    ]


def test_every_form_without_its_token_is_refused_and_writes_nothing(visitor: Visitor) -> None:
    before = visitor.entries()
    assert {"/undo", "/theme"} <= set(forms())
    token = visitor.token()
    for path in forms():
        address = path.replace("{what}", "watered")
        for sent in ({}, {"form_token": ""}, {"form_token": token[:-1]}, {"form_token": "ä"}):
            answer = visitor.post(address, tray="lettuce", entry="1", **sent)
            assert answer.status_code == 400, (path, sent, answer.text)
            assert "nothing was written" in answer.text
    assert visitor.entries() == before


def test_a_name_turned_to_this_computer_is_not_answered(visitor: Visitor) -> None:
    for host in ("evil.example", "localhost.evil.example", "127.0.0.1.evil.example:8470", ""):
        assert visitor.client.get("/", headers={"host": host}).status_code == 421
    for host in ("localhost", "localhost:8470", "127.0.0.1:8470", "[::1]:8470"):
        assert visitor.client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
    ],
)
def test_another_sites_form_is_refused_even_with_the_token(visitor: Visitor, headers: dict[str, str]) -> None:
    data = {"form_token": visitor.token(), "tray": "lettuce"}
    assert visitor.client.post("/write/watered", data=data, headers=headers).status_code == 403


def test_every_answer_carries_the_headers_and_no_page_loads_from_elsewhere(visitor: Visitor) -> None:
    for path in ("/", "/styles/traywarden.css", "/scripts/live.js", "/nowhere"):
        answer = visitor.client.get(path)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, path
    assert "unsafe" not in HEADERS["content-security-policy"]


def test_a_form_goes_back_only_to_a_page_of_ours(visitor: Visitor) -> None:
    for back in ("//evil.example", "/\\evil.example", "https://evil.example", "javascript:alert(1)", ""):
        answer = visitor.post("/write/watered", form_token=visitor.token(), back=back, tray="lettuce")
        assert answer.headers["location"].startswith("/?did="), back


def test_a_form_that_is_too_long_is_refused(visitor: Visitor) -> None:
    answer = visitor.post("/write/note", form_token=visitor.token(), note="x" * (MOST_FORM_BYTES + 1))
    assert answer.status_code == 413


def test_the_key_of_sessions_is_kept_for_the_owner_alone(visitor: Visitor) -> None:
    key = visitor.home / "web.key"
    assert key.stat().st_mode & 0o777 == 0o600
    assert key.read_text() not in visitor.get("/")
