"""Notices on the broker: taken at QoS 1 by a real broker, and a broker that is not there is a trouble."""

import json
import threading
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.services.watched_garden import settings_with
from traywarden.errors import ChannelError
from traywarden.links.broker import BuiltinBroker
from traywarden.links.channels import Message
from traywarden.links.inbox import Inbox
from traywarden.links.mqtt_notices import MqttChannel
from traywarden.services import ingest
from traywarden.services.ways_out import ways_out
from traywarden.settings import Secret
from traywarden.wire.topics import notices_topic

TOPIC = notices_topic("demo")
MESSAGE = Message(
    "a1b2",
    "urgent",
    "Water now: Übertopf 🌱",
    "Water it.",
    None,
    (("dry:tray-1:5", "opened"),),
    1_772_344_800_000,
)


def test_a_listener_gets_the_notice_as_json(tmp_path: Path) -> None:
    settings = settings_with(tmp_path, broker__port=0)
    inbox = Inbox()
    broker = BuiltinBroker(settings, ingest.wanted, inbox)
    broker.start()
    got: list[Any] = []
    heard = threading.Event()
    listener = paho.Client(CallbackAPIVersion.VERSION2, client_id="display", protocol=paho.MQTTv311)

    def on_message(client: Any, userdata: Any, message: paho.MQTTMessage) -> None:
        got.append((message.topic, json.loads(message.payload), message.retain))
        heard.set()

    try:
        subscribed = threading.Event()
        listener.on_message = on_message
        listener.on_subscribe = lambda *_: subscribed.set()
        listener.connect(*broker.address)
        listener.loop_start()
        listener.subscribe(TOPIC, qos=1)
        assert subscribed.wait(5)
        MqttChannel(settings, TOPIC, lambda: broker.address).send(MESSAGE)
        assert heard.wait(5)
    finally:
        listener.disconnect()
        listener.loop_stop()
        broker.stop()
    (topic, said, retained) = got[0]
    assert (topic, retained) == ("traywarden/v1/demo/notices", False)
    assert said == {
        "id": "a1b2",
        "severity": "urgent",
        "title": "Water now: Übertopf 🌱",
        "text": "Water it.",
        "made": "2026-03-01T06:00:00+00:00",
        "changes": [{"episode": "dry:tray-1:5", "change": "opened"}],
    }
    assert len(inbox) == 0, "our own notice is no reading"


def test_a_broker_that_is_not_there_is_said_and_tried_again(tmp_path: Path) -> None:
    channel = MqttChannel(settings_with(tmp_path), TOPIC, lambda: ("127.0.0.1", 1), whole_s=2.0)
    with pytest.raises(ChannelError, match="There is no broker at") as caught:
        channel.send(MESSAGE)
    assert not caught.value.permanent


def test_an_account_that_is_refused_is_said_without_its_password(tmp_path: Path) -> None:
    settings = settings_with(tmp_path, broker__port=0, broker__user="host", broker__password=Secret("right"))
    broker = BuiltinBroker(settings, ingest.wanted, Inbox())
    broker.start()
    try:
        wrong = settings_with(tmp_path, broker__user="host", broker__password=Secret("wrong-word"))
        with pytest.raises(ChannelError, match="refused us") as caught:
            MqttChannel(wrong, TOPIC, lambda: broker.address).send(MESSAGE)
    finally:
        broker.stop()
    assert "wrong-word" not in str(caught.value)


def test_it_is_a_way_out_where_the_settings_ask_for_it(tmp_path: Path) -> None:
    assert list(ways_out(settings_with(tmp_path), print, "demo")) == ["console"]
    assert list(ways_out(settings_with(tmp_path, notices__mqtt=True), print, "demo")) == ["console", "mqtt"]
