"""The intake takes PUBLISH packets out of the stream, however it is cut, and leaves paho all the rest."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.links.intake import NOT_UTF_8, IntakeSocket

Taken = tuple[str, bytes, int, bool]
PINGRESP = b"\xd0\x00"
SUBACK = b"\x90\x03\x00\x01\x01"


def _length(length: int) -> bytes:
    """Remaining length as MQTT 3.1.1 section 2.2.3 writes it."""
    written = b""
    while True:
        length, digit = divmod(length, 128)
        written += bytes([digit | (0x80 if length else 0)])
        if not length:
            return written


def _publish(topic: bytes, payload: bytes, identifier: int = 0, flags: int = 0) -> bytes:
    body = len(topic).to_bytes(2, "big") + topic
    if identifier:
        body += identifier.to_bytes(2, "big")
    body += payload
    return bytes([0x30 | flags | (2 if identifier else 0)]) + _length(len(body)) + body


class _Wire:
    """A socket that gives the pieces it was given, then would block."""

    def __init__(self, pieces: list[bytes]) -> None:
        self.pieces = pieces

    def recv(self, size: int) -> bytes:
        if not self.pieces:
            raise BlockingIOError
        piece = self.pieces.pop(0)
        assert len(piece) <= size
        return piece


def _read_all(pieces: list[bytes]) -> tuple[list[Taken], bytes]:
    """What was taken out, and what was left for paho, which reads a byte or a few at a time."""
    taken: list[Taken] = []
    wire = _Wire(list(pieces))
    sock = IntakeSocket(wire, lambda *message: taken.append(message))
    left = b""
    for _ in range(sum(map(len, pieces)) + len(pieces) + 10):
        try:
            left += sock.recv(3)
        except BlockingIOError:
            if not wire.pieces and not sock.pending():
                break
    return taken, left


def test_the_packet_of_the_standard_is_read() -> None:
    """MQTT 3.1.1 figure 3.11: topic a/b, identifier 10; section 3.3.1 for the flags."""
    packet = bytes([0x32, 0x07, 0x00, 0x03, 0x61, 0x2F, 0x62, 0x00, 0x0A])
    assert _read_all([packet]) == ([("a/b", b"", 10, False)], b"")


@pytest.mark.parametrize(("flags", "retained"), [(0, False), (1, True), (8, False), (9, True)])
def test_doubled_and_retained_messages_are_taken_too(flags: int, retained: bool) -> None:
    assert _read_all([_publish(b"a", b"x", 7, flags)])[0] == [("a", b"x", 7, retained)]


def test_other_packets_reach_paho_untouched() -> None:
    stream = SUBACK + _publish(b"a", b"1", 1) + PINGRESP + _publish(b"b", b"2") + PINGRESP
    assert _read_all([stream]) == ([("a", b"1", 1, False), ("b", b"2", 0, False)], SUBACK + PINGRESP * 2)


@given(
    packets=st.lists(
        st.one_of(
            st.just(PINGRESP),
            st.just(SUBACK),
            st.builds(
                _publish,
                topic=st.text("abc/ü", min_size=1, max_size=9).map(str.encode),
                payload=st.binary(max_size=300),
                identifier=st.integers(0, 65535),
            ),
        ),
        max_size=12,
    ),
    data=st.data(),
)
def test_however_the_stream_is_cut_the_same_comes_out(packets: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(packets)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True) if b > a]
    taken, left = _read_all(pieces)
    assert left == b"".join(p for p in packets if p[0] & 0xF0 != 0x30)
    whole = _read_all([stream])[0] if stream else []
    assert taken == whole
    assert len(taken) == sum(p[0] & 0xF0 == 0x30 for p in packets)


def test_a_long_message_is_left_to_paho() -> None:
    """So that ten mebibytes are gathered once, where paho keeps count, and not twice."""
    long = _publish(b"a", bytes(200_000), 3)
    pieces = [long[at : at + 60_000] for at in range(0, len(long), 60_000)]
    taken, left = _read_all([*pieces, _publish(b"b", b"after", 4)])
    assert left == long
    assert taken == [("b", b"after", 4, False)]


def test_a_topic_that_is_not_utf_8_is_taken_under_a_name_of_its_own() -> None:
    assert _read_all([_publish(b"\xff\xfe", b"x", 1)])[0] == [(NOT_UTF_8, b"x", 1, False)]


@pytest.mark.parametrize("packet", [b"\x32\x03\x00\x09a", b"\x32\xff\xff\xff\xff\x7f", b"\x30\x00"])
def test_a_malformed_packet_is_left_for_paho_to_refuse(packet: bytes) -> None:
    taken, left = _read_all([packet])
    assert taken == []
    assert left == packet


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    near, far = socket.socketpair()
    with near, far:
        near.setblocking(False)
        yield near, far


def test_the_end_of_the_stream_is_told_as_sockets_tell_it(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    near, far = pair
    far.sendall(_publish(b"a", b"x", 1)[:4])
    sock = IntakeSocket(near, lambda *_: None)
    with pytest.raises(BlockingIOError):
        sock.recv(1)
    assert sock.pending() == 0  # half a packet is no reason to ask again at once
    far.close()
    assert sock.recv(1) == b""
    assert sock.fileno() == near.fileno()
