"""Each job of a grower from its beginning to its end, in a real browser on a phone and at a desk.

A picture is kept of every step. No step may bring an error of the browser, a word to anybody else, or a page
wider than the window.
"""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import of_readings
from tests.browser.visits import SIZES, Visit, visit
from tests.system.brokers import free_port
from tests.system.hosts import HostProcess
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.services.publishing import probe_publisher
from traywarden.services.running import running_host
from traywarden.store import journal as journal_store
from traywarden.store.store import Store

pytestmark = [pytest.mark.system, pytest.mark.parametrize("size", SIZES)]
ARRIVES_MS = 10_000
DRY_V, WET_V = 2.401, 1.252


def _step(seen: Visit, name: str) -> None:
    """What holds at every step, and its picture."""
    seen.hold()
    seen.picture(name)


def _entries(home: Path) -> list[Entry]:
    with Store.open(of_readings(home).store_url, backup=False) as store, store.read() as tx:
        return journal_store.facts(tx).entries


# From an empty home to a calibrated probe -------------------------------------------------------------------


@pytest.fixture
def host(tmp_path: Path) -> Iterator[tuple[HostProcess, str]]:
    """The real host in a process of its own, in a home that holds nothing; the address of its pages."""
    port = free_port()
    (tmp_path / "settings.toml").write_text(f"web.port = {port}\nbroker.port = 0\n", encoding="utf-8")
    with HostProcess(tmp_path) as running:
        yield running, f"http://localhost:{port}"


class Probe:
    """A probe that sends over MQTT to the built-in broker, as a real one does."""

    def __init__(self, home: Path) -> None:
        until_s = time.monotonic() + 20
        while (running := running_host(home)) is None:
            assert time.monotonic() < until_s, "the host does not run"
            time.sleep(0.05)
        self._publisher: ProbePublisher = probe_publisher(
            "127.0.0.1", running.broker_port, "hill-garden", "bench-1"
        )
        self._publisher.connect()
        self._sent = 0

    def measures(self, volts: float, times: int = 1) -> None:
        """So many readings of its air sensor and of its head, all of now; returns once they are stored."""
        for _ in range(times):
            self._sent += 1
            now_ms = time.time_ns() // 1_000_000
            air = Reading("bench-1", 0, 1, self._sent, now_ms, now_ms, air_temp_c=14.2, rh_pct=61.0)
            soil = Reading("bench-1", 1, 1, self._sent, now_ms, now_ms, soil_temp_c=15.5, moisture_v=volts)
            self._publisher.send([air, soil])
            time.sleep(0.01)
        assert self._publisher.drain(20)

    def close(self) -> None:
        self._publisher.close()


def test_from_an_empty_home_to_a_placed_and_calibrated_probe(
    browser: Browser, host: tuple[HostProcess, str], size: str
) -> None:
    running, address = host
    with visit(browser, address, size) as seen:
        _garden_place_mix_tray(seen)
        probe = Probe(running.home)
        try:
            _placed(seen, probe)
            _calibrated(seen, probe)
        finally:
            probe.close()
        kinds = [entry.kind for entry in _entries(running.home)]
    assert kinds == [Kind.FILLED, Kind.MOVED, Kind.HEAD_PLACED, Kind.CALIBRATED]


