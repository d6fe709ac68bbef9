"""The link and the broker's part of the wake cycle against a real mosquitto and the host's own broker."""

import contextlib
import json
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from probe import settings as table
from probe import sockets
from probe.broker import Broker
from probe.link import LinkError, Mqtt
from tests.firmware.waiting import RealTicks
from tests.system.authority import listener, make_authority
from tests.system.brokers import Mosquitto, mosquitto, program
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import readings

pytestmark = pytest.mark.system
BUDGET_MS = 30_000
PACK = (
    b'[{"bt":1760000000,"n":"sequence","u":"count","v":%d},{"n":"boot","u":"count","v":3},'
    b'{"n":"oldest","u":"count","v":1},{"n":"1/soil_temperature","u":"Cel","v":12.25}]'
)


class _Watcher:
    """Somebody else at the broker, who sees what is published."""

    def __init__(self, broker: Mosquitto, topic: str) -> None:
        self.seen: list[tuple[str, bytes]] = []
        self.news = threading.Condition()
        ready = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2)
        self.client.on_subscribe = lambda *_: ready.set()
        self.client.on_message = self._on_message
        self.client.connect(broker.host, broker.port)
        self.client.subscribe(topic, 1)
        self.client.loop_start()
        assert ready.wait(20)

    def _on_message(self, client: Any, data: Any, message: Any) -> None:
        with self.news:
            self.seen.append((message.topic, message.payload))
            self.news.notify_all()

    def awaits(self, wanted: Callable[[list[tuple[str, bytes]]], bool]) -> None:
        with self.news:
            assert self.news.wait_for(lambda: wanted(self.seen), 20), self.seen

    def end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture(scope="module")
