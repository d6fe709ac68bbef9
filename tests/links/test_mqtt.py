"""The link to a broker of one's own: a lasting session on a real mosquitto, acknowledged after storing."""

import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import Mosquitto, free_port, mosquitto
from traywarden.errors import BrokerError
from traywarden.links.inbox import Inbox, Message
from traywarden.links.mqtt import MqttLink
from traywarden.settings import Settings, load

FILTERS = ("garden/+",)

pytestmark = pytest.mark.system


def _settings(port: int, **values: object) -> Settings:
    chosen: dict[str, object] = {"broker.builtin": False, "broker.port": port}
    chosen |= {key.replace("__", "."): value for key, value in values.items()}
    return load(Path("/nowhere"), environ={}, overrides=chosen)


class _Linked:
    """A link, its inbox and what it said; ends with the test."""

    def __init__(self, port: int, /, inbox: Any = None, **values: Any) -> None:
        self.inbox = Inbox() if inbox is None else inbox
        self.said: list[str] = []
        self.link = MqttLink(_settings(port, **values), FILTERS, self.inbox, say=self.said.append)

    def take(self, count: int) -> list[Message]:
        taken: list[Message] = []
        while len(taken) < count:
            more = self.inbox.take(count - len(taken), wait_s=20)
            assert more, f"only {len(taken)} of {count} arrived"
            taken += more
        return taken

    def __enter__(self) -> "_Linked":
        self.link.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.inbox.close()
        self.link.stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as started:
        yield started


def _publish(
    port: int, payloads: list[bytes], topic: str = "garden/a", qos: int = 1, retain: bool = False
) -> None:
    talk = paho.Client(CallbackAPIVersion.VERSION2)
    talk.connect("127.0.0.1", port)
    talk.loop_start()
    for sent in [talk.publish(topic, payload, qos, retain) for payload in payloads]:
        sent.wait_for_publish(20)
    talk.disconnect()
    talk.loop_stop()


def _until(holds: Callable[[], bool]) -> None:
    until_s = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < until_s
        time.sleep(0.01)


def test_what_was_not_acknowledged_comes_again_and_the_rest_does_not(broker: Mosquitto) -> None:
    payloads = [str(n).encode() for n in range(10)]
    with _Linked(broker.port) as first:
        _publish(broker.port, payloads)
        first.link.acknowledge(first.take(10)[:4])
        # A broker may drop what it has not read when we hang up; its answer here comes after that.
        first.link._client.publish("elsewhere", b"", qos=1).wait_for_publish(20)
    with _Linked(broker.port) as second:
        assert [message.payload for message in second.take(6)] == payloads[4:]
        second.link.acknowledge([])
    assert first.said == []


def test_what_is_published_while_we_are_away_waits_for_us(broker: Mosquitto) -> None:
    with _Linked(broker.port):
        pass
    payloads = [str(n).encode() for n in range(3_000)]  # mosquitto's own default would drop two thirds
    _publish(broker.port, payloads)
    with _Linked(broker.port) as back:
        taken: list[bytes] = []
        while len(taken) < len(payloads):
            messages = back.take(1_000)  # no more than 2,000 are under way at a time
            taken += [message.payload for message in messages]
            back.link.acknowledge(messages)
    assert taken == payloads


def test_an_acknowledgement_of_an_earlier_connection_is_not_sent(broker: Mosquitto) -> None:
    """Its identifier may by now stand for a message that is not stored yet."""
    with _Linked(broker.port) as linked:
        _publish(broker.port, [b"old"])
        old = linked.take(1)
        broker.stop()
        (broker.folder / "mosquitto.db").unlink()  # the broker has forgotten us: identifiers begin anew
        broker.start()
        _until(lambda: any("arrive again" in sentence for sentence in linked.said))
        _publish(broker.port, [b"new"])
        (new,) = linked.take(1)
        assert new.mark & 0xFFFF == old[0].mark & 0xFFFF
        linked.link.acknowledge(old)
    with _Linked(broker.port) as again:
        assert [message.payload for message in again.take(1)] == [b"new"]


def test_a_broker_that_restarts_is_spoken_of_once_and_nothing_is_lost(broker: Mosquitto) -> None:
    with _Linked(broker.port) as linked:
        broker.stop()
        _until(lambda: len(linked.said) == 1)
        time.sleep(1.0)  # several attempts fail
        broker.start()
        _until(lambda: len(linked.said) == 2)
        _publish(broker.port, [b"after"])
        assert linked.take(1)[0].payload == b"after"
    assert "is gone; trying again" in linked.said[0]
    assert "readings arrive again" in linked.said[1]


def test_retained_and_unacknowledged_kinds_are_told_apart(broker: Mosquitto) -> None:
    _publish(broker.port, [b"state"], retain=True)
    with _Linked(broker.port) as linked:
        (state,) = linked.take(1)
        _publish(broker.port, [b"quick"], qos=0)
        (quick,) = linked.take(1)
        linked.link.acknowledge([state, quick])
    assert (state.payload, state.retained) == (b"state", True)
    assert (quick.payload, quick.retained, quick.mark) == (b"quick", False, None)


