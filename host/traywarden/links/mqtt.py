"""The host's link to a broker of its own: a lasting session, each message acknowledged after it is stored.

MQTT 3.1.1: every broker speaks it, a message is plain to read, and nothing that MQTT 5 adds is needed here.
"""

import random
import ssl
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from traywarden.errors import BrokerError
from traywarden.links.inbox import Inbox, Message
from traywarden.links.intake import NOT_UTF_8, IntakeSocket, Take
from traywarden.settings import Settings

KEEPALIVE_S = 30
_MOST_UNSENT = 1_000  # receipts kept while there is no connection; a probe asks again for what is missing
_SHORT_LIFE_S = 3.0
_PUBACK = 0x40


class _Client(paho.Client):
    """paho with our own intake of messages, and acknowledgements of a whole batch in one write."""

    def __init__(self, take: Take, **arguments: Any) -> None:
        super().__init__(CallbackAPIVersion.VERSION2, **arguments)
        self._take = take

    def _create_socket(self) -> Any:
        return IntakeSocket(super()._create_socket(), self._take)

    def _ssl_wrap_socket(self, tcp_sock: Any) -> ssl.SSLSocket:
        """As paho does, but a socket whose handshake fails is closed."""
        assert self._ssl_context is not None
        sock = self._ssl_context.wrap_socket(
            tcp_sock, server_hostname=self._host, do_handshake_on_connect=False
        )
        try:
            sock.settimeout(self._connect_timeout)
            sock.do_handshake()
        except BaseException:
            sock.close()
            raise
        return sock

    def acknowledge(self, identifiers: Sequence[int]) -> None:
        packets = b"".join([b"\x40\x02" + identifier.to_bytes(2, "big") for identifier in identifiers])
        self._packet_queue(_PUBACK, packets, 0, 1)


