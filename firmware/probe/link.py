"""The link to the broker: MQTT 3.1.1 at QoS 1, with a wall-clock budget on every wait.

Nothing here blocks: each wait looks, pauses a few milliseconds and looks again until its deadline. A server
that is silent, stops in the middle of a packet or trickles bytes costs no more than the step's budget.
"""

import errno

from probe.deadline import Deadline

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

TCP_MS = 5_000
TLS_MS = 8_000
CONNACK_MS = 5_000
SUBACK_MS = 5_000
PUBACK_MS = 8_000
PING_MS = 5_000
GOODBYE_MS = 1_000
MOST_IN = 4_096
"""Larger messages are acknowledged and passed over: nothing the host sends a probe is larger."""
MOST_WAITING = 8_192
"""Bytes of messages kept until `received` is asked for them. What finds no room is not acknowledged either,
so that the broker brings it again."""

_REFUSED = {
    1: "the broker does not speak MQTT 3.1.1",
    2: "the broker does not accept this probe's name",
    3: "the broker is not available now",
    4: "wrong user or password",
    5: "the broker does not let this probe in; look at its user and password",
}

_BROKEN = {
    errno.ECONNREFUSED: "nothing listens at the broker's address and port; is the broker running?",
    errno.EHOSTUNREACH: "the broker's computer cannot be reached",
    errno.ECONNRESET: "the broker broke off the connection",
}


class LinkError(Exception):
    """Which step of getting through failed, and why in words. `permanent` ones do not mend by waiting."""

    def __init__(self, step: str, why: str, permanent: bool = False) -> None:
        super().__init__(f"{step}: {why}")
        self.step = step
        self.why = why
        self.permanent = permanent


