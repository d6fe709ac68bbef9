"""The broker as the wake cycle takes it: kinds of messages instead of topics, a budget on every call."""

import json

from probe import dns
from probe.deadline import Deadline
from probe.link import LinkError, Mqtt

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

IN = ("receipt", "settings")


def topic(garden: str, name: str, kind: str) -> str:
    """The topic of this probe for a kind of message."""
    return f"traywarden/v1/{garden}/{name}/{kind}"


class Broker:
    """Connects to the settings' broker, publishes by kind, and hands over what came.

    `ca_der()` reads the certificate of the authority that signed the broker's; asked only with TLS.
    `name_server()` says whom to ask for the broker's address.
    """

    def __init__(
        self,
        settings: "dict[str, Any]",
        sockets: "Any",
        ticks: "Any",
        name_server: "Callable[[], str]",
        ca_der: "Callable[[], bytes]",
    ) -> None:
        self._settings = settings
        self._sockets = sockets
        self._ticks = ticks
        self._name_server = name_server
        self._ca_der = ca_der
        self._mqtt: Mqtt | None = None

    def connect(self, budget_ms: int) -> None:
        """Connect with the last will "lost" and listen for receipts and settings. Raises LinkError."""
        deadline = Deadline(self._ticks, budget_ms)
        broker, name = self._settings["broker"], self._settings["name"]
        host = broker["host"]
        try:
            tls = (host, self._ca_der()) if broker["tls"] else None
        except (OSError, ValueError) as error:
            why = f"the CA file of the settings cannot be read ({error})"
            raise LinkError("TLS", why, permanent=True) from error
        address = dns.resolve(self._sockets, host, self._name_server(), deadline)
        mqtt = Mqtt(self._sockets, self._ticks, deadline.left_ms())
        mqtt.connect(
            address,
            broker["port"],
            f"traywarden-{self._settings['garden']}-{name}",
            broker["user"] or None,
            broker["password"] or None,
            tls,
            (self._topic("state"), json.dumps({"state": "lost"}).encode()),
        )
        mqtt.subscribe([self._topic(kind) for kind in IN])
        self._mqtt = mqtt

    def publish(self, kind: str, payload: bytes, retain: bool, budget_ms: int) -> None:
        """Publish; when this returns, the broker has acknowledged. Raises LinkError."""
        self._within(budget_ms).publish(self._topic(kind), payload, retain)

    def received(self, budget_ms: int) -> "tuple[str, bytes] | None":
        """The next message (kind, payload), waiting no longer than this for one. Raises LinkError."""
        deadline = Deadline(self._ticks, budget_ms)
        while True:
            came = self._within(deadline.left_ms()).received(deadline.left_ms())
            if came is None:
                return None
            for kind in IN:
                if came[0] == self._topic(kind):
                    return kind, came[1]

    def disconnect(self, budget_ms: int) -> None:
        """Say goodbye, so that the broker drops the will. Raises LinkError when nobody took it."""
        mqtt, said = self._within(budget_ms), False
        try:
            said = mqtt.disconnect()
        finally:
            self._mqtt = None
        if not said:
            raise LinkError("DISCONNECT", "the broker did not answer the goodbye")

    def _topic(self, kind: str) -> str:
        return topic(self._settings["garden"], self._settings["name"], kind)

    def _within(self, budget_ms: int) -> Mqtt:
        if self._mqtt is None:
            raise LinkError("MQTT", "not connected")
        self._mqtt.whole = Deadline(self._ticks, budget_ms)
        return self._mqtt
