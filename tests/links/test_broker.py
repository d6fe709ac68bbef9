"""The built-in broker: who may connect, what an acknowledgement means, and how it ends."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from traywarden.errors import BrokerError, SettingsError
from traywarden.links.broker import LONGEST_PACKET_BYTES, BuiltinBroker
from traywarden.links.inbox import Inbox, Message
from traywarden.links.open_broker import is_loopback
from traywarden.settings import Settings, load

TOPIC = "garden/wanted"


def _settings(**values: object) -> Settings:
    chosen = {"broker.port": 0} | {key.replace("__", "."): value for key, value in values.items()}
    return load(Path("/nowhere"), environ={}, overrides=chosen)


@contextmanager
def _broker(inbox: Inbox | None = None, **values: object) -> Iterator[tuple[BuiltinBroker, Inbox]]:
    inbox = Inbox() if inbox is None else inbox
    broker = BuiltinBroker(_settings(**values), lambda topic: topic == TOPIC, inbox)
    broker.start()
    try:
        yield broker, inbox
    finally:
        broker.stop()


class _Client:
    """A paho client whose events can be waited for."""

    def __init__(self, broker: BuiltinBroker, user: str = "", password: str = "", **options: Any) -> None:
        self.answer = ""
        self.settled, self.acknowledged, self.subscribed = (threading.Event() for _ in range(3))
        self.messages: list[tuple[str, bytes]] = []
        self.got = threading.Condition()
        self.talk = paho.Client(CallbackAPIVersion.VERSION2, client_id=options.pop("client_id", "probe"))
        self.talk.max_inflight_messages_set(1_000)
        if user:
            self.talk.username_pw_set(user, password)
        self.talk.on_connect = self._on_connect
        self.talk.on_publish = lambda *_: self.acknowledged.set()
        self.talk.on_subscribe = lambda *_: self.subscribed.set()
        self.talk.on_message = self._on_message
        self.talk.connect(*broker.address, **options)
        self.talk.loop_start()
        assert self.settled.wait(10)

    def _on_connect(self, client: Any, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.answer = str(reason)
        self.settled.set()

    def _on_message(self, client: Any, data: Any, message: paho.MQTTMessage) -> None:
        with self.got:
            self.messages.append((message.topic, bytes(message.payload)))
            self.got.notify_all()

    def wait_for(self, count: int) -> list[tuple[str, bytes]]:
        with self.got:
            assert self.got.wait_for(lambda: len(self.messages) >= count, 20), self.messages
        return self.messages

    def subscribe(self, topic: str) -> None:
        self.talk.subscribe(topic, 1)
        assert self.subscribed.wait(10)

    def __enter__(self) -> "_Client":
        return self

    def __exit__(self, *_: object) -> None:
        self.talk.disconnect()
        self.talk.loop_stop()


def test_a_publisher_is_acknowledged_only_after_the_host_has_stored() -> None:
    with _broker() as (broker, inbox), _Client(broker) as probe:
        probe.talk.publish(TOPIC, b"reading", qos=1)
        (message,) = inbox.take(10, wait_s=10)
        assert (message.topic, message.payload) == (TOPIC, b"reading")
        assert not probe.acknowledged.wait(0.2)
        broker.acknowledge([message])
        assert probe.acknowledged.wait(10)


def test_at_qos_2_too_nothing_is_taken_over_before_it_is_stored() -> None:
    with _broker() as (broker, inbox), _Client(broker) as probe:
        probe.talk.publish(TOPIC, b"reading", qos=2)
        (message,) = inbox.take(10, wait_s=10)
        assert not probe.acknowledged.wait(0.2)
        broker.acknowledge([message])
        assert probe.acknowledged.wait(10)


def test_what_the_host_does_not_want_goes_to_other_subscribers_as_usual() -> None:
    with _broker() as (broker, inbox), _Client(broker) as probe, _Client(broker, client_id="b") as other:
        other.subscribe("#")
        probe.talk.publish("elsewhere", b"x", qos=1)
        assert other.wait_for(1) == [("elsewhere", b"x")]
        assert probe.acknowledged.wait(10)
        assert len(inbox) == 0


def test_a_probe_gets_what_the_host_publishes() -> None:
    with _broker() as (broker, _), _Client(broker) as probe:
        probe.subscribe("garden/receipt")
        broker.publish("garden/receipt", b"7")
        assert probe.wait_for(1) == [("garden/receipt", b"7")]


def test_acknowledging_a_client_that_has_gone_harms_nobody() -> None:
    with _broker() as (broker, inbox):
        with _Client(broker) as probe:
            probe.talk.publish(TOPIC, b"reading", qos=1)
            (message,) = inbox.take(10, wait_s=10)
        broker.acknowledge([message, Message(TOPIC, b"", 0, False, message.mark)])
        with _Client(broker) as probe:
            assert probe.answer == "Success"
    broker.acknowledge([message])  # nor after the end
    broker.publish("garden/receipt", b"7")


def test_a_full_inbox_stops_the_reading_and_loses_nothing() -> None:
    inbox = Inbox(most_messages=5)
    with _broker(inbox) as (broker, _), _Client(broker) as probe:
        for number in range(300):
            probe.talk.publish(TOPIC, str(number), qos=1)
        taken: list[bytes] = []
        while len(taken) < 300:
            messages = inbox.take(3, wait_s=10)
            assert messages
            taken += [message.payload for message in messages]
            broker.acknowledge(messages)
        assert taken == [str(number).encode() for number in range(300)]


@pytest.mark.parametrize(
    ("user", "password"), [("", ""), ("warden", "wrong"), ("other", "right"), ("warden", "")]
)
def test_with_an_account_set_nobody_else_gets_in(user: str, password: str) -> None:
    with (
        _broker(broker__user="warden", broker__password="right") as (broker, inbox),
        _Client(broker, user, password) as stranger,
    ):
        assert stranger.answer == "Not authorized"
        stranger.talk.publish(TOPIC, b"x", qos=1)
        assert inbox.take(1, wait_s=0.2) == []


def test_with_an_account_set_the_one_who_knows_it_gets_in() -> None:
    with (
        _broker(broker__user="warden", broker__password="right") as (broker, _),
        _Client(broker, "warden", "right") as probe,
    ):
        assert probe.answer == "Success"


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "example.org", ""])
def test_without_an_account_it_listens_on_this_machine_only(host: str) -> None:
    with pytest.raises(SettingsError, match=r"set broker\.user and broker\.password"):
        BuiltinBroker(_settings(broker__host=host), lambda _: True, Inbox())


def test_with_an_account_it_may_listen_to_the_network() -> None:
    with _broker(broker__host="0.0.0.0", broker__user="warden", broker__password="right") as (broker, _):
        assert broker.address[1] > 0


@pytest.mark.parametrize(
    ("host", "loopback"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), ("127.9.9.9", True), ("10.0.0.1", False)],
)
def test_loopback_is_told_from_the_network(host: str, loopback: bool) -> None:
    assert is_loopback(host) is loopback


def test_half_an_account_is_refused() -> None:
    with pytest.raises(SettingsError, match="belong together"):
        BuiltinBroker(_settings(broker__user="warden"), lambda _: True, Inbox())


def test_a_port_in_use_is_one_sentence() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        broker = BuiltinBroker(_settings(broker__port=port), lambda _: True, Inbox())
        with pytest.raises(BrokerError, match=f"cannot listen on 127.0.0.1:{port} .*broker.port"):
            broker.start()
        broker.stop()


def test_a_packet_that_is_too_long_ends_the_connection_unread() -> None:
    with _broker() as (broker, inbox), socket.create_connection(broker.address, timeout=10) as client:
        client.sendall(bytes.fromhex("10 10 0004 4d515454 04 02 003c 0004 70726f62".replace(" ", "")))
        assert client.recv(4) == bytes([0x20, 2, 0, 0])
        length = LONGEST_PACKET_BYTES + 100
        written = bytes([length & 127 | 128, length >> 7 & 127 | 128, length >> 14 & 127 | 128, length >> 21])
        client.sendall(b"\x30" + written + b"\x00\x0d" + TOPIC.encode())
        assert client.recv(1) == b""
        assert len(inbox) == 0


@pytest.mark.parametrize(
    "noise", [b"GET / HTTP/1.1\r\n\r\n", b"\x10\x00", b"\x10\xff\xff\xff\xff\xff", b"\x00" * 50]
)
def test_noise_instead_of_mqtt_harms_nobody(noise: bytes) -> None:
    with _broker() as (broker, _):
        with socket.create_connection(broker.address, timeout=10) as client:
            client.sendall(noise)
        with _Client(broker) as probe:
            assert probe.answer == "Success"
        assert broker.alive


def test_a_probe_that_falls_silent_is_told_of_by_its_last_will() -> None:
    """amqtt itself would leave it connected for ever."""
    with _broker() as (broker, _), _Client(broker, client_id="b") as other:
        other.subscribe("garden/lost")
        with socket.create_connection(broker.address, timeout=10) as client:
            connect = (
                b"\x00\x04MQTT\x04\x06\x00\x01"  # clean session, will; keep alive 1 s
                + b"\x00\x05probe"
                + b"\x00\x0bgarden/lost\x00\x04lost"
            )
            client.sendall(b"\x10" + bytes([len(connect)]) + connect)
            assert client.recv(4) == bytes([0x20, 2, 0, 0])
            assert other.wait_for(1) == [("garden/lost", b"lost")]


def test_it_ends_and_starts_again_on_the_same_port() -> None:
    with _broker() as (broker, _), _Client(broker) as probe:
        port = broker.address[1]
        assert probe.answer == "Success"
    for _ in range(3):
        with _broker(broker__port=port) as (broker, _):
            assert broker.address == ("127.0.0.1", port)
            time.sleep(0.01)
    assert broker.alive is False
