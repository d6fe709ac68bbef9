"""A socket that hands paho everything but ordinary PUBLISH packets, which it takes out itself.

paho reads a packet in three system calls and some hundred steps of Python. That is no matter for the few
packets of a talk, but a host that catches up after a night has tens of thousands to take in.
"""

import ssl
from collections.abc import Callable
from typing import Any

Take = Callable[[str, bytes, int, bool], None]
"""Called with topic, payload, packet identifier (0 at QoS 0) and whether the broker had it retained."""

NOT_UTF_8 = "a topic that is not UTF-8"
"""MQTT forbids such topics and brokers refuse them; should one come, quarantine shows it under this name."""
_READ_BYTES = 1 << 16
_ALL = 1 << 62


class IntakeSocket:
    """Wraps a connected socket for paho (MQTT 3.1.1). `take` runs on paho's network thread."""

    def __init__(self, sock: Any, take: Take) -> None:
        self._sock, self._take = sock, take
        self._buffer = b""
        self._at = 0
        self._through = 0  # bytes of the packet at hand that are paho's to read
        self._starved = True  # nothing more can be made of what is in the buffer

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)

    def pending(self) -> int:
        """Bytes that can be read without asking the system; paho asks for this as it does of TLS."""
        below: int = self._sock.pending() if isinstance(self._sock, ssl.SSLSocket) else 0
        return below + (0 if self._starved else len(self._buffer) - self._at)

    def recv(self, size: int) -> bytes:
        if not self._through and not self._starved:
            self._take_publishes()
        if self._through and self._at < len(self._buffer):
            return self._piece(size)
        fresh: bytes = self._sock.recv(_READ_BYTES)
        if not fresh:
            return fresh
        self._buffer = self._buffer[self._at :] + fresh
        self._at = 0
        self._starved = False
        if not self._through:
            self._take_publishes()
            if not self._through:
                # As if nothing had come: paho gets round to writing, and to asking again.
                raise BlockingIOError
        return self._piece(size)

    def _piece(self, size: int) -> bytes:
        piece = self._buffer[self._at : self._at + min(size, self._through)]
        self._at += len(piece)
        self._through -= len(piece)
        if self._at == len(self._buffer):
            self._starved = True
        return piece

    def _take_publishes(self) -> None:
        """From a packet's beginning: hand on whole PUBLISH packets, up to another kind or the end."""
        buffer, at, end = self._buffer, self._at, len(self._buffer)
        while True:
            self._at = at
            if end - at < 2:
                break
            command, length, start = buffer[at], buffer[at + 1], at + 2
            if length & 0x80:
                length, start = _long_length(buffer, at + 1, end)
                if not start:
                    break
            # QoS 0 or 1, whether doubled and retained or not; of a size that is to be expected
            if command & 0xF4 != 0x30 or length > _READ_BYTES or length < 2:
                self._through = start - at + length
                return
            stop = start + length
            if stop > end:
                break
            topic_end = start + 2 + (buffer[start] << 8 | buffer[start + 1])
            begin = topic_end + 2 if command & 0x02 else topic_end
            if begin > stop:
                self._through = start - at + length  # malformed: paho's to complain of
                return
            identifier = buffer[topic_end] << 8 | buffer[topic_end + 1] if command & 0x02 else 0
            try:
                topic = str(buffer[start + 2 : topic_end], "utf-8")
            except UnicodeDecodeError:
                topic = NOT_UTF_8
            self._take(topic, buffer[begin:stop], identifier, bool(command & 0x01))
            at = stop
        self._starved = True


def _long_length(buffer: bytes, at: int, end: int) -> tuple[int, int]:
    """The remaining length in two to four bytes and where it ends; (0, 0) when it is not all there yet."""
    length = 0
    for n in range(4):
        if at + n == end:
            return 0, 0
        length |= (buffer[at + n] & 0x7F) << 7 * n
        if buffer[at + n] < 0x80:
            return length, at + n + 1
    return _ALL, at + 4  # malformed: paho's to complain of
