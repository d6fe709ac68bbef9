"""A host started in an empty home serves the page that makes the garden, and takes readings from then on."""

import re
import time
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest

from tests.system.brokers import free_port
from tests.system.hosts import HostProcess
from traywarden.services.running import running_host

WAIT_S = 20.0


def empty_home(folder: Path) -> tuple[HostProcess, str]:
    port = free_port()
    (folder / "settings.toml").write_text(f"web.port = {port}\nbroker.port = 0\n", encoding="utf-8")
    return HostProcess(folder), f"http://localhost:{port}"


@pytest.mark.system
def test_a_garden_made_on_the_page_starts_the_host(tmp_path: Path) -> None:
    host, address = empty_home(tmp_path)
    with host:
        assert "There is no garden" in host.said
        assert running_host(tmp_path) is None
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        page = browser.open(f"{address}/").read().decode()
        found = re.search(r'name="form_token" value="([^"]+)"', page)
        assert found is not None
        form = {"form_token": found[1], "back": "/start", "name": "Hill", "zone": "Europe/Lisbon"}
        browser.open(f"{address}/make/garden", urllib.parse.urlencode(form).encode())
        until_s = time.monotonic() + WAIT_S
        while "Garden “Hill”" not in host.said:
            assert time.monotonic() < until_s, host.said
            time.sleep(0.05)
        running = running_host(tmp_path)
        assert running is not None
        assert running.broker_port > 0
        assert browser.open(f"{address}/start").status == 200  # the same pages, not others elsewhere
        assert host.said.count(address) == 2
        assert host.end() == 0
    assert "stored" in host.said.splitlines()[-1]


@pytest.mark.system
def test_a_host_that_waits_for_its_garden_ends_when_told(tmp_path: Path) -> None:
    host, _ = empty_home(tmp_path)
    with host:
        assert host.end(10) == 0
