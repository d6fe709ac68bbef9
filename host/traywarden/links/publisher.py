"""A probe's side of the link: readings go out over MQTT and stay in a spool until a receipt frees them.

The replay, the demo's probes and the kill tests all publish through this class, so that what they prove
holds for a probe that does the same.
"""

import contextlib
import json
import random
import select
import socket
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from types import TracebackType
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from traywarden.domain.readings import Reading
from traywarden.errors import BrokerError, TraywardenError

Encode = Callable[[Sequence[Reading], int], bytes]
"""Turns the readings of one pack, and the lowest sequence still held, into a payload."""

_IDLE_S = 0.5


class _LostError(Exception):
    """The connection is gone; the words say why."""


class Spool:
    """Readings by boot and sequence, in order, until a receipt frees them. Not thread-safe."""

    def __init__(self) -> None:
        self._boots: dict[int, dict[int, list[Reading]]] = {}
        self._unsent: deque[tuple[int, int]] = deque()
        self._in_flight: set[tuple[int, int]] = set()

    def __len__(self) -> int:
        return sum(len(held) for held in self._boots.values())

    @property
    def in_flight(self) -> int:
        """Instants that were published and are not receipted yet."""
        return len(self._in_flight)

    def put(self, readings: Iterable[Reading]) -> None:
        """Take readings; those of one instant (boot, sequence) stay together."""
        for reading in sorted(readings, key=lambda r: (r.boot, r.sequence, r.head)):
            held = self._boots.setdefault(reading.boot, {})
            late = bool(held) and reading.sequence < next(reversed(held))
            key = (reading.boot, reading.sequence)
            held.setdefault(reading.sequence, []).append(reading)
            if late:
                self._boots[reading.boot] = dict(sorted(held.items()))
            if not self._unsent or self._unsent[-1] != key:
                self._unsent.append(key)

    def take(self, instants: int) -> tuple[list[Reading], int] | None:
        """The next pack's readings, all of one boot, and the lowest sequence held of that boot."""
        pack: list[Reading] = []
        boot, taken = 0, 0
        while self._unsent and taken < instants:
            key = self._unsent[0]
            if pack and key[0] != boot:
                break
            self._unsent.popleft()
            found = self._boots.get(key[0], {}).get(key[1])
            if found is not None:
                boot, taken = key[0], taken + 1
                pack += found
                self._in_flight.add(key)
        return (pack, next(iter(self._boots[boot]))) if pack else None

    def release(self, boot: int, sequence: int) -> int:
        """Free everything of that boot up to and including that sequence; returns how many instants."""
        held = self._boots.get(boot, {})
        done = []
        for number in held:
            if number > sequence:
                break
            done.append(number)
        for number in done:
            del held[number]
            self._in_flight.discard((boot, number))
        if not held:
            self._boots.pop(boot, None)
        return len(done)

    def go_back(self) -> None:
        """Everything that is held is to be sent again, from the oldest."""
        self._in_flight.clear()
        self._unsent = deque((boot, number) for boot, held in self._boots.items() for number in held)


