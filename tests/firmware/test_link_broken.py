"""The link to brokers that misbehave: no wait outlasts its budget, and each ending has a reason."""

import socket
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import link, sockets
from probe.link import LinkError, Mqtt
from tests.firmware.waiting import Ticks

BUDGET_MS = 30_000
CONNACK = b"\x20\x02\x00\x00"
Step = bytes | int | None | OSError


class Scripted:
    """Sockets that play a script: bytes that come, a number of ms of silence, None to end, an error to raise.

    What is read comes in pieces of `most_read` bytes; each write takes `most_write`.
    """

    def __init__(
        self,
        ticks: Ticks,
        script: Iterable[Step] = (),
        *,
        connects: bool = True,
        most_read: int = 1 << 20,
        most_write: int = 1 << 20,
    ) -> None:
        self.ticks, self.script, self.connects = ticks, list(script), connects
        self.most_read, self.most_write = most_read, most_write
        self.written = bytearray()
        self.closed = 0
        self._silent_until_ms = 0

    def open_stream(self, address: tuple[str, int]) -> "Scripted":
        return self

    def connected(self, sock: object) -> bool:
        return self.connects

    def secured(self, sock: object, host: str, ca_der: bytes) -> "Scripted":
        return self

    def shaken(self, sock: object) -> bool:
        return False

    def close(self) -> None:
        self.closed += 1

    def write(self, sock: object, data: memoryview) -> int:
        taken = min(len(data), self.most_write)
        self.written += data[:taken]
        return taken

    def read(self, sock: object, most: int) -> bytes | None:
        if self.ticks.passed_ms < self._silent_until_ms or not self.script:
            return None
        step = self.script[0]
        if isinstance(step, int):
            self._silent_until_ms = self.ticks.passed_ms + step
            self.script.pop(0)
            return None
        if step is None:
            return b""
        if isinstance(step, OSError):
            raise step
        count = min(most, self.most_read)
        self.script[0] = step[count:]
        if not self.script[0]:
            self.script.pop(0)
        return step[:count]


def _connected(*script: Step, **more: Any) -> tuple[Mqtt, Scripted, Ticks]:
    ticks = Ticks()
    sockets = Scripted(ticks, [CONNACK, *script], **more)
    mqtt = Mqtt(sockets, ticks, BUDGET_MS)
    mqtt.connect("192.0.2.1", 1883, "probe")
    return mqtt, sockets, ticks


def _fails(act: Callable[[], object], step: str, why: str) -> LinkError:
    with pytest.raises(LinkError, match=why) as failed:
        act()
    assert failed.value.step == step
    return failed.value


def test_a_computer_that_does_not_answer_costs_the_budget_for_tcp() -> None:
    ticks = Ticks()
    mqtt = Mqtt(Scripted(ticks, connects=False), ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("192.0.2.1", 1883, "probe"), "TCP", "does not answer")
    assert ticks.passed_ms == link.TCP_MS


def test_a_handshake_that_never_ends_costs_the_budget_for_tls() -> None:
    ticks = Ticks()
    sockets = Scripted(ticks)
    mqtt = Mqtt(sockets, ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("192.0.2.1", 8883, "p", tls=("broker", b"")), "TLS", "handshake")
    assert ticks.passed_ms == link.TLS_MS
    assert sockets.closed


def test_silence_after_connect_costs_the_budget_for_connack_and_closes() -> None:
    ticks = Ticks()
    sockets = Scripted(ticks)
    mqtt = Mqtt(sockets, ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("192.0.2.1", 1883, "probe"), "CONNACK", "does not answer")
    assert ticks.passed_ms == link.CONNACK_MS
    assert sockets.closed == 1


def test_a_server_that_takes_no_bytes_costs_no_more() -> None:
    ticks = Ticks()
    mqtt = Mqtt(Scripted(ticks, most_write=0), ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("192.0.2.1", 1883, "probe"), "CONNACK", "does not take")
    assert ticks.passed_ms == link.CONNACK_MS


