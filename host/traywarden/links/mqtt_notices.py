"""Notices on a topic of the broker: for displays and home servers that listen there."""

import secrets
import ssl
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import msgspec
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from traywarden.errors import ChannelError
from traywarden.links.channels import MQTT, Message
from traywarden.settings import Settings

WHOLE_S = 15.0
"""Longest wait for the broker to take one notice."""


class MqttChannel:
    """Publishes each notice at QoS 1; it is sent when the broker has acknowledged it (MQTT 3.1.1, 4.3.2).

    Each notice has a connection of its own: they are few, and one that stays would have to be watched.
    """

    name = MQTT

    def __init__(
        self,
        settings: Settings,
        topic: str,
        address: Callable[[], tuple[str, int]],
        *,
        whole_s: float = WHOLE_S,
    ) -> None:
        self._settings, self._topic, self._address, self._whole_s = settings, topic, address, whole_s

    def send(self, message: Message) -> None:
        host, port = self._address()
        connected = threading.Event()
        refusals: list[str] = []

        def on_connect(
            client: paho.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
        ) -> None:
            if reason.is_failure:
                refusals.append(str(reason))
            connected.set()

        client = self._client()
        client.on_connect = on_connect
        try:
            client.connect(host, port)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise ChannelError(f"There is no broker at {host}:{port} ({why}).") from error
        client.loop_start()
        try:
            if not connected.wait(self._whole_s):
                raise ChannelError(f"The broker at {host}:{port} does not answer.")
            if refusals:
                raise ChannelError(f"The broker at {host}:{port} refused us ({refusals[0]}).")
            sent = client.publish(self._topic, payload(message), qos=1)
            try:
                sent.wait_for_publish(self._whole_s)
            except (ValueError, RuntimeError) as error:
                raise ChannelError(f"The broker at {host}:{port} went away ({error}).") from error
            if not sent.is_published():
                raise ChannelError(f"The broker at {host}:{port} has not taken it.")
        finally:
            client.disconnect()
            client.loop_stop()

    def _client(self) -> paho.Client:
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"traywarden-notices-{secrets.token_hex(4)}",
            clean_session=True,
            protocol=paho.MQTTv311,
        )
        client.connect_timeout = self._whole_s
        if self._settings["broker.user"]:
            client.username_pw_set(self._settings["broker.user"], self._settings["broker.password"].reveal())
        if self._settings["broker.tls"]:
            try:
                context = ssl.create_default_context(cafile=self._settings["broker.ca_file"] or None)
            except OSError as error:
                raise ChannelError(f"broker.ca_file cannot be read ({error}).") from error
            client.tls_set_context(context)
        return client


def payload(message: Message) -> bytes:
    """The notice as JSON: id, severity, title, text, when it was made, and the changes it tells.

    Example
    -------
    >>> payload(Message("a1", "info", "t", "b", None, (("dry:tray-1:5", "opened"),), 0))[:37]
    b'{"id":"a1","severity":"info","title":'
    """
    made = datetime.fromtimestamp(message.created_ms / 1000, UTC)
    return msgspec.json.encode(
        {
            "id": message.notice_id,
            "severity": message.severity,
            "title": message.title,
            "text": message.body,
            "made": made.isoformat(timespec="seconds"),
            "changes": [{"episode": episode, "change": change} for episode, change in message.changes],
        }
    )
