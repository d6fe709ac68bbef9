"""A receipt never claims a reading that is not stored, and claims what is as soon as it can."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.services import receipts
from traywarden.services.receipts import Receipts, Stretches


def _pairs(numbers: set[int]) -> list[tuple[int, int]]:
    """Stretches of a set, the slow and obvious way."""
    starts = sorted(n for n in numbers if n - 1 not in numbers)
    ends = sorted(n for n in numbers if n + 1 not in numbers)
    return list(zip(starts, ends, strict=True))


@given(st.lists(st.integers(0, 40)), st.integers(0, 41), st.integers(0, 41))
def test_stretches_know_what_a_set_knows(numbers: list[int], asked: int, floor: int) -> None:
    stretches, known = Stretches(), set()
    for number in numbers:
        stretches.add(number)
        known.add(number)
    end = next((last for first, last in _pairs(known) if first <= asked <= last), None)
    assert stretches.end_of_stretch(asked) == end
    assert stretches.lowest == min(known, default=None)
    assert len(stretches) == len(_pairs(known))
    stretches.forget_below(floor)
    if asked >= floor:
        assert stretches.end_of_stretch(asked) == end


class _Store:
    """What is committed, and how often it was asked."""

    def __init__(self, stored: set[int] | None = None) -> None:
        self.stored = stored or set()
        self.asked = 0

    def look_up(self, probe: str, boot: int, from_sequence: int | None) -> Sequence[tuple[int, int]]:
        self.asked += 1
        return _pairs({n for n in self.stored if from_sequence is None or n >= from_sequence})


KEY = ("bench-1", 3)


def _commit(store: _Store, kept: Receipts, sequences: list[int], oldest: int | None) -> int | None:
    store.stored |= set(sequences)
    return kept.committed(KEY, sequences, oldest)


def test_a_gap_holds_the_receipt_until_it_is_filled() -> None:
    store = _Store()
    kept = Receipts(store.look_up)
    assert _commit(store, kept, [0, 1, 2], 0) == 2
    assert _commit(store, kept, [4, 5], 0) == 2
    assert _commit(store, kept, [3], 0) == 5


def test_what_the_probe_no_longer_holds_is_not_waited_for() -> None:
    """A probe whose spool ran over has lost 0 to 9 for good; that must not block the rest for ever."""
    store = _Store()
    assert _commit(store, Receipts(store.look_up), [10, 11], 10) == 11


def test_nothing_is_receipted_while_the_oldest_held_is_missing() -> None:
    store = _Store()
    kept = Receipts(store.look_up)
    assert _commit(store, kept, [6, 7], 5) is None
    assert _commit(store, kept, [5], 5) == 7


def test_without_an_oldest_the_lowest_stored_is_where_it_begins() -> None:
    store = _Store({3, 4})
    assert _commit(store, Receipts(store.look_up), [5], None) == 5


def test_after_a_start_the_store_is_asked_once_for_each_boot() -> None:
    store = _Store(set(range(100)))
    kept = Receipts(store.look_up)
    assert _commit(store, kept, [100], 0) == 100
    assert _commit(store, kept, [101], 0) == 101
    assert store.asked == 1


def test_an_oldest_that_goes_back_asks_the_store_again() -> None:
    """A probe that finds older readings in its flash after all must get no receipt that skips them."""
    store = _Store()
    kept = Receipts(store.look_up)
    assert _commit(store, kept, [10, 11], 10) == 11
    assert _commit(store, kept, [5], 5) == 5


def test_memory_is_bounded_and_what_was_forgotten_is_asked_for_again() -> None:
    store = _Store()
    kept = Receipts(store.look_up, most_keys=2)
    for boot in range(5):
        store.stored = {0}
        assert kept.committed(("bench-1", boot), [0], 0) == 0
    assert kept.committed(("bench-1", 0), [0], 0) == 0
    assert store.asked == 6


def test_many_gaps_push_out_other_boots_but_not_the_one_at_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(receipts, "MOST_STRETCHES", 10)
    store = _Store()
    kept = Receipts(store.look_up)
    kept.committed(("other", 1), [0], 0)
    for n in range(0, 60, 2):
        assert _commit(store, kept, [n], 0) == 0
    asked = store.asked
    assert _commit(store, kept, [1], 0) == 2
    assert store.asked == asked
    kept.committed(("other", 1), [0], 0)
    assert store.asked == asked + 1


@given(
    deliveries=st.lists(
        st.tuples(st.lists(st.integers(0, 30), min_size=1, max_size=6), st.integers(0, 30) | st.none()),
        max_size=30,
    ),
    restarts=st.sets(st.integers(0, 29)),
)
def test_a_receipt_never_claims_what_is_not_stored(
    deliveries: list[tuple[list[int], int | None]], restarts: set[int]
) -> None:
    """In any order, with any overlap, whatever the packs call the oldest, over any restarts."""
    store = _Store()
    kept = Receipts(store.look_up)
    for number, (sequences, oldest) in enumerate(deliveries):
        if number in restarts:
            kept = Receipts(store.look_up)
        end = _commit(store, kept, sequences, oldest)
        first = min(store.stored) if oldest is None else oldest
        if end is not None and oldest is not None:
            assert set(range(first, end + 1)) <= store.stored
            assert end + 1 not in store.stored
        elif oldest is not None:
            assert oldest not in store.stored
