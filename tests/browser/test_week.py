"""The week as a file: it opens anywhere, says no error, asks nobody, and prints."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import of_readings
from tests.browser.visits import SIZES, chromium, visit
from traywarden.cli.main import main

pytestmark = pytest.mark.system


@pytest.fixture(scope="module")
def written(little_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made by the command, printed too."""
    chromium()
    file = tmp_path_factory.mktemp("week") / "week.html"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRAYWARDEN_HOST_CLOCK", "readings")
        assert of_readings(little_home)["host.clock"] == "readings"
        assert main(["--home", str(little_home), "week", str(file), "--pdf"]) == 0
    return file


@pytest.mark.parametrize("size", SIZES)
def test_the_file_opens_by_itself(browser: Browser, axe: str, written: Path, size: str) -> None:
    with visit(browser, written.as_uri(), size) as seen:
        seen.page.goto(written.as_uri())
        seen.page.locator("main").wait_for()
        seen.hold()
        seen.picture("week file")
        drawn = seen.page.locator("figure img").evaluate_all("all => all.map(i => i.naturalWidth)")
        assert len(drawn) == 1
        assert min(drawn) > 300
        assert seen.violations(axe) == []


def test_the_file_is_printed(written: Path) -> None:
    pdf = written.with_suffix(".pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert len(pdf) > 10_000
    assert b"/Page" in pdf
