"""MicroPython's `socket` on an ESP32: TCP goes to real peers, UDP to a time server on the bench.

As there, a socket that does not block raises OSError(EAGAIN) or returns None from the stream methods, and
connecting without blocking raises EINPROGRESS.
"""

import binascii
import errno

import bridge  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

AF_INET, AF_INET6, SOCK_STREAM, SOCK_DGRAM = 2, 10, 1, 2
IPPROTO_TCP, IPPROTO_UDP, SOL_SOCKET, SO_REUSEADDR, TCP_NODELAY = 6, 17, 0xFFF, 4, 1
ETIMEDOUT = 116
_NUMBERS = {
    "EAGAIN": errno.EAGAIN,
    "ECONNREFUSED": errno.ECONNREFUSED,
    "ECONNRESET": errno.ECONNRESET,
    "EPIPE": errno.ECONNRESET,
    "EHOSTUNREACH": errno.EHOSTUNREACH,
}


def _raise(name: str) -> None:
    raise OSError(_NUMBERS.get(name, errno.EIO))


def getaddrinfo(
    host: str, port: int, family: int = 0, type: int = 0, proto: int = 0, flags: int = 0
) -> "list[Any]":
    address = bridge.lookup(host)
    if not address:
        raise OSError(-202)  # as lwIP says it
    return [(AF_INET, type or SOCK_STREAM, 0, "", (address, port))]


class socket:  # noqa: N801
    def __init__(self, family: int = AF_INET, type: int = SOCK_STREAM, proto: int = 0) -> None:
        self.id = int(bridge.udp_open() if type == SOCK_DGRAM else bridge.tcp_open())
        self.wait_ms = -1
        self.to: Any = None

    def settimeout(self, seconds: "float | None") -> None:
        self.wait_ms = -1 if seconds is None else int(seconds * 1000)

    def setblocking(self, blocking: bool) -> None:
        self.wait_ms = -1 if blocking else 0

    def setsockopt(self, *given: "Any") -> None:
        pass

    def fileno(self) -> int:
        return self.id

    def connect(self, to: "tuple[str, int]") -> None:
        self.to = to
        failed = bridge.sock_connect(self.id, to[0], int(to[1]))
        if failed:
            _raise(failed)
        if self.wait_ms == 0:
            raise OSError(errno.EINPROGRESS)
        ready = bridge.poll(f"{self.id}:w", self.wait_ms)
        if not ready:
            raise OSError(ETIMEDOUT)
        if "e" in ready:
            _raise("ECONNREFUSED")

    def _wait(self, how: str) -> bool:
        """False when the time is up."""
        return self.wait_ms == 0 or bool(bridge.poll(f"{self.id}:{how}", self.wait_ms))

    def send(self, data: "Any") -> int:
        return self._send(data, "", 0)

    def sendto(self, data: "Any", to: "tuple[str, int]") -> int:
        return self._send(data, to[0], int(to[1]))

    def _send(self, data: "Any", host: str, port: int) -> int:
        if not self._wait("w"):
            raise OSError(ETIMEDOUT)
        sent = bridge.sock_send(self.id, binascii.hexlify(data).decode(), host, port)
        if isinstance(sent, str):
            _raise(sent)
        return int(sent)

    def sendall(self, data: "Any") -> None:
        rest = memoryview(data)
        while rest:
            rest = rest[self.send(rest) :]

    def recv(self, most: int) -> bytes:
        if not self._wait("r"):
            raise OSError(ETIMEDOUT)
        got = bridge.sock_receive(self.id, int(most))
        if got[:1] != "=":
            _raise(got)
        return binascii.unhexlify(got[1:])

    def recvfrom(self, most: int) -> "tuple[bytes, Any]":
        return self.recv(most), self.to or ("192.0.2.123", 123)

    def read(self, most: int = -1) -> "bytes | None":
        try:
            return self.recv(most if most >= 0 else 1024)
        except OSError as error:
            if error.args[0] == errno.EAGAIN:
                return None
            raise

    def readinto(self, into: "Any", most: int = -1) -> "int | None":
        got = self.read(most if 0 <= most < len(into) else len(into))
        if got is None:
            return None
        into[: len(got)] = got
        return len(got)

    def write(self, data: "Any") -> "int | None":
        try:
            return self.send(data)
        except OSError as error:
            if error.args[0] == errno.EAGAIN:
                return None
            raise

    def close(self) -> None:
        bridge.sock_close(self.id)

    def __enter__(self) -> "socket":
        return self

    def __exit__(self, *_: "Any") -> None:
        self.close()
