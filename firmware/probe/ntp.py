"""The time from a time server (SNTP, RFC 4330), with a deadline.

Whole milliseconds: a float has 24 bits on the board, so a time in it would be off by minutes.
"""

import os

from probe import dns
from probe.deadline import Deadline
from probe.link import LinkError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NTP_MS = 3_000
AGAIN_MS = 1_000
PORT = 123
_STEP = "NTP"
_TO_1970_S = 2_208_988_800
_ERA_S = 1 << 32


def question(token: bytes) -> bytes:
    """The packet that asks for the time; the server sends the eight bytes of `token` back."""
    return b"\x23" + bytes(39) + token


def answered(packet: bytes, token: bytes) -> "int | None":
    """Milliseconds since 1970 when the server sent this; None for what answers another question.

    Raises ValueError for a server that says it does not know the time.
    """
    if len(packet) < 48 or packet[24:32] != token or packet[0] & 7 != 4:
        return None
    if packet[0] >> 6 == 3 or not 1 <= packet[1] <= 15:
        raise ValueError("the time server does not know the time")
    seconds = int.from_bytes(packet[40:44], "big")
    if seconds < 1 << 31:
        seconds += _ERA_S  # counts from 2036-02-07 again
    fraction = int.from_bytes(packet[44:48], "big")
    return (seconds - _TO_1970_S) * 1000 + (fraction * 1000 >> 32)


def ask(
    sockets: "Any", ticks: "Any", host: str, name_server: str, budget_ms: int = NTP_MS, port: int = PORT
) -> int:
    """Milliseconds since 1970 now, half of the way there and back added. Raises LinkError."""
    deadline = Deadline(ticks, budget_ms)
    address = dns.resolve(sockets, host, name_server, deadline)
    sock = None
    try:
        sock = sockets.open_datagram()
        while deadline.left_ms() > 0:
            token = os.urandom(8)
            sent_at = ticks.ticks_ms()
            sockets.send_to(sock, question(token), (address, port))
            again = deadline.part(AGAIN_MS)
            while True:
                came = sockets.receive_from(sock, 128)
                now_ms = None if came is None else answered(came[0], token)
                if now_ms is not None:
                    there_and_back_ms: int = ticks.ticks_diff(ticks.ticks_ms(), sent_at)
                    return now_ms + there_and_back_ms // 2
                if came is None and not again.pause():
                    break
    except (OSError, ValueError) as error:
        raise LinkError(_STEP, str(error)) from error
    finally:
        if sock is not None:
            sock.close()
    raise LinkError(_STEP, f"{host} does not answer")
