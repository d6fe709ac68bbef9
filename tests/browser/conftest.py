"""A real browser, and real gardens served to it."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.visits import axe_source, chromium
from tests.services.little_garden import little_garden
from tests.web.hostile import made_hostile
from tests.web.season_home import season_home
from traywarden.settings import Settings, load
from traywarden.web.serving import Serving


# Of the package, not of the session: while it is open an event loop runs in this thread, which other tests
# could not start theirs beside.
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="package")
def axe() -> str:
    """The checker of pages, as a script."""
    return axe_source()


def of_readings(home: Path) -> Settings:
    """The garden in the folder, served on a free port; its clock is its last reading."""
    return load(home, environ={}, overrides={"web.port": 0, "host.clock": "readings"})


@contextmanager
def served(home: Path) -> Iterator[str]:
    with Serving(of_readings(home)) as serving:
        yield serving.address


@pytest.fixture(scope="package")
def little_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("little")
    little_garden(home).store.close()
    return home


@pytest.fixture(scope="package")
def garden(little_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The little garden to look at, with names and notes that could break a page; its address."""
    home = tmp_path_factory.mktemp("looked-at") / "home"
    shutil.copytree(little_home, home)
    made_hostile(home)
    with served(home) as address:
        yield address


@pytest.fixture
def home(little_home: Path, tmp_path: Path) -> Path:
    """The little garden to write in."""
    copied = tmp_path / "home"
    shutil.copytree(little_home, copied)
    return copied


@pytest.fixture
def own(home: Path) -> Iterator[str]:
    """Its address."""
    with served(home) as address:
        yield address


@pytest.fixture(scope="package")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three weeks of an invented garden, not to be written in."""
    home = tmp_path_factory.mktemp("season") / "home"
    season_home(home)
    return home


@pytest.fixture
def season_own(season: Path, tmp_path: Path) -> Iterator[str]:
    """The address of one that may be written in."""
    copied = tmp_path / "season"
    shutil.copytree(season, copied)
    with served(copied) as address:
        yield address


@pytest.fixture(scope="package")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A garden in which nothing was measured, to look at."""
    home = tmp_path_factory.mktemp("empty")
    little_garden(home, with_readings=False).store.close()
    with served(home) as address:
        yield address