class MqttLink:
    """Brings messages from a broker into an inbox; reconnects for ever once it was connected.

    `say` takes one sentence for each trouble and one when it is over, not one for each attempt.
    """

    def __init__(
        self,
        settings: Settings,
        filters: Sequence[str],
        inbox: Inbox,
        *,
        say: Callable[[str], None],
        connect_timeout_s: float = 5.0,
    ) -> None:
        self._host: str = settings["broker.host"]
        self._port: int = settings["broker.port"]
        self._client_id: str = settings["broker.client_id"]
        self._filters = [(topic, 1) for topic in filters]  # QoS 2 would be taken over before it is stored
        self._inbox, self._say = inbox, say
        self._timeout_s = connect_timeout_s
        self._turn = threading.Lock()
        self._session = (
            0  # counts connections: an acknowledgement belongs to the one that brought the message
        )
        self._settled = threading.Event()
        self._ready = False
        self._refused = ""
        self._in_trouble = False
        self._stopping = False
        self._connected_s = 0.0
        self._short_lives = 0
        self._gone_since_s: float | None = None
        self._client = self._made(settings)

    @property
    def address(self) -> tuple[str, int]:
        return self._host, self._port

    @property
    def gone_s(self) -> float:
        """For how long the broker has been out of reach; 0 while it is in reach."""
        since_s = self._gone_since_s
        return 0.0 if since_s is None else time.monotonic() - since_s

    @property
    def alive(self) -> bool:
        """Whether the network thread runs; it does from start to stop unless paho itself fails."""
        thread = self._client._thread
        return thread is not None and thread.is_alive()

    def start(self) -> None:
        where = f"{self._host}:{self._port}"
        try:
            self._client.connect(self._host, self._port, keepalive=KEEPALIVE_S)
        except ssl.SSLError as error:
            raise BrokerError(
                f"The broker at {where} and we cannot agree on TLS ({error.reason or error}); "
                "check broker.tls, broker.ca_file and broker.port."
            ) from error
        except (OSError, ValueError) as error:
            raise BrokerError(
                f"There is no MQTT broker at {where} ({getattr(error, 'strerror', None) or error}); "
                "start it, correct broker.host and broker.port, or set broker.builtin = true."
            ) from error
        self._client.loop_start()
        if not self._settled.wait(self._timeout_s):
            self._refused = (
                self._refused or f"What listens at {where} does not answer as an MQTT broker does."
            )
        if not self._ready:
            self._stopping = True
            self.stop()
            raise BrokerError(self._refused)

    def acknowledge(self, messages: Sequence[Message]) -> None:
        with self._turn:
            session = self._session << 16
            marks = [m.mark - session for m in messages if m.mark is not None and m.mark > session]
            # What an earlier connection brought comes again; its identifiers may mean other messages by now.
            if marks:
                self._client.acknowledge(marks)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain)

    def stop(self) -> None:
        self._stopping = True
        self._client.disconnect()
        self._client.loop_stop()

    # paho calls these on its thread; one that raised would end it --------------------------------------

    def _made(self, settings: Settings) -> _Client:
        client = _Client(
            self._take,
            client_id=self._client_id,
            clean_session=False,
            protocol=paho.MQTTv311,
            manual_ack=True,
        )
        client.connect_timeout = self._timeout_s
        client.max_queued_messages_set(_MOST_UNSENT)
        # Doubled from here; the random start keeps many hosts from knocking in step.
        client.reconnect_delay_set(min_delay=random.uniform(0.3, 0.9), max_delay=30)  # type: ignore[arg-type]
        if settings["broker.user"]:
            client.username_pw_set(settings["broker.user"], settings["broker.password"].reveal())
        if settings["broker.tls"]:
            try:
                client.tls_set_context(ssl.create_default_context(cafile=settings["broker.ca_file"] or None))
            except OSError as error:
                raise BrokerError(
                    f"broker.ca_file {settings['broker.ca_file']!r} cannot be used ({error}); "
                    "give a file with the certificate authority in PEM form."
                ) from error
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        return client

    def _on_connect(
        self, client: paho.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        if reason.is_failure:
            self._refuse(
                f"The broker at {self._host}:{self._port} refused us ({reason}); "
                "check broker.user, broker.password and broker.client_id."
            )
            return
        with self._turn:
            self._session += 1
        self._connected_s = time.monotonic()
        client.subscribe(self._filters)

    def _on_subscribe(
        self, client: paho.Client, userdata: Any, mid: int, reasons: list[ReasonCode], properties: Any
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            names = ", ".join(topic for topic, _ in self._filters)
            self._refuse(
                f"The broker at {self._host}:{self._port} does not let us subscribe to {names}; "
                f"give the account that right."
            )
            return
        self._ready = True
        self._gone_since_s = None
        self._settled.set()
        if self._in_trouble:
            self._in_trouble = False
            self._say(f"The broker at {self._host}:{self._port} is back; readings arrive again.")

    def _on_disconnect(
        self, client: paho.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        with self._turn:
            self._session += 1  # nothing that this connection brought can be acknowledged any more
        if self._stopping or not self._ready:
            return
        if self._gone_since_s is None:
            self._gone_since_s = time.monotonic()
        self._short_lives = (
            self._short_lives + 1 if time.monotonic() - self._connected_s < _SHORT_LIFE_S else 0
        )
        if self._short_lives == 3:
            self._say(
                f"The broker at {self._host}:{self._port} keeps closing our connection; if another host "
                f"runs with broker.client_id “{self._client_id}”, give one of them another."
            )
        elif not self._in_trouble:
            self._say(
                f"The broker at {self._host}:{self._port} is gone; trying again until it is back. "
                "Nothing that was stored is lost."
            )
        self._in_trouble = True

    def _take(self, topic: str, payload: bytes, identifier: int, retained: bool) -> None:
        mark = (self._session << 16) + identifier if identifier else None
        self._inbox.put(Message(topic, payload, time.time_ns() // 1_000_000, retained, mark))
        if self._inbox.full:
            self._inbox.wait_for_room()

    def _on_message(self, client: paho.Client, userdata: Any, message: paho.MQTTMessage) -> None:
        """Only what is too long for the intake comes this way."""
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = NOT_UTF_8
        self._take(topic, bytes(message.payload), message.mid if message.qos else 0, message.retain)

    def _refuse(self, sentence: str) -> None:
        if self._ready and not self._in_trouble:
            self._say(sentence)
        self._in_trouble = True
        self._refused = sentence
        self._settled.set()