def local_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("mosquitto")) as broker:
        yield broker


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An authority, and a certificate it gave for 127.0.0.1."""
    return make_authority(tmp_path_factory.mktemp("certificates"))


def _mqtt() -> Mqtt:
    return Mqtt(sockets, RealTicks(), BUDGET_MS)


def _settings(port: int, **broker: object) -> dict[str, Any]:
    given = {"name": "north-bench", "garden": "demo", "broker": {"host": "127.0.0.1", "port": port} | broker}
    made, problems = table.check(given, table.defaults())
    assert not problems
    return made


def _broker(port: int, ca: Path | None = None, **broker: object) -> Broker:
    def ca_der() -> bytes:
        assert ca is not None
        return sockets.der_from_pem(ca.read_bytes())

    return Broker(_settings(port, **broker), sockets, RealTicks(), lambda: "192.0.2.1", ca_der)


def test_published_means_the_broker_has_it_and_messages_come_back(local_broker: Mosquitto) -> None:
    mqtt = _mqtt()
    mqtt.connect(local_broker.host, local_broker.port, "echo", clean=True)
    mqtt.subscribe(["garden/echo"])
    for payload in (b"", b"one", bytes(range(256)) * 10):
        mqtt.publish("garden/echo", payload)
        assert mqtt.received(10_000) == ("garden/echo", payload)
    mqtt.ping()
    assert mqtt.disconnect()


def test_a_clean_goodbye_leaves_the_state_and_a_cut_makes_it_lost(local_broker: Mosquitto) -> None:
    topic = "traywarden/v1/demo/north-bench/state"
    watcher = _Watcher(local_broker, topic)
    try:
        for cut in (False, True):
            link = _broker(local_broker.port)
            link.connect(BUDGET_MS)
            link.publish("state", b'{"state":"asleep"}', True, BUDGET_MS)
            if cut:
                assert link._mqtt is not None
                link._mqtt.close()
            else:
                link.disconnect(BUDGET_MS)
        watcher.awaits(lambda seen: len(seen) == 3)
        assert [json.loads(payload)["state"] for _, payload in watcher.seen] == ["asleep", "asleep", "lost"]
    finally:
        watcher.end()
    late = _Watcher(local_broker, topic)
    late.awaits(bool)
    late.end()
    assert json.loads(late.seen[0][1]) == {"state": "lost"}


def test_a_receipt_that_comes_while_it_sleeps_waits_for_it(local_broker: Mosquitto) -> None:
    link = _broker(local_broker.port)
    link.connect(BUDGET_MS)
    link.disconnect(BUDGET_MS)
    host = _mqtt()
    host.connect(local_broker.host, local_broker.port, "host", clean=True)
    host.publish("traywarden/v1/demo/north-bench/receipt", b'{"boot":3,"sequence":42}')
    host.publish("traywarden/v1/demo/north-bench/settings", b'{"read_s":300}', retain=True)
    host.disconnect()
    link.connect(BUDGET_MS)
    came = {link.received(10_000), link.received(10_000)}
    link.disconnect(BUDGET_MS)
    assert came == {("receipt", b'{"boot":3,"sequence":42}'), ("settings", b'{"read_s":300}')}


def test_wrong_credentials_are_told_in_words_and_right_ones_let_it_in(tmp_path: Path) -> None:
    maker = program().replace("/mosquitto", "/mosquitto_passwd")
    if not Path(maker).exists():
        maker = "mosquitto_passwd"
    accounts = tmp_path / "accounts"
    subprocess.run(
        [maker, "-c", "-b", str(accounts), "north-bench", "right"], check=True, capture_output=True
    )
    accounts.chmod(0o644)
    more = f"allow_anonymous false\npassword_file {accounts}"
    with mosquitto(tmp_path / "broker", more) as broker:
        for user, password in (("north-bench", "wrong"), ("", "")):
            with pytest.raises(LinkError, match="user") as refused:
                _broker(broker.port, user=user, password=password).connect(BUDGET_MS)
            assert (refused.value.step, refused.value.permanent) == ("CONNACK", True)
        link = _broker(broker.port, user="north-bench", password="right")
        link.connect(BUDGET_MS)
        link.disconnect(BUDGET_MS)


def test_over_tls_only_a_broker_that_the_authority_signed_is_trusted(
    certificates: Path, tmp_path: Path
) -> None:
    with mosquitto(tmp_path / "broker", listener(certificates)) as broker:
        link = _broker(broker.port, certificates / "ca.pem", tls=True)
        link.connect(BUDGET_MS)
        link.publish("readings", PACK % 1 + b" " * 40_000, False, BUDGET_MS)
        link.disconnect(BUDGET_MS)
        with pytest.raises(LinkError, match=r"(?i)certificate") as unknown:
            _broker(broker.port, certificates / "other.pem", tls=True).connect(BUDGET_MS)
        assert unknown.value.step == "TLS"
        stranger = _mqtt()
        ca_der = sockets.der_from_pem((certificates / "ca.pem").read_bytes())
        with pytest.raises(LinkError, match=r"(?i)certificate|mismatch"):
            stranger.connect("127.0.0.1", broker.port, "probe", tls=("someone.else", ca_der))


def test_tls_with_a_ca_file_that_is_not_there_or_cut_says_so(tmp_path: Path) -> None:
    cut = tmp_path / "cut.pem"
    cut.write_text("-----BEGIN CERTIFICATE-----\nAAAA\n")
    for ca in (tmp_path / "none.pem", cut):
        with pytest.raises(LinkError, match="CA file") as failed:
            _broker(1, ca, tls=True).connect(BUDGET_MS)
        assert failed.value.permanent


def test_tls_with_a_broker_that_speaks_none_fails_and_closes(certificates: Path) -> None:
    ca_der = sockets.der_from_pem((certificates / "ca.pem").read_bytes())
    with socket.create_server(("127.0.0.1", 0)) as plain:
        port = plain.getsockname()[1]

        def hang_up() -> None:
            other = plain.accept()[0]
            with other, contextlib.suppress(ConnectionError):
                other.recv(2000)
                other.sendall(b"not TLS at all")
                other.shutdown(socket.SHUT_WR)
                other.recv(2000)

        server = threading.Thread(target=hang_up)
        server.start()
        mqtt = _mqtt()
        with pytest.raises(LinkError) as failed:
            mqtt.connect("127.0.0.1", port, "probe", tls=("127.0.0.1", ca_der))
        server.join()
    assert failed.value.step == "TLS"


def test_the_hosts_own_broker_takes_a_pack_and_the_host_gives_a_receipt(tmp_path: Path) -> None:
    with Host(made_home(tmp_path, broker__port=0), say=lambda _: None) as host:
        link = _broker(host.broker_address[1])
        link.connect(BUDGET_MS)
        for sequence in (1, 2):
            link.publish("readings", PACK % sequence, False, BUDGET_MS)
        newest = 0
        while newest < 2:
            came = link.received(20_000)
            assert came is not None
            assert came[0] == "receipt"
            newest = json.loads(came[1])["sequence"]
        link.publish("state", b'{"state":"asleep"}', True, BUDGET_MS)
        link.disconnect(BUDGET_MS)
        with host.store.read() as tx:
            assert readings.stored_sequences(tx, "north-bench", 3) == [1, 2]


def test_the_hosts_own_broker_asks_for_the_account_of_its_settings(tmp_path: Path) -> None:
    home = made_home(tmp_path, broker__port=0, broker__user="garden", broker__password="right")
    with Host(home, say=lambda _: None) as host:
        port = host.broker_address[1]
        with pytest.raises(LinkError):
            _broker(port, user="garden", password="wrong").connect(BUDGET_MS)
        link = _broker(port, user="garden", password="right")
        link.connect(BUDGET_MS)
        link.disconnect(BUDGET_MS)