@pytest.mark.parametrize("cut", [1, 2, 3])
def test_a_server_that_stops_in_the_middle_of_a_packet(cut: int) -> None:
    ticks = Ticks()
    mqtt = Mqtt(Scripted(ticks, [CONNACK[:cut]]), ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("192.0.2.1", 1883, "probe"), "CONNACK", "in the middle")
    assert ticks.passed_ms == link.CONNACK_MS


def test_a_server_that_trickles_does_not_stretch_the_budget() -> None:
    # A message of 200 bytes, one byte a second: each byte alone would be in time.
    trickled: list[Step] = []
    for byte in b"\x30\xc8\x01" + bytes(200):
        trickled += [bytes((byte,)), 1_000]
    mqtt, _, ticks = _connected(*trickled)
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "in the middle")
    assert ticks.passed_ms == link.PUBACK_MS


def test_a_broker_that_never_acknowledges_though_it_answers_pings() -> None:
    pings: list[Step] = [b"\xd0\x00", 900]
    mqtt, _, ticks = _connected(*pings * 30)
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "does not answer|in the middle")
    assert ticks.passed_ms == link.PUBACK_MS


def test_an_acknowledgement_of_something_else_is_not_taken() -> None:
    mqtt, _, _ = _connected(b"\x40\x02\x00\x02")
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "does not answer")


def test_everything_together_stays_inside_the_whole_budget() -> None:
    ticks = Ticks()
    sockets = Scripted(ticks, [3_000, CONNACK, 3_000, b"\x40\x02\x00\x01", 3_000, b"\x40\x02\x00\x02"])
    mqtt = Mqtt(sockets, ticks, 8_000)
    mqtt.connect("192.0.2.1", 1883, "probe")
    mqtt.publish("t", b"x")
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "does not answer")
    assert ticks.passed_ms == 8_000


def test_a_broker_that_hangs_up_and_a_connection_that_breaks() -> None:
    mqtt, _, _ = _connected(None)
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "ended the connection")
    mqtt, sockets, _ = _connected(OSError(104, "reset"))
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "broke off")
    assert sockets.closed == 1
    _fails(lambda: mqtt.publish("t", b"x"), "PUBACK", "not connected")
    assert mqtt.disconnect() is False


@pytest.mark.parametrize(("code", "why", "permanent"), [(4, "wrong user", True), (3, "not available", False)])
def test_a_refusal_is_told_in_words(code: int, why: str, permanent: bool) -> None:
    ticks = Ticks()
    mqtt = Mqtt(Scripted(ticks, [bytes((0x20, 2, 0, code))]), ticks, BUDGET_MS)
    error = _fails(lambda: mqtt.connect("192.0.2.1", 1883, "probe"), "CONNACK", why)
    assert error.permanent is permanent


def test_a_refused_subscription_is_an_error() -> None:
    mqtt, _, _ = _connected(b"\x90\x03\x00\x01\x80")
    _fails(lambda: mqtt.subscribe(["t"]), "SUBACK", "does not let")


@pytest.mark.parametrize("most", [1, 2, 3, 7])
def test_partial_reads_and_writes_give_the_same(most: int) -> None:
    message = b"\x32\x0c\x00\x05reply\x00\x09now"
    mqtt, sockets, _ = _connected(message, b"\x40\x02\x00\x01", most_read=most, most_write=most)
    before = len(sockets.written)
    mqtt.publish("topic", b"payload")
    assert sockets.written[before:] == b"\x32\x10\x00\x05topic\x00\x01payload" + b"\x40\x02\x00\x09"
    assert mqtt.received() == ("reply", b"now")
    assert mqtt.received() is None


def test_a_long_payload_has_its_length_in_two_bytes() -> None:
    mqtt, sockets, _ = _connected(b"\x40\x02\x00\x01", most_write=100)
    before = len(sockets.written)
    mqtt.publish("t", bytes(300), retain=True)
    # MQTT 3.1.1, section 2.2.3: 305 = 49 + 2·128, least significant seven bits first.
    assert sockets.written[before : before + 3] == bytes((0x33, 0x80 | 49, 2))
    assert len(sockets.written) - before == 3 + 305


