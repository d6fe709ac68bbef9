"""The built-in broker: amqtt in its own thread, acknowledging a publisher after the host has stored.

amqtt keeps nothing over a restart and delivers without a limit, dropping what a subscriber has not
acknowledged within 5 s. So the host does not subscribe to it. What a probe publishes is handed to the inbox
where amqtt would acknowledge it, and the acknowledgement waits for the commit: a PUBACK means stored here
too, for a sensor that knows no receipts as well. amqtt then serves other subscribers as usual.
"""

import asyncio
import hmac
import logging
import math
import os
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter
from amqtt.broker import Broker, RetainedApplicationMessage
from amqtt.contexts import Action, BrokerConfig, ListenerConfig
from amqtt.errors import AMQTTError
from amqtt.mqtt.protocol.broker_handler import BrokerProtocolHandler
from amqtt.plugins.base import BaseAuthPlugin
from amqtt.session import INCOMING, Session

from traywarden.errors import BrokerError
from traywarden.links.inbox import Inbox, Message
from traywarden.links.open_broker import check_closed
from traywarden.settings import Settings

LONGEST_PACKET_BYTES = 16 << 20
"""A client that announces a longer packet is disconnected before it is read."""
MOST_CONNECTIONS = 500
_MOST_UNSTORED = 20_000
_CONNECT_TIMEOUT_S = 10.0
_ANONYMOUS = "amqtt.plugins.authentication.AnonymousAuthPlugin"

Wanted = Callable[[str], bool]


class AccountPlugin(BaseAuthPlugin):  # type: ignore[misc]
    """Lets in who shows the one account of the settings."""

    @dataclass
    class Config:
        user: str = ""
        password: str = ""

    async def authenticate(self, *, session: Session) -> bool:
        shown = f"{session.username or ''}\0{session.password or ''}"
        known = f"{self.config.user}\0{self.config.password}"
        return hmac.compare_digest(shown.encode(), known.encode())


class _Reader(StreamReaderAdapter):  # type: ignore[misc]
    """Refuses packets that are too long, and reads nothing while too much waits to be stored."""

    def __init__(self, reader: asyncio.StreamReader, has_room: Callable[[], bool]) -> None:
        super().__init__(reader)
        self._has_room = has_room
        self.held_up = False

    async def read(self, n: int = -1) -> bytes:
        if n > LONGEST_PACKET_BYTES:
            raise ConnectionAbortedError(f"a packet of {n} bytes")
        self.held_up = not self._has_room()
        while self.held_up:
            await asyncio.sleep(0.02)
            self.held_up = not self._has_room()
        data: bytes = await super().read(n)
        return data


class _Handler(BrokerProtocolHandler):  # type: ignore[misc]
    """One client. Holds back the acknowledgement of what the host wants until it is stored."""

    def __init__(self, broker: "_StoringBroker") -> None:
        super().__init__(broker.plugins_manager)
        self._broker = broker

    async def _handle_message_flow(self, app_message: Any) -> None:
        if app_message.direction == INCOMING and self._broker.wanted(app_message.topic):
            await self._broker.stored(self.session, app_message)
        await super()._handle_message_flow(app_message)

    def handle_read_timeout(self) -> None:
        # amqtt leaves a client that has gone silent connected, so its last will would never be told
        if self.reader is not None and not self.reader.held_up:
            self.reader.feed_eof()


