"""A probe on the genuine interpreter, TLS, mosquitto and the host, end to end.

The build of MicroPython for WebAssembly has no TLS of its own. So what is run for real here is the firmware
and its whole use of `ssl`, Node's OpenSSL on the probe's side of the wire, and mosquitto's and the host's;
what is stood in for is mbedTLS (tests/interpreter/fakes/ssl.py), which no test without a board can run. Two
things of it are kept because they decide whether a probe ever connects: hands are shaken while the first
packet is written, and a certificate's dates are judged by the board's calendar, which begins with 2000.
"""

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.cables import until
from tests.interpreter.node import Node, packed
from tests.interpreter.probes import BENCH, settings
from tests.system.authority import listener, make_authority
from tests.system.brokers import Mosquitto, mosquitto
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import probes, readings

pytestmark = pytest.mark.system
HOSTS = {"time.example": "192.0.2.5", "broker.example": "127.0.0.1"}
BUDGET_MS = 45_000
CABLE_MS = 6_000


@pytest.fixture(scope="module")
def node() -> Iterator[Node]:
    with Node() as started:
        yield started


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture
def broker(authority: Path, tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "mosquitto", listener(authority)) as started:
        yield started


@pytest.fixture
def host(broker: Mosquitto, authority: Path, tmp_path: Path) -> Iterator[Host]:
    """The host at the same broker, over TLS as well."""
    home = made_home(
        tmp_path / "home",
        broker__builtin=False,
        broker__port=broker.port,
        broker__tls=True,
        broker__ca_file=str(authority / "ca.pem"),
    )
    with Host(home, say=lambda sentence: None) as started:
        yield started


def is_news(host: Host, before: dict[str, Any]) -> bool:
    return state(host) != before


class Probe:
    """One probe whose settings ask for TLS, and whose wakes are now."""

    latest = 0

    def __init__(self, node: Node, port: int, ca: Path, **more: Any) -> None:
        Probe.latest += 1
        self.node, self.board = node, f"f412fb{Probe.latest:06x}"
        self.now_ms = time.time_ns() // 1_000_000
        self.is_given(ca, port, **more)

    def is_given(self, ca: Path, port: int, **more: Any) -> None:
        """Put settings and the authority's certificate onto it, beside what it holds."""
        broker = {"host": "broker.example", "port": port, "tls": True, "ca_file": "ca.pem"}
        given = settings("probe-1", port, **more | {"broker": broker | more.get("broker", {})})
        flash = self.node.order("board", board=self.board)["flash"]
        flash |= packed({"/settings.json": given, "/ca.pem": ca.read_bytes()})
        self.node.order("board", board=self.board, flash=flash)

    def wake(self, **script: Any) -> dict[str, Any]:
        script = {"now_ms": self.now_ms, "hosts": HOSTS, "bench": BENCH} | script
        answer = self.node.wake(self.board, script)
        assert answer["ended"] == "deep sleep", answer
        self.now_ms += round(answer["awake_ms"] + answer["sleep_ms"])
        return answer

    def wake_until_stored(self, host: Host, rows: int) -> list[str]:
        """Of a probe that gets through: wakes until so many rows are stored; the faults it told."""
        told: list[str] = []
        for _ in range(20):
            before = state(host)
            if self.wake()["radio_ms"]:
                until(partial(is_news, host, before))
                told += state(host)["faults"]
            if stored(host) >= rows:
                return told
        raise AssertionError(f"{stored(host)} rows are stored")


def stored(host: Host) -> int:
    with host.store.read() as tx:
        return readings.count(tx)


def state(host: Host) -> dict[str, Any]:
    with host.store.read() as tx:
        found = [probe for probe in probes.probes(tx) if probe.name == "probe-1"]
        return {"faults": []} | dict(found[0].state) if found else {"faults": []}


def test_readings_go_to_the_host_over_tls_and_are_freed_by_its_receipts(
    node: Node, authority: Path, broker: Mosquitto, host: Host
) -> None:
    probe = Probe(node, broker.port, authority / "ca.pem", send_s=600)
    answers = [probe.wake() for _ in range(3)]
    until(lambda: state(host).get("spool") == 0)
    with host.store.read() as tx:
        assert readings.count(tx) == 2 * 3  # the air's and one head's
    assert (state(host)["state"], state(host)["faults"]) == ("asleep", [])
    assert max(answer["awake_ms"] for answer in answers) < BUDGET_MS


@pytest.mark.parametrize(
    ("changes", "ca", "words"),
    [
        ({}, "other.pem", "not correctly signed by the trusted CA"),
        ({"broker": {"host": "someone.example"}}, "ca.pem", "does not match"),
        ({"ntp": {"host": ""}}, "ca.pem", "validity starts in the future"),
        ({"broker": {"ca_file": "none.pem"}}, "ca.pem", "the CA file of the settings cannot be read"),
    ],
    ids=["of another authority", "of another name", "for a probe that knows no date", "that is not there"],
)
def test_a_broker_that_cannot_prove_who_it_is_gets_nothing_and_the_probe_says_why(
    node: Node,
    authority: Path,
    broker: Mosquitto,
    host: Host,
    changes: dict[str, Any],
    ca: str,
    words: str,
) -> None:
    probe = Probe(node, broker.port, authority / ca, send_s=600, **changes)
    refused = probe.wake(hosts=HOSTS | {"someone.example": "127.0.0.1"})
    assert stored(host) == 0
    assert refused["awake_ms"] < BUDGET_MS
    # Once it is put right all arrives, and with it what had been wrong.
    probe.is_given(authority / "ca.pem", broker.port, send_s=600)
    told = probe.wake_until_stored(host, 4)
    assert any(words in fault for fault in told), told


def test_without_a_time_server_the_date_of_set_up_lets_it_in_and_the_host_tells_the_time(
    node: Node, authority: Path, broker: Mosquitto, host: Host
) -> None:
    now_s = time.time_ns() // 1_000_000_000
    probe = Probe(node, broker.port, authority / "ca.pem", ntp={"host": ""}, set_up_s=now_s)
    probe.wake()
    assert stored(host) == 2
    until(lambda: state(host).get("sync_age_s") == 0)


def test_a_handshake_that_is_never_finished_costs_its_budget_and_no_reading(
    node: Node, authority: Path, broker: Mosquitto, host: Host
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        held: list[socket.socket] = []

        def take() -> None:
            with contextlib.suppress(OSError):
                while True:
                    held.append(silent.accept()[0])  # and says nothing

        threading.Thread(target=take, daemon=True).start()
        probe = Probe(node, silent.getsockname()[1], authority / "ca.pem", send_s=600)
        answer = probe.wake(pace=0.1)
        for one in held:
            one.close()
    assert held
    assert 8_000 < answer["awake_ms"] < 20_000 + CABLE_MS
    probe.is_given(authority / "ca.pem", broker.port, send_s=600)
    told = probe.wake_until_stored(host, 4)
    assert any("TLS" in fault or "CONNACK" in fault for fault in told), told
