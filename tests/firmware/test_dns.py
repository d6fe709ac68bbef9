"""The broker's address from its name, from name servers that answer, do not, or answer nonsense."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import dns, sockets
from probe.deadline import Deadline
from probe.link import LinkError
from tests.firmware.datagrams import Datagrams
from tests.firmware.waiting import RealTicks, Ticks

# An answer as RFC 1035, section 4.1, lays it out: a.example is an alias (name by pointer), then 192.0.2.7.
QUESTION = b"\x01a\x07example\x00\x00\x01\x00\x01"
ALIAS = b"\xc0\x0c\x00\x05\x00\x01\x00\x00\x00\x3c\x00\x04\x01b\xc0\x0e"
ADDRESS = b"\xc0\x27\x00\x01\x00\x01\x00\x00\x00\x3c\x00\x04\xc0\x00\x02\x07"


def _answer(identity: int, *records: bytes, flags: bytes = b"\x81\x80") -> bytes:
    counts = b"\x00\x01" + len(records).to_bytes(2, "big") + bytes(4)
    return identity.to_bytes(2, "big") + flags + counts + QUESTION + b"".join(records)


def test_a_question_is_as_rfc_1035_lays_it_out() -> None:
    asked = dns.question("a.example", 0x1234)
    assert asked == b"\x12\x34\x01\x00\x00\x01\x00\x00\x00\x00\x00\x00" + QUESTION
    assert dns.question("a.example.", 0x1234) == asked


@pytest.mark.parametrize("name", ["", ".", "a..b", "x" * 64 + ".example", "a." * 127 + "a"])
def test_what_is_no_host_name_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="not a host name"):
        dns.question(name, 1)


def test_the_address_is_found_behind_an_alias() -> None:
    assert dns.answered(_answer(7, ALIAS, ADDRESS), 7) == "192.0.2.7"
    assert dns.answered(_answer(7, ADDRESS), 7) == "192.0.2.7"


def test_an_answer_to_another_question_is_passed_over_and_no_such_name_is_told() -> None:
    assert dns.answered(_answer(7, ADDRESS), 8) is None
    assert dns.answered(_answer(7, ADDRESS, flags=b"\x01\x00"), 7) is None  # a question, not an answer
    assert dns.answered(_answer(7, flags=b"\x81\x83"), 7) == ""


@given(st.binary(max_size=80), st.integers(0, 12))
def test_nonsense_never_raises(noise: bytes, count: int) -> None:
    packet = b"\x00\x07\x81\x80\x00\x01\x00" + bytes((count,)) + bytes(4) + noise
    assert isinstance(dns.answered(packet, 7), str | None)


@pytest.mark.parametrize(
    ("name", "is_address"),
    [
        ("192.0.2.7", True),
        ("0.0.0.0", True),
        ("255.255.255.255", True),
        ("256.0.2.7", False),
        ("192.0.2", False),
        ("192.0.2.a", False),
        ("1.2.3.", False),
        ("broker.local", False),
    ],
)
def test_an_address_is_told_from_a_name(name: str, is_address: bool) -> None:
    assert dns.is_address(name) is is_address


def test_an_address_needs_nobody() -> None:
    nobody = Datagrams(Ticks())
    assert dns.resolve(nobody, "192.0.2.7", "", Deadline(nobody.ticks, 1_000)) == "192.0.2.7"
    assert nobody.sent == []


def test_a_name_server_that_is_silent_is_asked_again_and_costs_its_budget() -> None:
    silent = Datagrams(Ticks())
    with pytest.raises(LinkError, match=r"no name server answers for a\.example") as failed:
        dns.resolve(silent, "a.example", "192.0.2.1", Deadline(silent.ticks, 60_000))
    assert failed.value.step == "DNS"
    assert silent.ticks.passed_ms == dns.DNS_MS
    assert [to for _, to in silent.sent] == [("192.0.2.1", 53)] * 4
    assert silent.closed == 1


def test_never_beyond_the_deadline_it_is_part_of() -> None:
    silent = Datagrams(Ticks())
    with pytest.raises(LinkError):
        dns.resolve(silent, "a.example", "192.0.2.1", Deadline(silent.ticks, 700))
    assert silent.ticks.passed_ms == 700


def test_a_flood_of_answers_to_other_questions_ends_too() -> None:
    flood = Datagrams(Ticks(), lambda packet: [b"noise"] * 3, costs_ms=50)
    with pytest.raises(LinkError):
        dns.resolve(flood, "a.example", "192.0.2.1", Deadline(flood.ticks, 60_000))
    assert flood.ticks.passed_ms <= dns.DNS_MS + 3 * 50


def test_a_lost_answer_is_asked_for_again() -> None:
    def second_time(packet: bytes) -> list[bytes]:
        return [_answer(int.from_bytes(packet[:2], "big"), ADDRESS)] if len(slow.sent) == 2 else []

    slow = Datagrams(Ticks(), second_time)
    assert dns.resolve(slow, "a.example", "192.0.2.1", Deadline(slow.ticks, 60_000)) == "192.0.2.7"
    assert slow.ticks.passed_ms == dns.AGAIN_MS


def test_an_unknown_name_is_told_at_once() -> None:
    empty = Datagrams(Ticks(), lambda packet: [_answer(int.from_bytes(packet[:2], "big"), flags=b"\x81\x83")])
    with pytest.raises(LinkError, match="does not know"):
        dns.resolve(empty, "a.example", "192.0.2.1", Deadline(empty.ticks, 60_000))
    assert empty.ticks.passed_ms == 0


def test_a_local_name_is_asked_of_everybody_at_home() -> None:
    home = Datagrams(Ticks(), lambda packet: [_answer(int.from_bytes(packet[:2], "big"), ADDRESS)])
    assert dns.resolve(home, "garden.local", "192.0.2.1", Deadline(home.ticks, 60_000)) == "192.0.2.7"
    assert home.sent[0][1] == ("224.0.0.251", 5353)


def test_a_network_that_cannot_be_reached_is_a_link_error() -> None:
    broken = Datagrams(Ticks(), fails=OSError(113, "no route"))
    with pytest.raises(LinkError, match="no route"):
        dns.resolve(broken, "a.example", "192.0.2.1", Deadline(broken.ticks, 60_000))
    assert broken.closed == 1


@contextmanager
def _name_server() -> Iterator[int]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind(("127.0.0.1", 0))

        def serve() -> None:
            packet, asker = server.recvfrom(512)
            server.sendto(_answer(int.from_bytes(packet[:2], "big"), ALIAS, ADDRESS), asker)

        thread = threading.Thread(target=serve)
        thread.start()
        yield server.getsockname()[1]
        thread.join()


def test_over_real_datagrams() -> None:
    with _name_server() as port:
        ticks = RealTicks()
        asking = Deadline(ticks, 20_000)
        sock = sockets.open_datagram()
        try:
            assert sockets.receive_from(sock, 512) is None
            sockets.send_to(sock, dns.question("a.example", 5), ("127.0.0.1", port))
            came = None
            while came is None and asking.pause():
                came = sockets.receive_from(sock, 512)
        finally:
            sock.close()
    assert came is not None
    assert dns.answered(came[0], 5) == "192.0.2.7"
