"""What a grower does at the bench, in a real browser, with scripts and without."""

import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import of_readings
from tests.browser.visits import SIZES, Visit, visit
from tests.services.little_garden import NOW_MS
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.readings import Reading
from traywarden.store import journal as journal_store
from traywarden.store import readings
from traywarden.store.store import Store
from traywarden.web.journal import WAYS

pytestmark = pytest.mark.system


def _entries(home: Path) -> list[Entry]:
    with Store.open(of_readings(home).store_url) as store, store.read() as tx:
        return journal_store.facts(tx).entries


def _water(page: Page, tray: str) -> None:
    page.get_by_role("button", name=f"Watered {tray}").last.click()


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
@pytest.mark.parametrize("size", SIZES)
def test_watered_is_one_tap_and_one_more_takes_it_back(
    browser: Browser, home: Path, own: str, size: str, scripts: bool
) -> None:
    before = _entries(home)
    with visit(browser, own, size, java_script_enabled=scripts) as seen:
        seen.open("/")
        _water(seen.page, "peppers")
        told = seen.page.get_by_role("status")
        expect(told).to_contain_text("peppers: watered")
        seen.picture(f"watered {'with' if scripts else 'without'} scripts")
        assert [entry.kind for entry in _entries(home)[len(before) :]] == [Kind.WATERED]
        told.get_by_role("button", name="Take back").click()
        expect(told).to_have_count(0)
        assert _entries(home) == before
        if scripts:
            seen.hold()


def test_without_scripts_every_deed_and_a_setting_is_written(browser: Browser, home: Path, own: str) -> None:
    """All of it by forms alone is tested in tests/web; here a browser sends them."""
    before = len(_entries(home))
    with visit(browser, own, java_script_enabled=False) as seen:
        page = seen.page
        for what, name in WAYS.items():
            seen.open("/journal")
            page.get_by_role("link", name=name, exact=True).click()
            form = page.locator(f"form[action='/write/{what}']")
            expect(form).to_have_count(1)  # its page is there: only now can its fields be counted
            if form.locator("[name=tray]").count():
                form.get_by_role("checkbox", name="lettuce").check()
            for field, value in {"crop": "Lettuce", "count": "4", "grams": "900"}.items():
                found = form.locator(f"[name={field}]")
                if found.count():
                    found.select_option(value) if field == "crop" else found.fill(value)
            form.locator("[name=note]").fill(f"by hand: {what}")
            form.get_by_role("button", name="Write it down").click()
            expect(page.get_by_role("status")).to_contain_text("Written down")
        seen.open("/settings")
        units = page.locator("form", has=page.locator("[id='display.temperature']"))
        units.locator("[id='display.temperature']").select_option("F")
        units.get_by_role("button").click()
        expect(page.get_by_role("status")).to_contain_text("It holds from now on")
        seen.open("/")
        expect(page.locator(".glance").first).to_contain_text("°F")
    assert {entry.note for entry in _entries(home)[before:]} == {f"by hand: {what}" for what in WAYS}


def test_every_way_is_seen_without_swiping(browser: Browser, own: str) -> None:
    with visit(browser, own, "phone") as seen:
        seen.open("/settings")
        for way in seen.page.locator(".ways a").all():
            expect(way).to_be_in_viewport(ratio=1)


def test_going_back_and_loading_anew_after_a_deed_writes_nothing_twice(
    browser: Browser, home: Path, own: str
) -> None:
    with visit(browser, own) as seen:
        seen.open("/")
        _water(seen.page, "lettuce")
        expect(seen.page.get_by_role("status")).to_contain_text("lettuce: watered")
        before = len(_entries(home))
        seen.page.reload()
        seen.page.go_back()
        seen.page.go_forward()
        expect(seen.page.get_by_role("status")).to_contain_text("lettuce: watered")
        assert len(_entries(home)) == before


def test_a_tray_is_moved_by_choosing_where_to(browser: Browser, home: Path, own: str) -> None:
    with visit(browser, own, java_script_enabled=False) as seen:
        seen.open("/")
        form = seen.page.locator("form[action='/write/moved']").first
        form.get_by_role("combobox").select_option("Shade")
        form.get_by_role("button", name="Moved").click()
        expect(seen.page.get_by_role("status")).to_contain_text("Shade")
        assert _entries(home)[-1].kind is Kind.MOVED


