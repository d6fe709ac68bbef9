"""Every page, also those added later: it opens, fits, asks nobody else, says no error; axe-core agrees."""

import os
from collections.abc import Iterator

import pytest
from fastapi.routing import APIRoute
from playwright.sync_api import Browser
from starlette.routing import Match

from tests.browser.visits import SIZES, THEMES, Visit, visit
from traywarden.web.app import PAGES

pytestmark = pytest.mark.system
ENDLESS = ("/live",)
"""Addresses whose answer never ends; they are tested by what they do to a page."""
ASKED = ("/sowings/batch", "/sowings/plan.ics", "/journal/correct", "/weather/file")
"""Pages about something named behind the question mark: they say so where nothing is. Links lead to them."""
FILES = ("/week/file.html", "/download/", "/styles/")
"""Links to what is no page."""

LOOKS = (
    [(size, theme) for size in SIZES for theme in THEMES]
    if os.environ.get("TRAYWARDEN_LOOKS") == "all"
    else [("phone", "light"), ("desk", "dark")]
)
"""Both sizes and both lights; `make soak` looks at each in each."""


def _routes() -> Iterator[APIRoute]:
    for module in PAGES:
        for route in module.router.routes:
            if isinstance(route, APIRoute) and "GET" in (route.methods or ()) and route.path not in ENDLESS:
                yield route


def _plain_paths() -> list[str]:
    return list(dict.fromkeys(route.path for route in _routes() if "{" not in route.path))


def _kind_of(path: str) -> str:
    """Which route answers it, or which chart: pages of one kind need not all be looked at."""
    if path.startswith("/charts/"):
        return path.partition("?")[0]
    scope = {"type": "http", "method": "GET", "path": path.partition("?")[0]}
    for route in _routes():
        if route.matches(scope)[0] is Match.FULL:
            return f"{route.path}?" if "?" in path and route.path != "/" else route.path
    return path


def _is_page(seen: Visit, path: str) -> bool:
    """Whether the address answers with a page; everything else only has to answer."""
    answer = seen.page.request.get(seen.address.rstrip("/") + path)
    assert answer.status == 200, f"{path}: {answer.status} {answer.text()[:300]}"
    kept = answer.headers.get("content-disposition", "").startswith("attachment")
    return answer.headers.get("content-type", "").startswith("text/html") and not kept


LOOKED_AT: set[tuple[str, str, str]] = set()
"""Kinds of pages in a size and a light: many pages link to the same, and once is enough."""


def _look(seen: Visit, path: str, axe: str) -> None:
    """Look at the page at that address, unless one of its kind was looked at."""
    this = (_kind_of(path), seen.size, seen.theme)
    if this in LOOKED_AT or not _is_page(seen, path):
        return
    assert seen.open(path) == 200
    seen.hold()
    seen.picture(this[0].replace("?", " asked"))
    assert seen.violations(axe) == []
    assert seen.small_targets() == []
    seen.hold()
    LOOKED_AT.add(this)


def test_there_are_pages_to_look_at() -> None:
    assert "/" in _plain_paths()


@pytest.mark.parametrize("path", ASKED)
def test_a_page_about_nothing_says_so(browser: Browser, garden: str, axe: str, path: str) -> None:
    with visit(browser, garden) as seen:
        assert seen.open(path) in (400, 404)
        seen.errors.clear()  # the browser itself tells of the status
        seen.hold()
        assert seen.violations(axe) == []


@pytest.mark.parametrize(("size", "theme"), LOOKS)
@pytest.mark.parametrize("path", [path for path in _plain_paths() if path not in ASKED])
def test_a_page_and_what_it_links_to(
    browser: Browser, garden: str, axe: str, path: str, size: str, theme: str
) -> None:
    with visit(browser, garden, size, theme) as seen:
        if not _is_page(seen, path):
            return
        _look(seen, path, axe)
        seen.open(path)
        plain = set(_plain_paths())
        for link in seen.links():
            if _kind_of(link) not in plain and not link.startswith(FILES):
                _look(seen, link, axe)


@pytest.mark.parametrize("path", _plain_paths())
def test_a_page_of_a_garden_in_which_nothing_was_measured(
    browser: Browser, empty: str, axe: str, path: str
) -> None:
    """It says what comes next, or that it cannot answer yet, in a page that holds."""
    with visit(browser, empty) as seen:
        answer = seen.page.request.get(seen.address.rstrip("/") + path)
        assert answer.status < 500
        if not answer.headers.get("content-type", "").startswith("text/html"):
            return
        seen.open(path)
        if answer.status >= 400:
            seen.errors.clear()  # the browser itself tells of the status
        seen.hold()
        seen.picture(f"empty {path}")
        assert seen.violations(axe) == []


@pytest.mark.parametrize("theme", THEMES)
def test_an_address_that_is_none_is_said_on_a_page_that_holds(
    browser: Browser, garden: str, axe: str, theme: str
) -> None:
    with visit(browser, garden, "phone", theme) as seen:
        assert seen.open("/nowhere") == 404
        seen.errors.clear()  # the browser itself tells of the 404
        seen.hold()
        assert seen.violations(axe) == []


def test_what_is_wrong_with_a_page_is_found(browser: Browser, garden: str, axe: str) -> None:
    """So that nothing found means nothing wrong."""
    with visit(browser, garden) as seen:
        seen.open("/")
        seen.page.evaluate(
            """() => {
                const add = (tag, set) => document.querySelector("main").append(
                    Object.assign(document.createElement(tag), set));
                add("img", {src: "http://elsewhere.example/pixel.png"});
                add("button", {textContent: ""});
                add("b", {className: "hostile"});
                document.querySelector("main p").style.color = "#e8e8e8";
                document.querySelector("h1").style.width = "1000px";
                document.querySelector("main button").style.minHeight = "10px";
                document.querySelector("main button").style.height = "10px";
            }"""
        )
        seen.page.wait_for_timeout(200)
        found = {line.partition(":")[0] for line in seen.violations(axe)}
        assert {"image-alt", "button-name", "color-contrast"} <= found
        assert seen.small_targets()
        assert seen.elsewhere == ["http://elsewhere.example/pixel.png"]
        assert seen.errors, "the browser says that the page may not load it"
        seen.errors.clear()
        seen.elsewhere.clear()
        with pytest.raises(AssertionError, match="taken for marks"):
            seen.hold()
        seen.page.evaluate("document.querySelector('.hostile').remove()")
        with pytest.raises(AssertionError, match="px wide"):
            seen.hold()
