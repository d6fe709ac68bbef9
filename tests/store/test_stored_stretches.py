"""Stretches of stored sequences say the same as the sequences themselves, on both databases."""

import pytest

from traywarden.domain.readings import Reading
from traywarden.store import readings
from traywarden.store.store import Store


@pytest.mark.parametrize(
    ("sequences", "expected"),
    [
        ([], []),
        ([7], [(7, 7)]),
        ([0, 1, 2, 5, 6, 9], [(0, 2), (5, 6), (9, 9)]),
        ([2**53 - 2, 2**53 - 1], [(2**53 - 2, 2**53 - 1)]),
    ],
)
def test_stretches_are_the_sequences_without_their_insides(
    store: Store, sequences: list[int], expected: list[tuple[int, int]]
) -> None:
    """Two heads at each instant, another boot and another probe beside it."""
    rows = [Reading("bench-1", head, 3, n, n % 10**9, 1, 20.0) for n in sequences for head in (0, 1)]
    rows += [Reading("bench-1", 0, 4, 3, 3, 1, 20.0), Reading("bench-2", 0, 3, 4, 4, 1, 20.0)]
    with store.write() as tx:
        readings.insert(tx, rows)
    with store.read() as tx:
        assert readings.stored_stretches(tx, "bench-1", 3) == expected
        assert readings.stored_sequences(tx, "bench-1", 3) == sequences
        assert readings.stored_stretches(tx, "bench-1", 3, 6) == [
            (max(first, 6), last) for first, last in expected if last >= 6
        ]