class ProbePublisher:
    """Publishes packs of readings at QoS 1 and resends from the oldest what the host has not receipted.

    `send` never blocks. Only a receipt `{"boot": b, "sequence": n}` on `receipt_topic` frees readings;
    after a reconnect, or when no receipt comes for `silence_s`, everything still held is sent again. At
    most `window_packs` packs are under way at a time. One background thread does all the talking.
    """

    def __init__(
        self,
        host: str,
        port: int,
        *,
        readings_topic: str,
        receipt_topic: str,
        encode: Encode,
        client_id: str,
        user: str = "",
        password: str = "",
        tls: ssl.SSLContext | None = None,
        instants_per_pack: int = 12,
        window_packs: int = 64,
        silence_s: float = 5.0,
        longest_backoff_s: float = 5.0,
    ) -> None:
        self._host, self._port, self._client_id = host, port, client_id
        self._readings_topic, self._receipt_topic, self._encode = readings_topic, receipt_topic, encode
        self._user, self._password, self._tls = user, password, tls
        self._instants_per_pack, self._window_packs = instants_per_pack, window_packs
        self._silence_s, self._longest_backoff_s = silence_s, longest_backoff_s
        self._spool = Spool()
        self._changed = threading.Condition()
        self._wake_in, self._wake_out = socket.socketpair()
        self._wake_in.setblocking(False)
        self._wake_out.setblocking(False)
        self._thread: threading.Thread | None = None
        self._closing = False
        self._closed = False
        self._ready = False
        self._trouble = ""
        self._refused = ""
        self._failure: TraywardenError | None = None
        self._progress_s = 0.0
        self.packs_sent = 0
        self.instants_freed = 0
        self.connections = 0

    def __enter__(self) -> "ProbePublisher":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def connect(self, timeout_s: float = 10.0) -> None:
        """Start talking; returns once the broker has taken us; BrokerError when it does not in time."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name=f"publish {self._client_id}", daemon=True)
            self._thread.start()
        with self._changed:
            arrived = self._changed.wait_for(lambda: self._ready or self._failure is not None, timeout_s)
            self._raise_failure()
            if not arrived:
                raise BrokerError(
                    f"No MQTT broker took us at {self._host}:{self._port} within {timeout_s:g} s "
                    f"({self._trouble or 'no answer'}); check broker.host, broker.port and that it runs."
                )

    def send(self, readings: Sequence[Reading]) -> None:
        """Put readings into the spool; they go out as soon as the window allows."""
        with self._changed:
            self._spool.put(readings)
        self._wake()

    def drain(self, timeout_s: float) -> bool:
        """Wait until everything is receipted; False when something is still held after `timeout_s`.

        Raises the error that ended the publishing for good, if one did.
        """
        return self.wait_below(1, timeout_s)

    def wait_below(self, instants: int, timeout_s: float) -> bool:
        """Wait until fewer than so many instants are held: how a fast sender keeps its spool small."""
        with self._changed:
            done = self._changed.wait_for(
                lambda: len(self._spool) < instants or self._failure is not None, timeout_s
            )
            self._raise_failure()
            return done

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise self._failure

    @property
    def unreceipted(self) -> int:
        """Instants the host has not receipted yet."""
        with self._changed:
            return len(self._spool)

    @property
    def trouble(self) -> str:
        """Why there is no connection at the moment; empty when there is one."""
        with self._changed:
            return self._trouble

    def close(self) -> None:
        """Stop talking. What was not receipted is given up with the spool."""
        if self._closed:
            return
        self._closing = True
        self._wake()
        if self._thread is not None:
            self._thread.join()
        self._closed = True
        self._wake_in.close()
        self._wake_out.close()

    # The background thread ---------------------------------------------------------------------------------

    def _wake(self) -> None:
        # A full pipe means a wake-up is already waiting; a closed one that nobody is left to wake.
        with contextlib.suppress(OSError):
            self._wake_out.send(b"\0")

    def _run(self) -> None:
        backoff_s = 0.1
        while not self._closing:
            connected_before = self.connections
            try:
                self._talk()
            except (_LostError, OSError, ValueError) as error:
                self._note(ready=False, trouble=str(error))
            except TraywardenError as error:
                # What cannot be packed cannot be packed on the next attempt either.
                self._failure = error
                self._note(ready=False, trouble=str(error))
                return
            if self.connections > connected_before:
                backoff_s = 0.1
            self._pause(backoff_s * random.uniform(0.5, 1.0))
            backoff_s = min(backoff_s * 2, self._longest_backoff_s)

    def _pause(self, seconds: float) -> None:
        until_s = time.monotonic() + seconds
        while not self._closing and (left_s := until_s - time.monotonic()) > 0:
            readable, _, _ = select.select([self._wake_in], [], [], left_s)
            if readable:
                self._wake_in.recv(4096)

    def _note(self, *, ready: bool, trouble: str = "") -> None:
        with self._changed:
            self._ready, self._trouble = ready, trouble
            self._changed.notify_all()

    def _talk(self) -> None:
        """One connection, from CONNECT until it is lost or we are closed."""
        self._refused = ""
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._client_id,
            clean_session=True,  # the spool is our session; the broker need not keep a second one
            protocol=mqtt.MQTTv311,  # what a microcontroller speaks, and the built-in broker understands
            reconnect_on_failure=False,
        )
        client.max_inflight_messages_set(self._window_packs * 2)
        client.connect_timeout = 5.0
        if self._user:
            client.username_pw_set(self._user, self._password)
        if self._tls is not None:
            client.tls_set_context(self._tls)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        try:
            client.connect(self._host, self._port, keepalive=30)
            deadline_s = time.monotonic() + 10.0
            while not self._closing:
                self._exchange(client)
                if self._ready:
                    self._pump(client)
                elif self._refused:
                    raise _LostError(self._refused)
                elif time.monotonic() > deadline_s:
                    raise _LostError("the broker accepted the connection but did not answer")
        finally:
            self._ready = False
            client.disconnect()
            # paho closes its socket only on its way through the loop; a lost link never gets there.
            sock = client.socket()
            if sock is not None:
                sock.close()

    def _exchange(self, client: mqtt.Client) -> None:
        """Wait for the network, a wake-up or the next duty, and do what is there to do."""
        sock = client.socket()
        if sock is None:
            raise _LostError("the broker closed the connection")
        pending = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
        readable, writable, _ = select.select(
            [sock, self._wake_in], [sock] if client.want_write() else [], [], 0.0 if pending else _IDLE_S
        )
        if self._wake_in in readable:
            self._wake_in.recv(4096)
        codes = [client.loop_misc()]
        if sock in readable or pending:
            codes.append(client.loop_read())
        if writable:
            codes.append(client.loop_write())
        lost = [code for code in codes if code != MQTTErrorCode.MQTT_ERR_SUCCESS]
        if lost:
            raise _LostError(mqtt.error_string(lost[0]))

    def _pump(self, client: mqtt.Client) -> None:
        while not self._closing:
            with self._changed:
                now_s = time.monotonic()
                if self._spool.in_flight == 0:
                    self._progress_s = now_s
                elif now_s - self._progress_s > self._silence_s:
                    self._spool.go_back()
                    self._progress_s = now_s
                if self._spool.in_flight >= self._window_packs * self._instants_per_pack:
                    return
                pack = self._spool.take(self._instants_per_pack)
            if pack is None:
                return
            client.publish(self._readings_topic, self._encode(*pack), qos=1)
            self.packs_sent += 1

    def _on_connect(
        self, client: mqtt.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        if reason.is_failure:
            self._refused = f"refused: {reason}"
        else:
            client.subscribe(self._receipt_topic, qos=1)

    def _on_subscribe(
        self, client: mqtt.Client, userdata: Any, mid: int, reasons: list[ReasonCode], properties: Any
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self._refused = f"refused: may not subscribe to {self._receipt_topic}"
            return
        self.connections += 1
        with self._changed:
            self._spool.go_back()
            self._progress_s = time.monotonic()
        self._note(ready=True)

    def _on_message(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        try:
            receipt = json.loads(message.payload)
            boot, sequence = int(receipt["boot"]), int(receipt["sequence"])
        except (ValueError, KeyError, TypeError):
            return  # not a receipt; it frees nothing
        with self._changed:
            freed = self._spool.release(boot, sequence)
            if freed:
                self.instants_freed += freed
                self._progress_s = time.monotonic()
                self._changed.notify_all()
