"""The broker's IP address from its name, by one small question with a deadline.

`socket.getaddrinfo` waits as long as it likes. Names ending in .local are asked of the home network.
"""

import os

from probe.deadline import Deadline
from probe.link import LinkError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

DNS_MS = 4_000
AGAIN_MS = 1_000
"""A question may be lost on the way: it is asked again this often."""
MULTICAST = ("224.0.0.251", 5353)
_STEP = "DNS"


def is_address(name: str) -> bool:
    """Whether the name is an IPv4 address already."""
    parts = name.split(".")
    return len(parts) == 4 and all(part.isdigit() and len(part) <= 3 and int(part) <= 255 for part in parts)


def question(name: str, identity: int) -> bytes:
    """The packet that asks for the name's IPv4 address. Raises ValueError."""
    labels = name.rstrip(".").split(".")
    if not all(0 < len(label) <= 63 for label in labels) or len(name) > 253:
        raise ValueError(f"not a host name: {name}")
    asked = b"".join(bytes((len(label),)) + label.encode() for label in labels)
    return (
        identity.to_bytes(2, "big")
        + b"\x01\x00\x00\x01\x00\x00\x00\x00\x00\x00"
        + asked
        + b"\x00\x00\x01\x00\x01"
    )


def answered(packet: bytes, identity: int) -> "str | None":
    """The first IPv4 address in an answer; "" when the name is unknown; None when it is none of it."""
    if len(packet) < 12 or int.from_bytes(packet[:2], "big") != identity or not packet[2] & 0x80:
        return None
    try:
        place = 12
        for _ in range(int.from_bytes(packet[4:6], "big")):
            place = _after_name(packet, place) + 4
        for _ in range(int.from_bytes(packet[6:8], "big")):
            place = _after_name(packet, place)
            kind, length = packet[place + 1], int.from_bytes(packet[place + 8 : place + 10], "big")
            place += 10
            if kind == 1 and length == 4 and len(packet) >= place + 4:
                return ".".join(str(byte) for byte in packet[place : place + 4])
            place += length
    except IndexError:
        return None
    return ""


def resolve(sockets: "Any", name: str, name_server: str, deadline: Deadline) -> str:
    """The name's IPv4 address, asked of the name server that the network named. Raises LinkError."""
    if is_address(name):
        return name
    deadline = deadline.part(DNS_MS)
    server = MULTICAST if name.endswith(".local") else (name_server, 53)
    identity = int.from_bytes(os.urandom(2), "big")
    sock = None
    try:
        packet = question(name, identity)
        sock = sockets.open_datagram()
        while deadline.left_ms() > 0:
            sockets.send_to(sock, packet, server)
            again = deadline.part(AGAIN_MS)
            while True:
                came = sockets.receive_from(sock, 512)
                address = None if came is None else answered(came[0], identity)
                if address:
                    return address
                if address == "":
                    raise LinkError(_STEP, f"the name server does not know {name}")
                if came is None and not again.pause():
                    break
    except (OSError, ValueError) as error:
        raise LinkError(_STEP, str(error), isinstance(error, ValueError)) from error
    finally:
        if sock is not None:
            sock.close()
    raise LinkError(_STEP, f"no name server answers for {name}")


def _after_name(packet: bytes, place: int) -> int:
    """Where a name ends: at its empty label, or after a pointer to a name seen before."""
    while packet[place]:
        if packet[place] & 0xC0:
            return place + 2
        place += 1 + packet[place]
    return place + 1