def test_what_cannot_be_written_is_said_on_the_page(browser: Browser, home: Path, own: str) -> None:
    before = len(_entries(home))
    with visit(browser, own) as seen:
        seen.open("/")
        seen.page.locator("form[action='/write/watered'] input[name=tray]").first.evaluate(
            "field => { field.value = 'no such tray'; }"
        )
        seen.page.locator("form[action='/write/watered'] button").first.click()
        expect(seen.page.get_by_role("alert")).to_contain_text("There is no tray called “no such tray”")
        assert len(_entries(home)) == before


def test_a_reading_that_is_stored_shows_on_an_open_page_within_two_seconds(
    browser: Browser, home: Path, own: str
) -> None:
    with visit(browser, own) as seen, Store.open(of_readings(home).store_url) as store:
        seen.open("/")
        _shown(seen, "lettuce", "11.3 °C", wait_ms=0, there=False)
        _stored(store)
        began_s = time.monotonic()
        _shown(seen, "lettuce", "11.3 °C", wait_ms=2_000)
        assert time.monotonic() - began_s < 2.0
        assert seen.errors == []


def test_what_was_stored_before_the_page_had_its_line_shows_too(
    browser: Browser, home: Path, own: str
) -> None:
    with visit(browser, own) as seen, Store.open(of_readings(home).store_url) as store:
        held: list[Route] = []

        def hold(route: Route) -> None:
            held.append(route)

        seen.page.route("**/live", hold)
        seen.open("/")
        _stored(store)
        _shown(seen, "lettuce", "11.3 °C", wait_ms=0, there=False)
        seen.page.wait_for_timeout(1_500)  # the host has seen the change, and told those who listened
        held.pop().continue_()
        _shown(seen, "lettuce", "11.3 °C", wait_ms=5_000)


def _stored(store: Store) -> None:
    at_ms = NOW_MS + 600_000
    with store.write() as tx:
        readings.insert(tx, [Reading("bench", 1, 1, 99_999, at_ms, at_ms, soil_temp_c=11.3, moisture_v=1.9)])


def _shown(seen: Visit, tray: str, words: str, *, wait_ms: int, there: bool = True) -> None:
    row = seen.page.locator(".glance li").filter(has_text=tray)
    if there:
        expect(row).to_contain_text(words, timeout=wait_ms)
    else:
        expect(row).not_to_contain_text(words)


def test_what_is_being_typed_is_not_taken_away_by_news(browser: Browser, home: Path, own: str) -> None:
    with visit(browser, own) as seen, Store.open(of_readings(home).store_url) as store:
        seen.open("/")
        chosen = seen.page.locator("form[action='/write/moved'] select").first
        chosen.select_option("Shade")
        chosen.focus()
        at_ms = NOW_MS + 600_000
        with store.write() as tx:
            readings.insert(tx, [Reading("bench", 1, 1, 99_999, at_ms, at_ms, soil_temp_c=11.3)])
        seen.page.wait_for_timeout(2_000)
        expect(chosen).to_have_value("Shade")
        chosen.select_option(index=0)  # thought better of it
        chosen.blur()
        _shown(seen, "lettuce", "11.3 °C", wait_ms=5_000)


def test_a_theme_once_chosen_holds_whatever_the_device_says(browser: Browser, own: str) -> None:
    with visit(browser, own, theme="light") as seen:
        seen.open("/")
        light = _ground(seen.page)
        form = seen.page.locator("form[action='/theme']")
        form.get_by_role("combobox").select_option("dark")
        form.get_by_role("button").click()
        seen.page.wait_for_load_state()
        dark = _ground(seen.page)
        assert dark != light
    with visit(browser, own, theme="dark") as seen:
        seen.open("/")
        assert _ground(seen.page) == dark


def test_by_keyboard_alone_one_comes_past_the_navigation_to_the_first_deed(
    browser: Browser, home: Path, own: str
) -> None:
    before = len(_entries(home))
    with visit(browser, own, "desk") as seen:
        seen.open("/")
        seen.page.keyboard.press("Tab")
        expect(seen.page.get_by_role("link", name="To the page itself")).to_be_focused()
        seen.page.keyboard.press("Enter")
        for _ in range(12):
            seen.page.keyboard.press("Tab")
            if seen.page.evaluate("document.activeElement.textContent").startswith("Watered"):
                break
        seen.page.keyboard.press("Enter")
        expect(seen.page.get_by_role("status")).to_contain_text("watered")
        assert len(_entries(home)) == before + 1


def _ground(page: Page) -> str:
    colour: str = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    return colour
