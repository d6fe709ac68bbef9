"""Opening pages in a real browser, and what must hold of every one of them."""

import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

ROOT = Path(__file__).parents[2]
SCREENSHOTS = Path(os.environ.get("TRAYWARDEN_SCREENSHOTS", ROOT / "build" / "screenshots"))
"""Where pictures of pages are kept, to be looked at."""
AXE = ROOT / "tests" / "interpreter" / "node_modules" / "axe-core" / "axe.min.js"
SIZES: Mapping[str, tuple[int, int]] = {"phone": (390, 844), "desk": (1440, 900)}
THEMES = ("light", "dark")
LEAST_TAP_PX = 44
"""What a finger needs (WCAG 2.5.5); ours are drawn at 48 and more."""


def need(what: str, found: bool, install: str) -> None:
    """Skip with one line where a part is missing; fail in CI."""
    if found:
        return
    sentence = f"{what} is not installed; install with: {install}"
    if os.environ.get("CI") == "true":
        pytest.fail(sentence)
    pytest.skip(sentence)


def chromium() -> str:
    """Where Debian's browser is."""
    found = shutil.which("chromium")
    need("chromium", found is not None, "scripts/debian-parts")
    assert found is not None
    return found


def axe_source() -> str:
    need("axe-core", AXE.exists(), "scripts/node-parts")
    return AXE.read_text(encoding="utf-8")


@dataclass
class Visit:
    """One browser window on the garden at `address`: what went wrong in it is kept."""

    address: str
    page: Page
    size: str
    theme: str
    errors: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        own = urlsplit(self.address).netloc

        def asked(url: str) -> None:
            parts = urlsplit(url)
            if parts.scheme not in ("data", "blob") and parts.netloc != own:
                self.elsewhere.append(url)

        self.page.on("request", lambda request: asked(request.url))
        self.page.on("websocket", lambda socket: asked(socket.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on(
            "console",
            lambda said: self.errors.append(said.text) if said.type in ("error", "warning") else None,
        )

    def open(self, path: str) -> int:
        """The status of the answer, once the page is drawn."""
        answer = self.page.goto(urljoin(self.address, path), wait_until="load")
        assert answer is not None
        self.page.locator("main").wait_for()
        return answer.status

    def links(self) -> list[str]:
        """Addresses of this garden that the page links to, each once, without the part after #."""
        found = self.page.locator("a[href]").evaluate_all("links => links.map(a => a.href)")
        own = urlsplit(self.address).netloc
        paths = [urlsplit(link)._replace(scheme="", netloc="", fragment="").geturl() for link in found
                 if urlsplit(link).netloc == own]  # fmt: skip
        return list(dict.fromkeys(path or "/" for path in paths))

    def picture(self, name: str) -> Path:
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "now"
        path = SCREENSHOTS / f"{slug}-{self.size}-{self.theme}.png"
        # As high as the page is, so that the bar at the bottom covers nothing and every chart is drawn.
        width, height = SIZES[self.size]
        whole = self.page.evaluate("document.documentElement.scrollHeight")
        self.page.set_viewport_size({"width": width, "height": max(whole, height)})
        self.page.wait_for_function(
            """() => [...document.querySelectorAll("figure.chart")].every((chart) =>
                chart.querySelector(".drawn svg") || chart.querySelector("img")?.naturalWidth)"""
        )
        self.page.screenshot(path=path)
        self.page.set_viewport_size({"width": width, "height": height})
        return path

    # What must hold -----------------------------------------------------------------------------------------

    def hold(self) -> None:
        """No error, nothing from elsewhere, no name taken for marks, nothing wider than the window."""
        self.page.wait_for_load_state("load")  # its styles too
        assert self.errors == [], self.errors
        assert self.elsewhere == [], self.elsewhere
        assert self.page.locator(".hostile").count() == 0, "a name is taken for marks"
        wide, window = self.page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= window, f"the page is {wide} px wide in a window of {window}: {self._widest(window)}"

    def _widest(self, window: int) -> str:
        """What sticks out, for whoever has to mend it."""
        found: str = self.page.evaluate(
            """window => [...document.querySelectorAll("body *")]
                .filter(e => e.getBoundingClientRect().right > window + 1).slice(0, 5)
                .map(e => e.outerHTML.slice(0, 120)).join(" | ")""",
            window,
        )
        return found

    def violations(self, axe: str) -> list[str]:
        """What axe-core finds wrong, one line for each element."""
        self.page.evaluate(axe)
        found: dict[str, Any] = self.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        return [
            f"{each['id']}: {node['target']}: {node['failureSummary']}"
            for each in found["violations"]
            for node in each["nodes"]
        ]

    def small_targets(self) -> list[str]:
        """Buttons and fields too small for a finger."""
        found: list[str] = self.page.evaluate(
            """least => [...document.querySelectorAll(
                    "button, select, input:not([type=hidden]), textarea, nav a")]
                .filter(e => e.checkVisibility())
                .map(e => [e.type === "checkbox" || e.type === "radio" ? e.closest("label") || e : e, e])
                .filter(([box]) => box.getBoundingClientRect().height < least)
                .map(([, e]) => e.outerHTML.slice(0, 120))""",
            LEAST_TAP_PX,
        )
        return found


@contextmanager
def visit(
    browser: Browser, address: str, size: str = "phone", theme: str = "light", **options: Any
) -> Iterator[Visit]:
    """A window of its own, without what another visitor chose."""
    width, height = SIZES[size]
    context: BrowserContext = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if theme == "dark" else "light",
        reduced_motion="reduce",
        locale="en-GB",
        **options,
    )
    context.set_default_timeout(15_000)
    try:
        yield Visit(address, context.new_page(), size, theme)
    finally:
        context.close()