class Mqtt:
    """One connection to a broker; everything it does together stays inside its budget.

    `sockets` is the module `probe.sockets` or what acts like it; `ticks` likewise the module `time`.
    Every method raises LinkError; afterwards the connection is closed.
    """

    def __init__(self, sockets: "Any", ticks: "Any", budget_ms: int) -> None:
        self.whole = Deadline(ticks, budget_ms)
        self.session_present = False
        self._sockets = sockets
        self._sock: Any = None
        self._raw: Any = None
        self._packet_id = 0
        self._waiting: list[tuple[str, bytes]] = []

    def connect(
        self,
        address: str,
        port: int,
        client_id: str,
        user: "str | None" = None,
        password: "str | None" = None,
        tls: "tuple[str, bytes] | None" = None,
        will: "tuple[str, bytes] | None" = None,
        clean: bool = False,
        keepalive_s: int = 60,
    ) -> None:
        """Connect to the broker at an IP address.

        `tls`: the server's name and the CA's certificate (DER). `will`: topic and payload that the broker
        publishes, retained, when the probe vanishes without `disconnect`. Without `clean` the broker keeps
        subscriptions and what arrives for them while the probe sleeps.
        """
        self._open(address, port, tls)
        flags = 0x02 if clean else 0x00
        body = [b"\x00\x04MQTT\x04", b"", keepalive_s.to_bytes(2, "big"), _text(client_id)]
        if will is not None:
            flags |= 0x2C  # a will, at QoS 1, retained
            body += [_text(will[0]), _text(will[1])]
        if user is not None:
            flags |= 0x80
            body.append(_text(user))
            if password is not None:
                flags |= 0x40
                body.append(_text(password))
        body[1] = bytes((flags,))
        # MicroPython shakes hands while the first packet is written.
        deadline = self.whole.part(CONNACK_MS if tls is None else CONNACK_MS + TLS_MS)
        self._send("CONNACK", deadline, 0x10, b"".join(body))
        answer = self._await("CONNACK", deadline, 0x20)
        if len(answer) != 2:
            raise self._failed("CONNACK", "the answer is not MQTT", permanent=True)
        if answer[1]:
            why = _REFUSED.get(answer[1], f"the broker refuses with code {answer[1]}")
            raise self._failed("CONNACK", why, permanent=answer[1] != 3)
        self.session_present = bool(answer[0] & 1)

    def publish(self, topic: str, payload: bytes, retain: bool = False, budget_ms: int = PUBACK_MS) -> None:
        """Publish at QoS 1 and wait for the acknowledgement: when this returns, the broker has it."""
        deadline = self.whole.part(budget_ms)
        identity = self._next_id()
        self._send("PUBACK", deadline, 0x33 if retain else 0x32, _text(topic) + identity, payload)
        self._await("PUBACK", deadline, 0x40, identity)

    def subscribe(self, topics: "list[str]") -> None:
        """Subscribe at QoS 1 and wait for the broker's word that it is so."""
        deadline = self.whole.part(SUBACK_MS)
        identity = self._next_id()
        self._send(
            "SUBACK", deadline, 0x82, identity + b"".join([_text(topic) + b"\x01" for topic in topics])
        )
        granted = self._await("SUBACK", deadline, 0x90, identity)
        if len(granted) != 2 + len(topics) or any(code > 2 for code in granted[2:]):
            raise self._failed("SUBACK", "the broker does not let this probe listen", permanent=True)

    def received(self, budget_ms: int = 0) -> "tuple[str, bytes] | None":
        """The next message that came, waiting no longer than this for one; None when there is none."""
        deadline = self.whole.part(budget_ms)
        while not self._waiting:
            try:
                self._take(deadline, "message")
            except _NothingCameError:
                return None
        return self._waiting.pop(0)

    def ping(self) -> None:
        """Ask the broker whether it is there, and wait for its word."""
        deadline = self.whole.part(PING_MS)
        self._send("PINGRESP", deadline, 0xC0, b"")
        self._await("PINGRESP", deadline, 0xD0)

    def disconnect(self) -> bool:
        """Say goodbye, so that the broker drops the will; True when it hung up in answer. Never raises.

        The radio goes off right after this: without the wait the goodbye might never leave the probe, and
        the broker would tell everybody that the probe is lost.
        """
        deadline = self.whole.part(GOODBYE_MS)
        try:
            self._send("DISCONNECT", deadline, 0xE0, b"")
            while True:
                came = self._sockets.read(self._sock, 64)
                if came == b"":
                    return True
                if came is None and not deadline.pause():
                    return False
        except LinkError:
            return False
        except (OSError, ValueError):
            return True  # hung up the hard way
        finally:
            self.close()

    def close(self) -> None:
        """Let go of the connection without a goodbye: the broker will publish the will."""
        for sock in (self._sock, self._raw):
            if sock is not None:
                try:
                    sock.close()
                except OSError:
                    pass  # it was broken already
        self._sock = self._raw = None

    def _open(self, address: str, port: int, tls: "tuple[str, bytes] | None") -> None:
        self.close()
        deadline = self.whole.part(TCP_MS)
        step = "TCP"
        try:
            self._sock = self._sockets.open_stream((address, port))
            while not self._sockets.connected(self._sock):
                if not deadline.pause():
                    raise self._failed(step, "the broker's computer does not answer")
            if tls is not None:
                step, deadline = "TLS", self.whole.part(TLS_MS)
                self._raw = self._sock
                self._sock = self._sockets.secured(self._raw, tls[0], tls[1])
                while not self._sockets.shaken(self._sock):
                    if not deadline.pause():
                        raise self._failed(step, "the broker does not finish the handshake")
        except (OSError, ValueError) as error:
            raise self._failed(step, _reason(error), permanent=isinstance(error, ValueError)) from error

    def _failed(self, step: str, why: str, permanent: bool = False) -> LinkError:
        self.close()
        return LinkError(step, why, permanent)

    def _next_id(self) -> bytes:
        self._packet_id = self._packet_id % 0xFFFF + 1
        return self._packet_id.to_bytes(2, "big")

    def _send(self, step: str, deadline: Deadline, kind: int, head: bytes, payload: bytes = b"") -> None:
        length = len(head) + len(payload)
        front = bytearray((kind,))
        while True:
            front.append(length & 0x7F | (0x80 if length > 0x7F else 0))
            length >>= 7
            if not length:
                break
        for part in (bytes(front) + head, payload):
            left = memoryview(part)
            while left:
                if self._sock is None:
                    raise LinkError(step, "not connected")
                try:
                    taken = self._sockets.write(self._sock, left)
                except OSError as error:
                    raise self._failed(step, _reason(error)) from error
                except ValueError as error:  # MicroPython looks at the certificate only now
                    raise self._failed("TLS", str(error), permanent=True) from error
                left = left[taken:]
                if not taken and not deadline.pause():
                    raise self._failed(step, "the broker does not take what is sent")

    def _await(self, step: str, deadline: Deadline, kind: int, identity: bytes = b"") -> bytes:
        """The body of the packet that is waited for; messages that come first are kept."""
        while True:
            try:
                came, body = self._take(deadline, step)
            except _NothingCameError:
                raise self._failed(step, "the broker does not answer") from None
            if came == kind and body[: len(identity)] == identity:
                return body

    def _take(self, deadline: Deadline, step: str) -> "tuple[int, bytes]":
        """One packet: its kind and its body; a message is acknowledged and put by."""
        first = self._read(deadline, step, 1, begun=False)[0]
        length = shift = 0
        while True:
            byte = self._read(deadline, step, 1)[0]
            length |= (byte & 0x7F) << shift
            shift += 7
            if not byte & 0x80:
                break
            if shift > 21:
                raise self._failed(step, "the answer is not MQTT", permanent=True)
        kept = self._read(deadline, step, min(length, MOST_IN))
        for done in range(len(kept), length, MOST_IN):
            self._read(deadline, step, min(MOST_IN, length - done))
        if first >> 4 == 3:
            self._put_by(step, first, kept, length)
        return first & 0xF0, kept

    def _put_by(self, step: str, first: int, kept: bytes, length: int) -> None:
        quality = first >> 1 & 3
        end = 2 + int.from_bytes(kept[:2], "big")
        start = end + (2 if quality else 0)
        if quality > 1 or start > len(kept):
            raise self._failed(step, "the broker sent a message that was not asked for", permanent=True)
        if length <= MOST_IN:
            if sum([len(topic) + len(payload) for topic, payload in self._waiting]) + length > MOST_WAITING:
                return
            try:
                self._waiting.append((kept[2:end].decode(), kept[start:]))
            except UnicodeError:
                raise self._failed(step, "the answer is not MQTT", permanent=True) from None
        if quality:
            self._send(step, self.whole.part(PUBACK_MS), 0x40, kept[end:start])

    def _read(self, deadline: Deadline, step: str, count: int, begun: bool = True) -> bytes:
        """So many bytes. When the deadline comes before a packet has begun, the connection stays usable."""
        got = b""
        while len(got) < count:
            if self._sock is None:
                raise LinkError(step, "not connected")
            try:
                more = self._sockets.read(self._sock, count - len(got))
            except (OSError, ValueError) as error:
                raise self._failed(step, _reason(error)) from error
            if more is None:
                if not deadline.pause():
                    if begun or got:
                        raise self._failed(step, "the broker stopped in the middle of its answer")
                    raise _NothingCameError
            elif not more:
                raise self._failed(step, "the broker ended the connection")
            else:
                got += more
        return got


class _NothingCameError(Exception):
    """The deadline came before a packet began."""


def _text(value: "str | bytes") -> bytes:
    data = value.encode() if isinstance(value, str) else value
    return len(data).to_bytes(2, "big") + data


def _reason(error: Exception) -> str:
    if isinstance(error, OSError):
        known = _BROKEN.get(error.errno or 0)
        return known if known else f"the connection failed ({error})"
    return str(error)
