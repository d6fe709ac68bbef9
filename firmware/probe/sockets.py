"""Sockets that never block: each call does what can be done now, and says when that is nothing.

The one place where MicroPython's and CPython's sockets differ. `None` means "not yet".
"""

import errno
import select
import socket

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

# 115 and 119 are how Linux and lwIP number "in progress"; 11 and 35 are "try again" on Linux and elsewhere.
_NOT_YET = (errno.EAGAIN, errno.EINPROGRESS, errno.EALREADY, 11, 35, 115, 119)


def open_stream(address: "tuple[str, int]") -> "Any":
    """Begin a TCP connection to an IP address; `connected` says when it stands. Raises OSError."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.setblocking(False)
        try:
            made.connect(address)
        except OSError as error:
            if error.errno not in _NOT_YET:
                raise
    except OSError:
        made.close()
        raise
    return made


def connected(sock: "Any") -> bool:
    """Whether the connection stands. Raises OSError, on MicroPython only at the first write."""
    poll = select.poll()
    poll.register(sock, select.POLLOUT)
    if not poll.poll(0):
        return False
    if hasattr(sock, "getsockopt"):
        failed = sock.getsockopt(socket.SOL_SOCKET, getattr(socket, "SO_ERROR", 4))
        if failed:
            raise OSError(failed, "connection failed")
    return True


def open_datagram() -> "Any":
    """A UDP socket."""
    made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    made.setblocking(False)
    return made


def send_to(sock: "Any", packet: bytes, address: "tuple[str, int]") -> None:
    """Send one datagram. Raises OSError."""
    sock.sendto(packet, address)


def receive_from(sock: "Any", most: int) -> "tuple[bytes, Any] | None":
    """A datagram and its sender, or None when none is there. Raises OSError."""
    try:
        packet, sender = sock.recvfrom(most)
    except OSError as error:
        if error.errno in _NOT_YET:
            return None
        raise
    return packet, sender


def secured(sock: "Any", host: str, ca_der: bytes) -> "Any":
    """The connection with TLS around it; the handshake goes on later. Raises OSError, ValueError.

    The server must prove with a certificate signed by `ca_der` that it is `host`.
    """
    import ssl  # only where TLS is used: it costs memory

    context: "Any" = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    try:
        context.load_verify_locations(cadata=ca_der)
    except TypeError:  # MicroPython without its Python layer over TLS takes it by place
        context.load_verify_locations(ca_der)
    return context.wrap_socket(sock, server_hostname=host, do_handshake_on_connect=False)


def shaken(sock: "Any") -> bool:
    """Whether the TLS handshake is over; MicroPython has no call for it and shakes hands while writing."""
    handshake = getattr(sock, "do_handshake", None)
    if handshake is None:
        return True
    try:
        handshake()
    except OSError as error:
        if _would_block(error):
            return False
        raise
    return True


def read(sock: "Any", most: int) -> "bytes | None":
    """Up to so many bytes; None when none are there yet, b"" when the other side ended. Raises OSError."""
    try:
        got: bytes | None = sock.read(most) if hasattr(sock, "read") else sock.recv(most)
    except OSError as error:
        if _would_block(error):
            return None
        raise
    return got


def write(sock: "Any", data: "bytes | memoryview") -> int:
    """How many of the bytes were taken; 0 when none could be yet. Raises OSError."""
    try:
        taken: int | None = sock.write(data) if hasattr(sock, "write") else sock.send(data)
    except OSError as error:
        if _would_block(error):
            return 0
        raise
    return taken or 0


def der_from_pem(text: "str | bytes") -> bytes:
    """The first certificate of a PEM file; what is no PEM is handed back as it is. Raises ValueError."""
    import binascii

    data = text.encode() if isinstance(text, str) else text
    start = data.find(b"-----BEGIN CERTIFICATE-----")
    if start < 0:
        return data
    end = data.find(b"-----END CERTIFICATE-----")
    if end < 0:
        raise ValueError("the CA file ends before its certificate does")
    return binascii.a2b_base64(data[start + 27 : end])


def _would_block(error: OSError) -> bool:
    # CPython's TLS has errors of its own for it; their numbers mean something else as errno.
    if type(error).__name__ in ("SSLWantReadError", "SSLWantWriteError"):
        return True
    return error.errno in _NOT_YET
