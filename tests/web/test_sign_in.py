"""Who is let in once a password is set, how long, and how often one may be wrong."""

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from tests.services.little_garden import NOW_MS
from tests.web.conftest import ADDRESS, Visitor, words_of
from traywarden.services.password import clear_password, kept_hash, matches, set_password
from traywarden.services.tokens import make_token
from traywarden.web.api.document import document
from traywarden.web.app import PAGES, made_app
from traywarden.web.attempts import FREE_TRIES, LONGEST_WAIT_S, MOST_ADDRESSES, MOST_WRONG, Attempts
from traywarden.web.door import OPEN, SIGNED_IN_MS

PASSWORD = "five wrens in a hedge"


@pytest.fixture
def locked(visitor: Visitor) -> Visitor:
    set_password(visitor.home, PASSWORD)
    return visitor


def sign_in(client: TestClient, password: str, back: str = "/") -> str:
    """Send the form of the sign-in page; the words of the page it leads to."""
    page = client.get("/sign-in").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)
    assert token is not None, page
    data = {"form_token": token[1], "password": password, "back": back}
    return words_of(client.post("/sign-in", data=data).text)


def addresses() -> Iterator[str]:
    """Every address there is to ask, pages and others."""
    yield from ("/", "/nowhere", "/scripts/charts.js", "/styles/no.css", "/api", "/api/openapi.json")
    yield from (path.replace("{entry}", "1") for path in document()["paths"])
    for module in PAGES:
        for route in module.router.routes:
            path = getattr(route, "path", "")
            if "GET" in (getattr(route, "methods", None) or ()):
                yield re.sub(r"\{[^}]+\}", "x", path)


def test_with_a_password_nothing_is_shown_before_signing_in(locked: Visitor) -> None:
    seen = set()
    for address in addresses():
        answer = locked.client.get(address, follow_redirects=False)
        if address in OPEN:
            assert answer.status_code == 200
            assert "Little garden" not in answer.text
        elif address.startswith(("/api/", "/charts/", "/live")):
            assert answer.status_code == 401, address
            assert answer.headers["www-authenticate"].startswith("Bearer")
        else:
            assert answer.status_code == 303, address
            assert answer.headers["location"].startswith("/sign-in"), address
        seen.add(address)
    assert {"/live", "/charts/x.x", "/api/v1/today", "/"} <= seen
    before = locked.entries()
    answer = locked.post("/write/watered", tray="lettuce")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert locked.entries() == before


def test_the_password_opens_everything_and_signing_out_closes_it(locked: Visitor) -> None:
    assert "This is not the password." in sign_in(locked.client, PASSWORD[:-1])
    assert "lettuce" in sign_in(locked.client, PASSWORD)
    assert "Sign out" in locked.get("/")
    assert locked.client.get("/api/v1/today").status_code == 200
    assert locked.client.get("/api").status_code == 200
    locked.send("/write/watered", tray="lettuce")
    locked.post("/sign-out", form_token=locked.token())
    assert locked.client.get("/", follow_redirects=False).status_code == 303


def test_signing_in_leads_back_to_what_was_asked_for_and_nowhere_else(locked: Visitor) -> None:
    asked = locked.client.get("/nowhere?a=b&c=%22", follow_redirects=False)
    page = locked.get(asked.headers["location"])
    assert 'name="back" value="/nowhere?a=b&amp;c=%22"' in page
    token = re.search(r'name="form_token" value="([^"]+)"', page)
    assert token is not None
    for back, leads_to in (("/places?x=1", "/places?x=1"), ("//evil.example", "/"), ("https://evil", "/")):
        locked.client.cookies.clear()
        token = re.search(r'name="form_token" value="([^"]+)"', locked.get("/sign-in"))
        assert token is not None
        answer = locked.post("/sign-in", form_token=token[1], password=PASSWORD, back=back)
        assert answer.headers["location"] == leads_to


def test_without_a_password_there_is_nothing_to_sign_in_to(visitor: Visitor) -> None:
    assert visitor.client.get("/sign-in", follow_redirects=False).headers["location"] == "/"
    assert "Sign out" not in visitor.get("/")


