"""Accounts for mosquitto: each probe may write its own topics and read its own receipts, and no more."""

import base64
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import Mosquitto, mosquitto
from tests.system.hosts import made_home
from traywarden.domain.readings import Reading
from traywarden.errors import UsageError
from traywarden.services.broker_accounts import (
    Accounts,
    known_accounts,
    mosquitto_hash,
    password_of,
    write_accounts,
)
from traywarden.services.host import Host
from traywarden.services.publishing import probe_publisher
from traywarden.store import readings

PREFIX = "traywarden/v1/demo"


def written(folder: Path, *probes: str, **more: Any) -> Accounts:
    return write_accounts(folder, "demo", "traywarden-host", probes, **more)


def test_the_hash_is_pbkdf2_with_sha_512_as_mosquitto_passwd_writes_it() -> None:
    """What mosquitto_passwd 2.0 wrote for the password “hoopoe” (mosquitto_passwd -c -b FILE u hoopoe)."""
    made = (
        "$7$101$y9t3FAa3ker6lqRz$zbFyAZEcZUtT8vUD1EaG0ZZuuAnLhscr9m+5odTH464"
        "/C/RrVJUo4OUbvAE1uD7U+4uSR5+E3i61/MrxQ2kyDA=="
    )
    assert mosquitto_hash("hoopoe", base64.b64decode("y9t3FAa3ker6lqRz")) == made


def test_accounts_that_are_there_keep_their_password_and_others_join(tmp_path: Path) -> None:
    first = written(tmp_path, "bench-1")
    assert first.fresh == ("traywarden-host", "bench-1")
    before = password_of(tmp_path, "bench-1").reveal()
    second = written(tmp_path, "bench-1", "frame-1")
    assert second.fresh == ("frame-1",)
    assert password_of(tmp_path, "bench-1").reveal() == before
    assert known_accounts(tmp_path) == {"traywarden-host", "bench-1", "frame-1"}
    written(tmp_path, "bench-1", renew=["bench-1"])
    assert password_of(tmp_path, "bench-1").reveal() != before
    assert before not in (tmp_path / "passwd").read_text()


def test_nobody_else_may_read_the_files(tmp_path: Path) -> None:
    written(tmp_path, "bench-1")
    assert {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()} == {0o600}


def test_names_that_cannot_be_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    for name, words in [("+", "cannot stand in a topic"), ("a:b", "cannot stand"), ("#", "cannot stand")]:
        with pytest.raises(UsageError, match=words):
            written(tmp_path / "none", name)
    with pytest.raises(UsageError, match="the host's account"):
        written(tmp_path / "none", "traywarden-host")
    with pytest.raises(UsageError, match="no account “x” to renew"):
        written(tmp_path / "none", "bench-1", renew=["x"])
    assert not list((tmp_path / "none").glob("*"))
    with pytest.raises(UsageError, match="broker accounts"):
        password_of(tmp_path, "bench-1")


