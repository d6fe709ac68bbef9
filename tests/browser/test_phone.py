"""On a phone: charts of its own width, the file of past weather read in, its time zone proposed."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, FloatRect, Locator, expect

from tests.browser.conftest import served
from tests.browser.visits import visit
from traywarden.store.store import Store

pytestmark = pytest.mark.system


def _box(shown: Locator) -> FloatRect:
    """Where it stands; the picture of a chart makes way for the drawn one in between."""
    for _ in range(100):
        expect(shown).to_be_visible()
        if (box := shown.bounding_box()) is not None:
            return box
        shown.page.wait_for_timeout(50)
    pytest.fail("no chart stands anywhere")


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_no_chart_is_moved_sideways(browser: Browser, own: str, scripts: bool) -> None:
    with visit(browser, own, "phone", java_script_enabled=scripts) as seen:
        for path in ("/trays/1", "/mixes"):
            seen.open(path)
            chart = seen.page.locator("figure.chart .drawn").first
            chart.scroll_into_view_if_needed()
            box = _box(chart.locator("svg, img").first)
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 390
            assert box["width"] > 280


@pytest.mark.parametrize("zone", ["Australia/Hobart", "Europe/Lisbon"])
def test_the_first_page_proposes_the_devices_time_zone(browser: Browser, tmp_path: Path, zone: str) -> None:
    Store.open(f"sqlite:///{tmp_path / 'traywarden.sqlite3'}").close()
    with served(tmp_path) as address, visit(browser, address, "phone", timezone_id=zone) as seen:
        seen.open("/start")
        expect(seen.page.locator("select[name=zone]")).to_have_value(zone)
        seen.hold()


def test_past_weather_is_read_in_with_a_thumb(browser: Browser, own: str, tmp_path: Path) -> None:
    file = tmp_path / "airfield.csv"
    days = "".join(f"2024-{m:02}-{d:02},{m},{m + 9}\n" for m in range(1, 13) for d in range(1, 29))
    file.write_text(f"date,tmin (°C),tmax (°C)\n{days}")
    with visit(browser, own, "phone", java_script_enabled=False) as seen:
        seen.open("/sowings/warm")
        seen.page.get_by_role("link", name="read some in, or a forecast").click()
        seen.page.get_by_label("File").set_input_files(file)
        seen.page.get_by_role("button", name="Look into it").click()
        expect(seen.page.get_by_text("336 days, 1 January 2024 to 28 December 2024")).to_be_visible()
        seen.picture("past weather looked into")
        seen.page.get_by_role("button", name="Read it in").click()
        expect(seen.page.get_by_role("status")).to_contain_text("336 days of “airfield” are read in")