def _garden_place_mix_tray(seen: Visit) -> None:
    page = seen.page
    seen.open("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("What is your garden called?")
    _step(seen, "start 1 garden")
    page.locator("[name=name]").fill("Hill garden")
    page.locator("[name=zone]").select_option("Europe/Lisbon")
    page.get_by_role("button", name="Make the garden").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Where do trays stand?")
    _step(seen, "start 2 place")
    page.locator("[name=name]").fill("South bench")
    page.locator("[name=kind]").select_option("open bench")
    page.get_by_role("button", name="Add the place").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What are trays filled with?")
    page.locator("[name=name]").fill("Seed mix")
    page.get_by_label("Ingredient 1", exact=True).fill("coir")
    page.get_by_label("Parts of ingredient 1").fill("2")
    page.get_by_label("Ingredient 2", exact=True).fill("perlite")
    _step(seen, "start 3 mix")
    page.get_by_role("button", name="Add the mix").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which tray first?")
    page.locator("[name=name]").fill("A1")
    page.get_by_label("Cells").fill("72")
    _step(seen, "start 4 tray")
    page.get_by_role("button", name="Add the tray").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which probe is where?")
    expect(page.locator("main")).to_contain_text("traywarden/v1/hill-garden/NAME/readings")
    _step(seen, "start 5 waiting for a probe")


def _placed(seen: Visit, probe: Probe) -> None:
    """The page shows the probe by itself once it has sent; its head goes into the tray."""
    page = seen.page
    probe.measures(1.8)
    waiting = page.get_by_role("heading", name="Head bench-1/1 waits for its place")
    expect(waiting).to_be_visible(timeout=ARRIVES_MS)
    _step(seen, "start 6 a probe reports")
    form = page.locator("article", has=waiting)
    form.locator("[name=where]").select_option(label="A1")
    form.get_by_role("button", name="Place it").click()
    expect(page.locator("main")).to_contain_text("Every head that has reported has its place")
    _step(seen, "start 7 placed")
    page.get_by_role("link", name="To the garden").click()
    expect(page.locator(".glance")).to_contain_text("A1")
    probe.measures(1.8)  # what it measured before belongs to no tray
    expect(page.locator(".glance")).to_contain_text("15.5 °C", timeout=ARRIVES_MS)
    _step(seen, "start 8 the garden")


def _calibrated(seen: Visit, probe: Probe) -> None:
    """Volts come while the page is open; it offers them once they stand still."""
    page = seen.page
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Probes").click()
    page.get_by_role("link", name="bench-1", exact=True).click()
    page.get_by_role("link", name="Calibrate head bench-1/1").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Calibrate head bench-1/1")
    _step(seen, "calibrate 1 dry mix")
    for volts, button, name in ((DRY_V, "It is in the dry mix", "dry"), (WET_V, "It has drained", "wet")):
        page.get_by_role("link", name=button).click()
        probe.measures(volts)
        expect(page.locator(".volts")).to_contain_text(f"{volts:.3f} V", timeout=ARRIVES_MS)
        expect(page.locator(".volts")).to_contain_text("1 reading")
        probe.measures(volts, 3)
        take = page.get_by_role("link", name=f"Take {volts:.3f} V")
        expect(take).to_be_visible(timeout=ARRIVES_MS)
        _step(seen, f"calibrate 2 volts stand still {name}")
        take.click()
    expect(page.get_by_label("Dry mix: volts")).to_have_value(f"{DRY_V}")
    expect(page.get_by_label("Drained mix: volts")).to_have_value(f"{WET_V}")
    _step(seen, "calibrate 3 write it down")
    page.get_by_role("button", name="Write the calibration down").click()
    expect(page.get_by_role("status").first).to_contain_text("Written down")
    _step(seen, "calibrate 4 written")


# In a garden of three weeks ---------------------------------------------------------------------------------


def _to(page: Page, name: str) -> None:
    page.get_by_role("navigation", name="Pages").get_by_role("link", name=name, exact=True).click()


def test_seedlings_are_counted_with_two_taps_and_by_number(
    browser: Browser, season_own: str, tmp_path: Path, size: str
) -> None:
    before = len(_entries(tmp_path / "season"))
    with visit(browser, season_own, size) as seen:
        page = seen.page
        seen.open("/")
        _to(page, "Sowings")
        _step(seen, "count 1 sowings")
        page.get_by_role("button", name="First seedlings in Tray 3").click()
        expect(page.get_by_role("status")).to_contain_text("Tray 3")
        _step(seen, "count 2 the first are up")
        row = page.locator("li", has=page.get_by_role("link", name="Tray 8", exact=True))
        row.locator("summary").click()
        row.get_by_role("button", name="+5: 34 in Tray 8").click()
        expect(page.get_by_role("status")).to_contain_text("34")
        row.locator("summary").click()
        row.get_by_label("All up so far in Tray 8").fill("36")
        row.get_by_role("button", name="Write the count").click()
        expect(page.get_by_role("status")).to_contain_text("36")
        expect(row).to_contain_text("36")
        _step(seen, "count 3 by number")
    made = _entries(tmp_path / "season")[before:]
    assert [entry.kind for entry in made] == [Kind.EMERGED] * 3
    assert [entry.data.get("count") for entry in made] == [None, 34, 36]


def test_the_frame_is_held_against_the_bench(browser: Browser, season_own: str, size: str) -> None:
    with visit(browser, season_own, size) as seen:
        page = seen.page
        seen.open("/")
        _to(page, "Places")
        _step(seen, "compare 1 places")
        form = page.locator("form[action='/places/compare']")
        form.locator("[name=a]").select_option("cold frame")
        form.locator("[name=b]").select_option("open bench")
        form.get_by_label("From").fill("2026-03-10")
        form.locator("[name=to]").fill("2026-03-20")
        form.get_by_role("button", name="Compare").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("cold frame against open bench")
        expect(page.locator(".saying")).to_contain_text(
            re.compile(r"cold frame was [\d.]+ °C warmer than open bench")
        )
        page.locator("figure.chart").scroll_into_view_if_needed()
        expect(page.locator("figure.chart .drawn svg")).to_be_visible()
        page.locator("summary", has_text="Every day").click()
        expect(page.get_by_role("region", name="Every day").locator("tbody tr")).to_have_count(11)
        _step(seen, "compare 2 frame against bench")
        page.get_by_role("link", name="table", exact=True).click()
        expect(page.get_by_role("region", name="Table").locator("tbody tr")).to_have_count(11)
        _step(seen, "compare 3 numbers behind the chart")
        with page.expect_download() as kept:
            page.get_by_role("link", name="The same as CSV").click()
        assert len(kept.value.path().read_text(encoding="utf-8").splitlines()) == 12
        seen.hold()


def test_the_week_is_read_and_kept_as_a_file(
    browser: Browser, season_own: str, tmp_path: Path, size: str
) -> None:
    with visit(browser, season_own, size) as seen:
        page = seen.page
        seen.open("/")
        page.get_by_role("link", name="The week").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("The week of 17 to 23 March 2026")
        _step(seen, "week 1 this one")
        page.get_by_role("link", name="The week before").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("The week of 10 to 16 March 2026")
        with page.expect_download() as kept:
            page.get_by_role("link", name="Keep it as one file").click()
        file = tmp_path / kept.value.suggested_filename
        kept.value.save_as(file)
        seen.hold()
    with visit(browser, file.as_uri(), size) as alone:
        alone.page.goto(file.as_uri())
        expect(alone.page.get_by_role("heading", level=1)).to_contain_text("10 to 16 March")
        _step(alone, "week 2 as a file")


def test_a_need_is_hushed_and_heard_of_again(browser: Browser, season_own: str, size: str) -> None:
    with visit(browser, season_own, size) as seen:
        page = seen.page
        seen.open("/")
        need = page.locator("article.need").first
        title = need.get_by_role("heading").inner_text()
        _step(seen, "hush 1 what needs you")
        need.get_by_role("button", name=re.compile("^Hush until")).click()
        hushed = page.locator("article.need", has_text=title).filter(has_text="Nothing is sent about it")
        expect(hushed.first).to_be_visible()
        _step(seen, "hush 2 hushed")
        hushed.first.get_by_role("button", name=re.compile("^Undo")).click()
        expect(page.locator("article.need", has_text="Nothing is sent about it")).to_have_count(0)
        seen.hold()