class Client:
    """A client of the broker, and what it hears."""

    def __init__(self, broker: Mosquitto, user: str, password: str) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.reason = ""
        self._settled = threading.Event()
        self.talk = paho.Client(CallbackAPIVersion.VERSION2)
        self.talk.username_pw_set(user, password)
        self.talk.on_message = lambda c, u, m: self.heard.append((m.topic, bytes(m.payload)))
        self.talk.on_connect = self._connected
        self.talk.connect(broker.host, broker.port)
        self.talk.loop_start()
        assert self._settled.wait(10)

    def _connected(self, client: Any, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.reason = str(reason)
        self._settled.set()

    def listen(self, topic: str) -> None:
        done = threading.Event()
        self.talk.on_subscribe = lambda *_: done.set()
        self.talk.subscribe(topic, 1)
        assert done.wait(10)

    def say(self, topic: str, payload: str) -> None:
        """Publish, and wait until the broker has answered: some end the connection of who may not."""
        done = threading.Event()
        self.talk.on_publish = self.talk.on_disconnect = lambda *_: done.set()
        self.talk.publish(topic, payload, qos=1)
        assert done.wait(10)

    def close(self) -> None:
        self.talk.disconnect()
        self.talk.loop_stop()


@contextmanager
def clients(broker: Mosquitto, folder: Path, *names: str) -> Iterator[list[Client]]:
    made = [Client(broker, name, password_of(folder, name).reveal()) for name in names]
    try:
        yield made
    finally:
        for client in made:
            client.close()


@pytest.mark.system
def test_with_the_real_mosquitto_a_probe_writes_its_own_topics_and_no_others(tmp_path: Path) -> None:
    folder = tmp_path / "accounts"
    written(folder, "bench-1", "frame-1")
    lines = (folder / "accounts.conf").read_text()
    with (
        mosquitto(tmp_path / "broker", more=lines) as broker,
        clients(broker, folder, "traywarden-host", "bench-1", "frame-1") as (host, bench, frame),
    ):
        host.listen("traywarden/v1/#")
        for client in (bench, frame):
            client.listen("#")
            client.listen(f"{PREFIX}/bench-1/receipt")
            client.listen(f"{PREFIX}/bench-1/settings")
        forged = [f"{PREFIX}/frame-1/{kind}" for kind in ("readings", "state", "receipt", "settings")]
        forged += [f"{PREFIX}/bench-1/receipt", f"{PREFIX}/bench-1/settings", f"{PREFIX}/readings"]
        forged += ["traywarden/v1/other/bench-1/readings", "anything"]
        for topic in forged:
            with clients(broker, folder, "bench-1") as (forger,):
                forger.say(topic, "forged")
        bench.say(f"{PREFIX}/bench-1/readings", "mine")
        bench.say(f"{PREFIX}/bench-1/state", "mine too")
        host.say(f"{PREFIX}/bench-1/receipt", "stored")
        host.say(f"{PREFIX}/bench-1/settings", "do this")
        until_s = time.monotonic() + 20
        while time.monotonic() < until_s and (len(host.heard) < 4 or len(bench.heard) < 2):
            time.sleep(0.02)
        frame.say(f"{PREFIX}/frame-1/state", "last")  # whatever was to reach it came before this goes round
        while time.monotonic() < until_s and len(host.heard) < 5:
            time.sleep(0.02)
        assert set(host.heard) == {
            (f"{PREFIX}/bench-1/readings", b"mine"),
            (f"{PREFIX}/bench-1/state", b"mine too"),
            (f"{PREFIX}/bench-1/receipt", b"stored"),
            (f"{PREFIX}/bench-1/settings", b"do this"),
            (f"{PREFIX}/frame-1/state", b"last"),
        }
        assert {topic for topic, _ in bench.heard} == {
            f"{PREFIX}/bench-1/receipt",
            f"{PREFIX}/bench-1/settings",
        }
        assert frame.heard == []


@pytest.mark.system
def test_with_the_real_mosquitto_a_wrong_password_and_a_stranger_are_refused(tmp_path: Path) -> None:
    folder = tmp_path / "accounts"
    written(folder, "bench-1")
    with mosquitto(tmp_path / "broker", more=(folder / "accounts.conf").read_text()) as broker:
        for user, password in [("bench-1", "hoopoe"), ("frame-1", "x"), ("bench-1", "")]:
            client = Client(broker, user, password)
            client.close()
            assert client.reason == "Not authorized"


@pytest.mark.system
def test_a_host_and_a_probe_with_these_accounts_do_all_their_work(tmp_path: Path) -> None:
    """Readings, receipts and settings, over the real mosquitto with these rights and no others."""
    folder = tmp_path / "accounts"
    written(folder, "bench-1")
    host_word, probe_word = (password_of(folder, name).reveal() for name in ("traywarden-host", "bench-1"))
    with mosquitto(tmp_path / "broker", more=(folder / "accounts.conf").read_text()) as broker:
        home = made_home(
            tmp_path / "home",
            broker__builtin=False,
            broker__port=broker.port,
            broker__user="traywarden-host",
            broker__password=host_word,
        )
        rows = [
            Reading("bench-1", 1, 1, n, 1_750_000_000_000 + n * 1000, 0, soil_temp_c=9.0) for n in range(50)
        ]
        with Host(home) as host:
            with probe_publisher(
                broker.host, broker.port, "demo", "bench-1", user="bench-1", password=probe_word
            ) as probe:
                probe.connect()
                probe.send(rows)
                assert probe.drain(30)  # until the receipt
            with host.store.read() as tx:
                assert readings.count(tx) == 50
            with clients(broker, folder, "bench-1") as (probe_again,):
                probe_again.listen(f"{PREFIX}/bench-1/settings")
                until_s = time.monotonic() + 20
                while time.monotonic() < until_s and not probe_again.heard:
                    time.sleep(0.02)
                assert b"revision" in probe_again.heard[0][1]