def test_another_password_signs_everybody_out(locked: Visitor) -> None:
    sign_in(locked.client, PASSWORD)
    assert locked.client.get("/", follow_redirects=False).status_code == 200
    set_password(locked.home, "six wrens in a hedge")
    assert locked.client.get("/", follow_redirects=False).status_code == 303


def test_after_thirty_days_one_signs_in_again(locked: Visitor) -> None:
    sign_in(locked.client, PASSWORD)
    locked.face.now_ms = lambda: NOW_MS + SIGNED_IN_MS - 1
    assert locked.client.get("/", follow_redirects=False).status_code == 200
    locked.face.now_ms = lambda: NOW_MS + SIGNED_IN_MS
    assert locked.client.get("/", follow_redirects=False).status_code == 303


def test_signing_in_makes_a_new_form_token(locked: Visitor) -> None:
    before = re.search(r'name="form_token" value="([^"]+)"', locked.get("/sign-in"))
    assert before is not None
    sign_in(locked.client, PASSWORD)
    assert locked.token() != before[1]


def test_a_token_asks_where_a_visitor_must_sign_in(locked: Visitor) -> None:
    with locked.store.write() as tx:
        secret = make_token(tx, "display", NOW_MS, writes=False).secret
    key = {"authorization": f"bearer {secret}"}
    assert locked.client.get("/api/v1/today", headers=key).status_code == 200
    assert locked.client.get("/api/openapi.json", headers=key).status_code == 200
    assert locked.client.get("/charts/no.svg", headers=key).status_code == 400
    assert locked.client.get("/", headers=key, follow_redirects=False).status_code == 303


def test_on_a_network_nothing_is_answered_once_the_password_is_gone(locked: Visitor) -> None:
    with locked.store.write() as tx:
        key = {"authorization": f"Bearer {make_token(tx, 'display', NOW_MS, writes=True).secret}"}
    with TestClient(made_app(locked.face, locked.changes, loopback=False), base_url=ADDRESS) as client:
        assert client.get("/sign-in").status_code == 200
        clear_password(locked.home)
        for address in ("/", "/sign-in", "/api/v1/today", "/live"):
            assert client.get(address, follow_redirects=False).status_code == 403, address
        assert client.post("/write/watered").status_code == 403
        assert client.get("/api/v1/today", headers=key).status_code == 200


def test_with_a_password_any_name_is_answered_as_a_name_gives_no_way_in(locked: Visitor) -> None:
    for host in ("garden.example", "192.168.1.7:8470", "localhost"):
        answer = locked.client.get("/", headers={"host": host}, follow_redirects=False)
        assert answer.status_code == 303, host
    clear_password(locked.home)
    assert locked.client.get("/", headers={"host": "garden.example"}).status_code == 421


def test_a_password_that_cannot_be_read_lets_nobody_in(locked: Visitor) -> None:
    (locked.home / "web.password").write_bytes(b"\xff")
    assert locked.client.get("/", headers={"host": "evil.example"}).status_code == 503
    assert locked.client.get("/api/v1/today").status_code == 503
    (locked.home / "web.password").write_text("no hash at all")
    assert "not the password" in sign_in(locked.client, "no hash at all")


def test_over_tls_no_cookie_goes_without_it(locked: Visitor) -> None:
    app = made_app(locked.face, locked.changes, secure=True)
    with TestClient(app, base_url="https://localhost") as client:
        first = client.get("/sign-in")
        sign_in(client, PASSWORD)
        answer = client.get("/")
        assert answer.status_code == 200
        token = re.search(r'name="form_token" value="([^"]+)"', answer.text)
        assert token is not None
        themed = client.post("/theme", data={"form_token": token[1], "theme": "dark"}, follow_redirects=False)
    cookies = themed.headers.get_list("set-cookie") + first.headers.get_list("set-cookie")
    assert {each.partition("=")[0] for each in cookies} == {"theme", "traywarden"}
    for each in cookies:
        assert {"secure", "httponly", "samesite=strict"} <= set(each.lower().replace(" ", "").split(";"))


class Clock:
    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


