"""The time from a time server: what is believed, what is not, and for how long it is waited."""

import struct
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import ntp
from probe.link import LinkError
from tests.firmware.datagrams import Datagrams
from tests.firmware.waiting import Ticks

TOKEN = b"\x01\x02\x03\x04\x05\x06\x07\x08"
# RFC 5905, figure 4: 1 January 1970 is 2,208,988,800 s of era 0, 8 February 2036 is 63,104 s of era 1.
Y1970 = (2_208_988_800, 0)
Y2036 = (63_104, int(datetime(2036, 2, 8, tzinfo=UTC).timestamp()))


def _answer(
    seconds: int, fraction: int = 0, *, token: bytes = TOKEN, first: int = 0x24, stratum: int = 2
) -> bytes:
    return struct.pack(">BBBb20x8s8xII", first, stratum, 6, -20, token, seconds % 2**32, fraction)


def test_a_question_is_48_bytes_of_version_4_client() -> None:
    asked = ntp.question(TOKEN)
    assert len(asked) == 48
    assert (asked[0] >> 6, asked[0] >> 3 & 7, asked[0] & 7) == (0, 4, 3)
    assert asked[40:] == TOKEN  # the client's own "transmit", which the server sends back as "origin"


@pytest.mark.parametrize(("seconds", "unix_s"), [Y1970, Y2036, (2**32 - 1, 2**32 - 1 - 2_208_988_800)])
def test_seconds_of_both_eras(seconds: int, unix_s: int) -> None:
    assert ntp.answered(_answer(seconds), TOKEN) == unix_s * 1000


@given(st.integers(1_600_000_000_000, 4_000_000_000_000))
def test_to_the_millisecond(unix_ms: int) -> None:
    ntp_ms = unix_ms + 2_208_988_800_000
    fraction = -(
        -(ntp_ms % 1000) * 2**32 // 1000
    )  # rounded up, as a server's fraction of a ms may not be seen
    assert ntp.answered(_answer(ntp_ms // 1000, fraction), TOKEN) == unix_ms


def test_the_answer_to_another_question_is_passed_over() -> None:
    assert ntp.answered(_answer(1, token=bytes(8)), TOKEN) is None
    assert ntp.answered(_answer(1, first=0x23), TOKEN) is None  # from a client
    assert ntp.answered(_answer(1)[:47], TOKEN) is None


@pytest.mark.parametrize(("first", "stratum"), [(0xE4, 2), (0x24, 0), (0x24, 16)])
def test_a_server_that_is_not_set_itself_is_not_believed(first: int, stratum: int) -> None:
    with pytest.raises(ValueError, match="does not know the time"):
        ntp.answered(_answer(3_000_000_000, first=first, stratum=stratum), TOKEN)


def test_half_of_the_way_there_and_back_is_added() -> None:
    ticks = Ticks()

    class _Slow(Datagrams):
        def receive_from(self, sock: object, most: int) -> tuple[bytes, tuple[str, int]] | None:
            if ticks.passed_ms < 400:
                return None
            return super().receive_from(sock, most)

    server = _Slow(ticks, lambda packet: [_answer(3_900_000_000, token=packet[40:])])
    assert ntp.ask(server, ticks, "192.0.2.5", "") == (3_900_000_000 - 2_208_988_800) * 1000 + 200
    assert server.sent[0][1] == ("192.0.2.5", 123)


def test_a_silent_server_is_asked_again_and_costs_its_budget() -> None:
    silent = Datagrams(Ticks())
    with pytest.raises(LinkError, match="does not answer") as failed:
        ntp.ask(silent, silent.ticks, "192.0.2.5", "", 2_500)
    assert failed.value.step == "NTP"
    assert silent.ticks.passed_ms == 2_500
    assert len(silent.sent) == 3
    assert silent.closed == 1


def test_a_forged_answer_does_not_end_the_wait_for_the_right_one() -> None:
    server = Datagrams(Ticks(), lambda packet: [_answer(1), b"", _answer(3_900_000_000, token=packet[40:])])
    assert ntp.ask(server, server.ticks, "192.0.2.5", "") == (3_900_000_000 - 2_208_988_800) * 1000


def test_a_server_that_says_it_does_not_know_is_a_link_error() -> None:
    server = Datagrams(Ticks(), lambda packet: [_answer(1, token=packet[40:], stratum=0)])
    with pytest.raises(LinkError, match="does not know the time"):
        ntp.ask(server, server.ticks, "192.0.2.5", "")
