"""What RTC memory holds survives everything but a loss of power, and rubbish is not taken for it."""

from hypothesis import given
from hypothesis import strategies as st

from probe.rtc import MOST_BYTES, Gather


class RtcMemory:
    def __init__(self, data: bytes = b"") -> None:
        self.data = data

    def __call__(self, data: bytes | None = None) -> bytes:
        if data is not None:
            assert len(data) <= MOST_BYTES
            self.data = data
        return self.data


def filled(*instants: bytes) -> RtcMemory:
    memory = RtcMemory()
    gather = Gather(memory)
    gather.state, gather.clock, gather.notes = b"state", b"clock", b"notes"
    gather.instants = list(instants)
    gather.save()
    return memory


@given(st.lists(st.binary(max_size=90), max_size=15))
def test_what_was_saved_comes_back(instants: list[bytes]) -> None:
    gather = Gather(filled(*instants))
    assert gather.survived
    assert (gather.state, gather.clock, gather.notes) == (b"state", b"clock", b"notes")
    assert gather.instants == instants


@given(st.binary(max_size=MOST_BYTES))
def test_memory_after_a_power_loss_is_not_taken_for_state(rubbish: bytes) -> None:
    assert not Gather(RtcMemory(rubbish)).survived


@given(st.integers(0, 200), st.integers(1, 255))
def test_any_flipped_byte_is_noticed(at: int, flip: int) -> None:
    memory = filled(b"x" * 30, b"y" * 30)
    at %= len(memory.data)
    memory.data = memory.data[:at] + bytes([memory.data[at] ^ flip]) + memory.data[at + 1 :]
    assert not Gather(memory).survived


def test_24_instants_of_one_head_fit_beside_the_state() -> None:
    gather = Gather(filled(*[b"x" * 52] * 23))
    gather.state, gather.clock = bytes(90), bytes(46)
    assert gather.room(52 + 64)


def test_notes_give_way_to_instants() -> None:
    memory = filled()
    gather = Gather(memory)
    gather.instants = [b"x" * 80] * 24
    gather.notes = b"n" * 400
    gather.save()
    again = Gather(memory)
    assert again.notes == b""
    assert again.instants == gather.instants


def test_it_is_read_and_freed_like_the_spool() -> None:
    gather = Gather(filled(b"a", b"b", b"c"))
    assert gather.peek(2) == [(1, b"a"), (2, b"b")]
    assert gather.peek(2, 2) == [(3, b"c")]
    gather.free_through(2)
    assert gather.peek(5) == [(3, b"c")]
    assert len(gather) == 1
    gather.free_through(1)
    assert len(gather) == 1
