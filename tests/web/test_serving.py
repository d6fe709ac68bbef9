"""The pages over a real socket: live news of what was stored, and a clean end."""

import http.client
import socket
import time
from pathlib import Path

import pytest

from tests.services.little_garden import little_garden
from tests.system.hosts import made_home
from traywarden.domain.readings import Reading
from traywarden.errors import UsageError
from traywarden.settings import load
from traywarden.store import readings
from traywarden.store.store import Store
from traywarden.web.serving import Serving


@pytest.mark.system
def test_a_reading_stored_by_another_program_is_told_within_two_seconds(tmp_path: Path) -> None:
    little_garden(tmp_path).store.close()
    settings = load(tmp_path, environ={}, overrides={"web.port": 0})
    with Serving(settings) as serving:
        port = int(serving.address.rstrip("/").rsplit(":", 1)[1])
        open_pages = [http.client.HTTPConnection("127.0.0.1", port, timeout=10) for _ in range(50)]
        answers = []
        for each in open_pages:
            each.request("GET", "/live")
            answers.append(each.getresponse())
            assert answers[-1].readline() == b"retry: 3000\n"
        began_s = time.monotonic()
        with Store.open(settings.store_url) as store, store.write() as tx:
            readings.insert(
                tx, [Reading("new", 1, 1, 0, 1_774_000_000_000, 1_774_000_000_000, soil_temp_c=9.0)]
            )
        for answer in answers:
            lines = [answer.readline() for _ in range(2)]
            assert b"event: changed\n" in lines
        assert time.monotonic() - began_s < 2
        for each in open_pages:
            each.close()


def test_a_taken_port_is_said_in_one_sentence(tmp_path: Path) -> None:
    made_home(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        settings = load(tmp_path, environ={}, overrides={"web.port": taken.getsockname()[1]})
        with pytest.raises(UsageError, match=r"choose another web\.port"), Serving(settings):
            pass


def test_an_address_that_others_reach_is_refused_without_a_password(tmp_path: Path) -> None:
    made_home(tmp_path)
    settings = load(tmp_path, environ={}, overrides={"web.port": 0, "web.host": "0.0.0.0"})
    with pytest.raises(UsageError, match="password"), Serving(settings):
        pass