def test_qos_2_comes_as_qos_1_so_that_it_too_is_acknowledged_after_storing(broker: Mosquitto) -> None:
    with _Linked(broker.port) as first:
        _publish(broker.port, [b"x"], qos=2)
        assert first.take(1)[0].mark is not None
    with _Linked(broker.port) as second:
        assert second.take(1)[0].payload == b"x"


def test_ten_mebibytes_arrive_whole(broker: Mosquitto) -> None:
    payload = bytes(range(256)) * 40_960
    with _Linked(broker.port) as linked:
        _publish(broker.port, [b"before", payload, b"after"])
        assert [message.payload for message in linked.take(3)] == [b"before", payload, b"after"]


def test_a_full_inbox_holds_the_broker_back(broker: Mosquitto) -> None:
    inbox = Inbox(most_messages=5)
    with _Linked(broker.port, inbox) as linked:
        payloads = [str(n).encode() for n in range(300)]
        sender = threading.Thread(target=_publish, args=(broker.port, payloads))
        sender.start()
        _until(lambda: inbox.full)
        time.sleep(0.1)
        assert len(inbox) <= 6
        taken: list[bytes] = []
        while len(taken) < 300:
            messages = linked.take(1)
            taken += [message.payload for message in messages]
            linked.link.acknowledge(messages)
        sender.join(20)
    assert taken == payloads


def test_it_publishes_what_probes_listen_to(broker: Mosquitto) -> None:
    heard: list[bytes] = []
    listener = paho.Client(CallbackAPIVersion.VERSION2)
    ready = threading.Event()
    listener.on_subscribe = lambda *_: ready.set()
    listener.on_message = lambda client, data, message: heard.append(bytes(message.payload))
    listener.connect("127.0.0.1", broker.port)
    listener.loop_start()
    listener.subscribe("receipt", 1)
    assert ready.wait(10)
    with _Linked(broker.port) as linked:
        linked.link.publish("receipt", b"7")
        _until(lambda: heard == [b"7"])
    listener.disconnect()
    listener.loop_stop()


def test_no_broker_is_one_sentence() -> None:
    linked = _Linked(free_port())
    with pytest.raises(BrokerError, match=r"There is no MQTT broker at .* \(Connection refused\); start it"):
        linked.link.start()


def test_something_that_does_not_speak_mqtt_is_one_sentence() -> None:
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        inbox = Inbox()
        link = MqttLink(
            _settings(mute.getsockname()[1]), FILTERS, inbox, say=lambda _: None, connect_timeout_s=0.3
        )
        with pytest.raises(BrokerError, match="does not answer as an MQTT broker does"):
            link.start()


def test_a_wrong_password_is_one_sentence(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker", "allow_anonymous false") as broker:
        linked = _Linked(broker.port, broker__user="warden", broker__password="secret-word")
        with pytest.raises(BrokerError, match=r"refused us .*check broker\.user") as refused:
            linked.link.start()
        assert "secret-word" not in str(refused.value)


def test_another_host_with_the_same_name_is_pointed_out(broker: Mosquitto) -> None:
    """Two clients of one name throw each other out for ever; a person must be told why nothing works."""
    with _Linked(broker.port) as one, _Linked(broker.port) as other:
        _until(lambda: any("another host" in sentence for sentence in one.said + other.said))


@pytest.fixture
def certificates(tmp_path: Path) -> Path:
    """A certificate authority and a certificate for 127.0.0.1."""
    run = [
        "openssl req -x509 -newkey rsa:2048 -nodes -keyout ca.key -out ca.pem -days 2 -subj /CN=test-ca "
        "-addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign",
        "openssl req -newkey rsa:2048 -nodes -keyout key.pem -out broker.csr -subj /CN=127.0.0.1",
    ]
    (tmp_path / "names").write_text("subjectAltName=IP:127.0.0.1\n", encoding="utf-8")
    run.append(
        "openssl x509 -req -in broker.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 2 -extfile names "
        "-out cert.pem"
    )
    for line in run:
        subprocess.run(line.split(), cwd=tmp_path, check=True, capture_output=True)
    return tmp_path


def test_over_tls_messages_arrive_and_an_unknown_authority_is_refused(certificates: Path) -> None:
    tls = f"cafile {certificates}/ca.pem\ncertfile {certificates}/cert.pem\nkeyfile {certificates}/key.pem"
    plain_port = free_port()
    more = f"{tls}\nlistener {plain_port} 127.0.0.1\nallow_anonymous true"
    with mosquitto(certificates / "broker", more) as broker:
        secure: dict[str, Any] = {"broker__tls": True, "broker__ca_file": str(certificates / "ca.pem")}
        with _Linked(broker.port, **secure) as linked:
            payloads = [str(n).encode() * 20 for n in range(2_000)]
            _publish(plain_port, payloads)
            assert [message.payload for message in linked.take(2_000)] == payloads
        stranger = _Linked(broker.port, broker__tls=True)
        with pytest.raises(BrokerError, match="cannot agree on TLS"):
            stranger.link.start()


def test_a_certificate_file_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(BrokerError, match=r"broker\.ca_file '/nowhere/ca.pem' cannot be used"):
        _Linked(1, broker__tls=True, broker__ca_file="/nowhere/ca.pem")