class _StoringBroker(Broker):  # type: ignore[misc]
    """amqtt's broker with our handler and reader in the places of its own."""

    def __init__(self, config: BrokerConfig, inbox: Inbox, wanted: Wanted) -> None:
        super().__init__(config)
        self.wanted, self._inbox = wanted, inbox
        self._unstored = 0
        self._writers: set[asyncio.StreamWriter] = set()

    async def stored(self, session: Session, app_message: Any) -> None:
        """Hand a message over and wait until it is stored; not at all for a client without the right."""
        if not await self._topic_filtering(session, topic=app_message.topic, action=Action.PUBLISH):
            return
        done: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        payload, retained = bytes(app_message.data), False  # it comes from the probe itself, not from memory
        self._inbox.put(Message(app_message.topic, payload, time.time_ns() // 1_000_000, retained, done))
        self._unstored += 1
        try:
            if app_message.qos:
                await done
        finally:
            self._unstored -= 1

    def has_room(self) -> bool:
        return self._unstored < _MOST_UNSTORED and not self._inbox.full

    async def stream_connected(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, listener_name: str
    ) -> None:
        self._writers.add(writer)
        try:
            await self._client_connected(
                listener_name, _Reader(reader, self.has_room), StreamWriterAdapter(writer)
            )
        except Exception:  # noqa: BLE001, S110 - what one client sends, amqtt must survive; asyncio would print it
            pass
        finally:
            # amqtt leaves a connection open on which no CONNECT came
            writer.close()
            self._writers.discard(writer)

    async def drop_connections(self) -> None:
        """Close what is still open, and let the loop see it closed."""
        for writer in list(self._writers):
            writer.transport.abort()
        await asyncio.sleep(0)

    async def _initialize_client_session(
        self, reader: Any, writer: Any, remote_address: str, remote_port: int
    ) -> tuple[BrokerProtocolHandler, Session]:
        try:
            async with asyncio.timeout(_CONNECT_TIMEOUT_S):
                _, session = await super()._initialize_client_session(
                    reader, writer, remote_address, remote_port
                )
        except (TimeoutError, OSError, ValueError) as error:
            await writer.close()
            raise AMQTTError(f"no CONNECT from {remote_address}: {error!r}") from error
        session.keep_alive = math.ceil(session.keep_alive * 1.5)  # what MQTT 3.1.1 [3.1.2-24] allows
        return _Handler(self), session


class BuiltinBroker:
    """A broker inside this process, and the link to what is published on it. See `Link`."""

    def __init__(self, settings: Settings, wanted: Wanted, inbox: Inbox) -> None:
        self._host: str = settings["broker.host"]
        self._port: int = settings["broker.port"]
        self._wanted, self._inbox = wanted, inbox
        self._config = _config(settings)
        self._broker: _StoringBroker | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: asyncio.Event | None = None
        self._settled = threading.Event()
        self._failure: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="broker", daemon=True)

    @property
    def address(self) -> tuple[str, int]:
        """Where it listens; the port is the real one after `start`."""
        return self._host, self._port

    @property
    def gone_s(self) -> float:
        """Always 0: it runs and dies with the host."""
        return 0.0

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def start(self) -> None:
        self._thread.start()
        self._settled.wait()
        if self._failure is not None:
            self._thread.join()
            raise self._refusal(self._failure)

    def acknowledge(self, messages: Sequence[Message]) -> None:
        self._call(_release, [message.mark for message in messages])

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self._call(self._broadcast, topic, payload, retain)

    def stop(self) -> None:
        if self._end is not None:
            self._call(self._end.set)
        if self._thread.ident is not None:
            self._thread.join()

    def _call(self, function: Callable[..., None], *arguments: Any) -> None:
        try:
            if self._loop is not None:
                self._loop.call_soon_threadsafe(function, *arguments)
        except RuntimeError:
            pass  # the loop has ended; nobody is left to be told

    def _broadcast(self, topic: str, payload: bytes, retain: bool) -> None:
        if self._broker is not None:
            if retain:  # what amqtt's retain_message does, without its event, which has to be awaited
                self._broker._retained_messages[topic] = RetainedApplicationMessage(None, topic, payload, 1)
            # Without a "qos" each subscriber gets it at the QoS it subscribed with.
            self._broker._broadcast_queue.put_nowait({"session": None, "topic": topic, "data": payload})

    def _run(self) -> None:
        # amqtt logs each client's misbehaviour; what matters to a person reaches them in sentences
        logging.getLogger("amqtt").setLevel(logging.CRITICAL + 1)
        logging.getLogger("transitions").setLevel(logging.CRITICAL + 1)
        try:
            asyncio.run(self._serve())
        except Exception as error:  # noqa: BLE001 - whatever amqtt raises is told by start(), or by alive
            self._failure = error
        finally:
            self._settled.set()

    async def _serve(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        self._broker = _StoringBroker(self._config, self._inbox, self._wanted)
        await self._broker.start()
        self._port = self._broker._servers["default"].instance.sockets[0].getsockname()[1]
        self._settled.set()
        await self._end.wait()
        await asyncio.sleep(0.05)  # lets the last acknowledgements and receipts leave
        await self._broker.shutdown()
        await self._broker.drop_connections()

    def _refusal(self, error: BaseException) -> BrokerError:
        cause = error.__cause__ if isinstance(error.__cause__, OSError) else error
        why = os.strerror(cause.errno) if isinstance(cause, OSError) and cause.errno else cause
        return BrokerError(
            f"The built-in broker cannot listen on {self._host}:{self._port} ({why}); stop the program that "
            "does, give broker.port another number (0 takes a free one), or set broker.builtin = false."
        )


def _release(marks: Sequence[asyncio.Future[None]]) -> None:
    for mark in marks:
        if not mark.done():
            mark.set_result(None)


def _config(settings: Settings) -> BrokerConfig:
    host, port = settings["broker.host"], settings["broker.port"]
    user, password = settings["broker.user"], settings["broker.password"].reveal()
    check_closed(settings)
    plugins: dict[str, Any] = (
        {f"{__name__}.{AccountPlugin.__name__}": {"user": user, "password": password}}
        if user
        else {_ANONYMOUS: {"allow_anonymous": True}}
    )
    bind = f"[{host.strip('[]')}]:{port}" if ":" in host else f"{host}:{port}"
    listener = ListenerConfig(bind=bind, max_connections=MOST_CONNECTIONS)
    return BrokerConfig(listeners={"default": listener}, plugins=plugins)
