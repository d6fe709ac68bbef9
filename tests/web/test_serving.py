"""The pages over a real socket: live news of what was stored, and a clean end."""

import http.client
import socket
import ssl
import subprocess
import time
from pathlib import Path

import pytest

from tests.services.little_garden import little_garden
from tests.system.hosts import made_home
from traywarden.domain.readings import Reading
from traywarden.errors import UsageError
from traywarden.services import following
from traywarden.services.password import set_password
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
        assert len(at_first := {_number(answer) for answer in answers}) == 1
        began_s = time.monotonic()
        with Store.open(settings.store_url) as store, store.write() as tx:
            readings.insert(
                tx, [Reading("new", 1, 1, 0, 1_774_000_000_000, 1_774_000_000_000, soil_temp_c=9.0)]
            )
        for answer in answers:
            assert _number(answer) > max(at_first)
        assert time.monotonic() - began_s < 2
        for each in open_pages:
            each.close()


def _number(line: http.client.HTTPResponse) -> int:
    """The number of the next change told on an open line."""
    while (told := line.readline()) == b"\n":
        pass
    assert told == b"event: changed\n"
    return int(line.readline().removeprefix(b"data: "))


def test_pages_go_by_what_is_changed_in_the_file_while_they_are_served(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    little_garden(tmp_path).store.close()
    monkeypatch.setattr(following, "LOOK_S", 0.02)
    with Serving(load(tmp_path, environ={}, overrides={"web.port": 0})) as serving:
        port = int(serving.address.rstrip("/").rsplit(":", 1)[1])

        def rules() -> str:
            page = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
            page.request("GET", "/settings/rules")
            text = page.getresponse().read().decode()
            page.close()
            return text

        assert "<span>°C</span>" in rules()
        assert "<span>°F</span>" not in rules()
        (tmp_path / "settings.toml").write_text('display.temperature = "F"\n')
        until_s = time.monotonic() + 10
        while "<span>°F</span>" not in (text := rules()):
            assert time.monotonic() < until_s, text
            time.sleep(0.05)


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


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for localhost that signs itself."""
    cert, key = folder / "cert.pem", folder / "key.pem"
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:prime256v1",
        "-nodes",
    ]
    command += ["-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    subprocess.run([*command, "-out", str(cert), "-keyout", str(key)], check=True, capture_output=True)
    return cert, key


@pytest.mark.system
def test_with_a_password_the_network_is_served_and_over_tls_with_a_certificate(tmp_path: Path) -> None:
    made_home(tmp_path)
    set_password(tmp_path, "wren in a hedge")
    overrides = {"web.port": 0, "web.host": "0.0.0.0"}
    with Serving(load(tmp_path, environ={}, overrides=overrides)) as serving:
        assert serving.address.startswith("http://")
        assert "web.tls_cert" in serving.advice
        port = int(serving.address.rstrip("/").rsplit(":", 1)[1])
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        plain.request("GET", "/", headers={"host": "garden.example"})
        assert plain.getresponse().headers["location"] == "/sign-in"
        plain.close()
    cert, key = certificate(tmp_path)
    overrides |= {"web.tls_cert": str(cert), "web.tls_key": str(key)}
    with Serving(load(tmp_path, environ={}, overrides=overrides)) as serving:
        assert serving.address.startswith("https://")
        assert serving.advice == ""
        port = int(serving.address.rstrip("/").rsplit(":", 1)[1])
        trusts = ssl.create_default_context(cafile=str(cert))
        safe = http.client.HTTPSConnection("localhost", port, timeout=10, context=trusts)
        safe.request("GET", "/sign-in")
        answer = safe.getresponse()
        assert answer.status == 200
        assert "; secure" in answer.headers["set-cookie"]
        safe.close()


def test_tls_that_cannot_be_had_is_said_in_one_sentence(tmp_path: Path) -> None:
    made_home(tmp_path)
    cert, key = certificate(tmp_path)
    (tmp_path / "none.pem").write_text("nothing")
    for given, says in (
        ({"web.tls_cert": str(cert)}, "needs both"),
        ({"web.tls_key": str(key)}, "needs both"),
        ({"web.tls_cert": str(tmp_path / "away.pem"), "web.tls_key": str(key)}, "No such file"),
        ({"web.tls_cert": str(tmp_path / "none.pem"), "web.tls_key": str(key)}, "PEM files"),
    ):
        settings = load(tmp_path, environ={}, overrides={"web.port": 0, **given})
        with pytest.raises(UsageError, match=says), Serving(settings):
            pass