def test_after_five_wrong_tries_the_wait_grows_to_a_minute() -> None:
    clock = Clock()
    attempts = Attempts(clock)
    assert [attempts.begin("10.0.0.1") for _ in range(FREE_TRIES)] == [0.0] * FREE_TRIES
    waits = []
    for _ in range(8):
        waits.append(attempts.begin("10.0.0.1"))
        assert attempts.begin("10.0.0.2") == 0.0  # somebody else is not made to wait
        attempts.right("10.0.0.2")
        clock.s += waits[-1] - 0.01
        assert attempts.begin("10.0.0.1") == pytest.approx(0.01)
        clock.s += 0.01
        assert attempts.begin("10.0.0.1") == 0.0
    assert waits == [2, 4, 8, 16, 32, LONGEST_WAIT_S, LONGEST_WAIT_S, LONGEST_WAIT_S]
    clock.s += 3600
    assert attempts.begin("10.0.0.1") == 0.0


def test_the_right_password_is_forgiven_its_wrong_tries() -> None:
    attempts = Attempts(Clock())
    for _ in range(FREE_TRIES):
        attempts.begin("10.0.0.1")
    attempts.right("10.0.0.1")
    assert attempts.begin("10.0.0.1") == 0.0


def test_one_network_of_long_addresses_counts_as_one() -> None:
    attempts = Attempts(Clock())
    waits = [attempts.begin(f"2001:db8::{n:x}") for n in range(FREE_TRIES + 1)]
    assert waits[-1] > 0
    assert attempts.begin("2001:db8:0:1::1") == 0.0


def test_many_addresses_together_are_bounded_too_and_do_not_fill_the_memory() -> None:
    clock = Clock()
    attempts = Attempts(clock)
    waits = [attempts.begin(f"10.0.{n >> 8}.{n & 255}") for n in range(MOST_WRONG + 1)]
    assert waits[:-1] == [0.0] * MOST_WRONG
    assert waits[-1] > LONGEST_WAIT_S
    for n in range(3 * MOST_ADDRESSES):
        clock.s += 11
        attempts.begin(f"10.1.{n >> 8}.{n & 255}")
    assert len(attempts._of) <= MOST_ADDRESSES


def test_who_tried_too_often_waits_even_with_the_right_password(locked: Visitor) -> None:
    for _ in range(FREE_TRIES):
        assert "This is not the password." in sign_in(locked.client, "x" * 10)
    assert "too many wrong tries" in sign_in(locked.client, PASSWORD)
    token = re.search(r'name="form_token" value="([^"]+)"', locked.get("/sign-in"))
    assert token is not None
    answer = locked.post("/sign-in", form_token=token[1], password=PASSWORD)
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["retry-after"]) <= 60
    assert locked.client.get("/", follow_redirects=False).status_code == 303


def test_a_password_is_set_on_the_page_and_who_set_it_stays_signed_in(visitor: Visitor) -> None:
    said = visitor.send("/password", back="/settings", new=PASSWORD, again=PASSWORD)
    assert "The password is set" in said
    assert matches(kept_hash(visitor.home), PASSWORD)
    assert "Password of now" in visitor.words("/settings")
    visitor.client.cookies.clear()
    assert "Little garden" not in visitor.client.get("/settings").text


@pytest.mark.parametrize(
    ("new", "again", "why"),
    [
        ("five wrens", "five wren", "The two were not the same"),
        ("short", "short", "A password of 5 characters"),
    ],
)
def test_a_password_that_will_not_do_is_refused_and_none_is_set(
    visitor: Visitor, new: str, again: str, why: str
) -> None:
    assert why in visitor.send("/password", back="/settings", new=new, again=again)
    assert kept_hash(visitor.home) == ""


def test_the_password_is_changed_only_with_the_one_of_now_and_not_by_guessing(locked: Visitor) -> None:
    sign_in(locked.client, PASSWORD)
    new = "six larks over a field"
    for _ in range(FREE_TRIES + 2):
        said = locked.send("/password", back="/settings", now="guess", new=new, again=new)
    assert "There were too many wrong tries" in said
    assert matches(kept_hash(locked.home), PASSWORD)


def test_the_password_of_now_lets_a_new_one_in(locked: Visitor) -> None:
    sign_in(locked.client, PASSWORD)
    new = "six larks over a field"
    assert "The password is set" in locked.send(
        "/password", back="/settings", now=PASSWORD, new=new, again=new
    )
    assert matches(kept_hash(locked.home), new)
