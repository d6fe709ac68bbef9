"""A reading leaves the publisher's spool only by a receipt, and is sent again until then."""

import json
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import Mosquitto, free_port, mosquitto
from traywarden.domain.readings import Reading
from traywarden.errors import BrokerError, WireError
from traywarden.links.publisher import ProbePublisher, Spool

READINGS, RECEIPT = "garden/p/readings", "garden/p/receipt"


def reading(sequence: int, boot: int = 1, head: int = 1) -> Reading:
    return Reading("p", head, boot, sequence, sequence * 1000, 0, soil_temp_c=10.0)


def sequences(pack: tuple[list[Reading], int] | None) -> list[int]:
    return [] if pack is None else [r.sequence for r in pack[0]]


def test_a_pack_holds_whole_instants_of_one_boot_in_order() -> None:
    spool = Spool()
    spool.put([reading(3), reading(2, head=0), reading(2), reading(1), reading(1, boot=2)])
    assert spool.take(2) == ([reading(1), reading(2, head=0), reading(2)], 1)
    assert spool.take(9) == ([reading(3)], 1)
    assert spool.take(9) == ([reading(1, boot=2)], 1)
    assert spool.take(9) is None
    assert (len(spool), spool.in_flight) == (4, 4)


def test_a_receipt_frees_its_boot_up_to_its_sequence() -> None:
    spool = Spool()
    spool.put([reading(n) for n in range(1, 6)] + [reading(1, boot=2)])
    assert spool.release(1, 3) == 3
    assert spool.release(9, 99) == 0
    assert sequences(spool.take(9)) == [4, 5]
    assert len(spool) == 3


def test_going_back_sends_everything_held_again_with_its_oldest() -> None:
    spool = Spool()
    spool.put([reading(n) for n in range(1, 6)])
    spool.take(9)
    spool.release(1, 2)
    spool.go_back()
    pack = spool.take(9)
    assert (sequences(pack), pack and pack[1]) == ([3, 4, 5], 3)


@given(
    st.lists(st.integers(1, 40), min_size=1, max_size=60),
    st.lists(st.one_of(st.integers(0, 45), st.none()), max_size=30),
)
def test_whatever_is_not_receipted_is_offered_again(put: list[int], happenings: list[int | None]) -> None:
    spool, highest = Spool(), 0
    spool.put([reading(n) for n in dict.fromkeys(put)])
    for happening in happenings:
        if happening is None:
            spool.go_back()
        else:
            spool.release(1, happening)
            highest = max(highest, happening)
        spool.take(3)
    spool.go_back()
    offered: list[int] = []
    while pack := spool.take(4):
        offered += sequences(pack)
    assert offered == sorted(n for n in set(put) if n > highest)


def encode(readings: Sequence[Reading], oldest: int) -> bytes:
    return json.dumps({"sequences": [r.sequence for r in readings], "oldest": oldest}).encode()


class StandInHost:
    """Takes packs and gives receipts as the host does: up to the first hole. Loses every `loses`-th pack."""

    def __init__(self, broker: Mosquitto, loses: int = 0) -> None:
        self.seen: set[int] = set()
        self.packs, self._loses = 0, loses
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="host")
        self._client.on_message = self._on_message
        subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        self._client.subscribe(READINGS, qos=1)
        assert subscribed.wait(10)

    def _on_message(self, client: paho.Client, _userdata: Any, message: paho.MQTTMessage) -> None:
        self.packs += 1
        if self._loses and self.packs % self._loses == 0:
            return
        pack = json.loads(message.payload)
        self.seen.update(pack["sequences"])
        end = pack["oldest"]
        while end in self.seen:
            end += 1
        client.publish(RECEIPT, json.dumps({"boot": 1, "sequence": end - 1}), qos=1)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def publisher(broker: Mosquitto, **more: Any) -> Iterator[ProbePublisher]:
    chosen: dict[str, Any] = {"encode": encode, "client_id": "p", "silence_s": 0.3} | more
    one = ProbePublisher(broker.host, broker.port, readings_topic=READINGS, receipt_topic=RECEIPT, **chosen)
    with one:
        yield one


@pytest.mark.system
def test_everything_arrives_though_packs_are_lost(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker) as probe:
        host = StandInHost(broker, loses=7)
        probe.connect()
        probe.send([reading(n) for n in range(1, 501)])
        assert probe.drain(60)
        assert host.seen == set(range(1, 501))
        assert (probe.unreceipted, probe.instants_freed) == (0, 500)
        host.close()


@pytest.mark.system
def test_a_broker_that_goes_away_and_comes_back_loses_nothing(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker) as probe:
        probe.connect()
        probe.send([reading(n) for n in range(1, 101)])
        assert not probe.drain(0.5), "nobody is there to give a receipt"
        broker.stop()
        probe.send([reading(n) for n in range(101, 201)])
        broker.start()
        host = StandInHost(broker)
        assert probe.drain(60)
        assert host.seen == set(range(1, 201))
        assert probe.connections >= 2
        host.close()


@pytest.mark.system
def test_what_is_no_receipt_frees_nothing(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker) as probe:
        probe.connect()
        probe.send([reading(1)])
        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.connect(broker.host, broker.port)
        client.loop_start()
        for payload in (b"", b"[]", b"{", b'{"boot": "x", "sequence": 1}', b'{"boot": 2, "sequence": 1}'):
            client.publish(RECEIPT, payload, qos=1).wait_for_publish(10)
        client.disconnect()
        client.loop_stop()
        assert not probe.drain(0.5)
        assert probe.unreceipted == 1


def test_no_broker_is_one_sentence() -> None:
    probe = ProbePublisher(
        "127.0.0.1", free_port(), readings_topic=READINGS, receipt_topic=RECEIPT, encode=encode, client_id="p"
    )
    with probe, pytest.raises(BrokerError, match=r"No MQTT broker took us at 127\.0\.0\.1"):
        probe.connect(timeout_s=0.5)


@pytest.mark.system
def test_a_broker_that_refuses_the_account_says_so(tmp_path: Path) -> None:
    with (
        mosquitto(tmp_path, "allow_anonymous false") as broker,
        publisher(broker) as probe,
        pytest.raises(BrokerError, match="refused"),
    ):
        probe.connect(timeout_s=2)


@pytest.mark.system
def test_readings_that_cannot_be_packed_end_the_publishing_with_the_reason(tmp_path: Path) -> None:
    def refuse(readings: Sequence[Reading], oldest: int) -> bytes:
        raise WireError("Two sequences at one time cannot share a pack.")

    with mosquitto(tmp_path) as broker, publisher(broker, encode=refuse) as probe:
        probe.connect()
        probe.send([reading(1)])
        with pytest.raises(WireError, match="Two sequences"):
            probe.drain(10)