def test_a_message_that_is_too_long_is_acknowledged_and_passed_over() -> None:
    payload = bytes(10_000)
    length = 2 + 1 + 2 + len(payload)
    message = bytes((0x32, length & 0x7F | 0x80, length >> 7)) + b"\x00\x01t\x00\x07" + payload
    mqtt, sockets, _ = _connected(message, b"\x30\x04\x00\x01sx")
    assert mqtt.received(1_000) == ("s", b"x")
    assert sockets.written.endswith(b"\x40\x02\x00\x07")


def test_messages_beyond_the_room_are_left_to_the_broker() -> None:
    count = 5
    messages = [
        bytes((0x32, 0x80 | (2005 & 0x7F), 2005 >> 7)) + b"\x00\x01t" + bytes((0, number)) + bytes(2000)
        for number in range(1, count + 1)
    ]
    mqtt, sockets, _ = _connected(*messages, b"\x40\x02\x00\x01")
    mqtt.publish("t", b"x")
    kept = 0
    while mqtt.received():
        kept += 1
    assert kept == 4
    assert sockets.written.count(b"\x40\x02\x00") == kept


def test_a_goodbye_waits_until_the_broker_hangs_up() -> None:
    # The radio goes off next: what has not left the probe by then never does.
    mqtt, sockets, ticks = _connected(200, b"\x30\x04\x00\x01sx", 200, None)
    assert mqtt.disconnect() is True
    assert 400 <= ticks.passed_ms <= 420
    assert sockets.written.endswith(b"\xe0\x00")
    assert sockets.closed == 1
    mqtt, _, _ = _connected(OSError(104, "reset"))
    assert mqtt.disconnect() is True


def test_a_goodbye_that_nobody_answers_costs_its_budget_and_is_told() -> None:
    mqtt, sockets, ticks = _connected()
    assert mqtt.disconnect() is False
    assert ticks.passed_ms == link.GOODBYE_MS
    assert sockets.closed == 1


def test_a_certificate_refused_while_writing_is_told_as_such() -> None:
    class _Refuses(Scripted):
        """As MicroPython: the handshake goes on inside the first write."""

        def shaken(self, sock: object) -> bool:
            return True

        def write(self, sock: object, data: memoryview) -> int:
            raise ValueError("The certificate is not correctly signed by the trusted CA")

    ticks = Ticks()
    mqtt = Mqtt(_Refuses(ticks), ticks, BUDGET_MS)
    error = _fails(
        lambda: mqtt.connect("192.0.2.1", 8883, "p", tls=("b", b"")), "TLS", "not correctly signed"
    )
    assert error.permanent


def test_waiting_for_a_message_in_vain_leaves_the_connection_usable() -> None:
    mqtt, _, ticks = _connected(3_000, b"\x40\x02\x00\x01")
    assert mqtt.received(2_000) is None
    assert ticks.passed_ms == 2_000
    mqtt.publish("t", b"x")


@given(st.lists(st.one_of(st.binary(max_size=40), st.integers(0, 5_000)), max_size=12))
def test_whatever_the_server_says_ends_within_the_budget_and_only_with_a_link_error(
    script: list[Step],
) -> None:
    ticks = Ticks()
    mqtt = Mqtt(Scripted(ticks, script), ticks, BUDGET_MS)
    try:
        mqtt.connect("192.0.2.1", 1883, "probe")
        mqtt.subscribe(["t"])
        mqtt.publish("t", b"x")
        mqtt.received(1_000)
    except LinkError:
        pass
    assert ticks.passed_ms <= BUDGET_MS


def test_a_refused_connection_says_that_nothing_listens() -> None:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port = asked.getsockname()[1]
    ticks = Ticks(real_s=0.001)
    mqtt = Mqtt(sockets, ticks, BUDGET_MS)
    _fails(lambda: mqtt.connect("127.0.0.1", port, "probe"), "TCP", "nothing listens")
    assert ticks.passed_ms <= link.TCP_MS


def test_a_real_server_that_accepts_and_says_nothing() -> None:
    ticks = Ticks(real_s=0.000_01)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        mqtt = Mqtt(sockets, ticks, BUDGET_MS)
        port = silent.getsockname()[1]
        _fails(lambda: mqtt.connect("127.0.0.1", port, "probe"), "CONNACK", "does not answer")
    assert ticks.passed_ms <= link.TCP_MS + link.CONNACK_MS
