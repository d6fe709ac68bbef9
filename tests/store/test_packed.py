"""Which days new readings make stale, and packed days and kept results on disk, on both databases."""

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import numpy as np
import pytest

from tests.store.sample import START_MS, reading
from traywarden.domain.packing import DAY_MS, PackedDay
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS, Reading
from traywarden.store import kept, packed, probes, readings
from traywarden.store.store import Store

HOUR_MS = 3_600_000
DAY = START_MS // DAY_MS
NEVER = 10**6


def at(hours: float, sequence: int = 1, **values: Any) -> Reading:
    """A reading so many hours after the start of DAY."""
    time_ms = START_MS + round(hours * HOUR_MS)
    return reading(sequence, time_ms=time_ms, received_ms=time_ms)._replace(
        **(values or {"soil_temp_c": 10.0})
    )


def stale(store: Store) -> list[int]:
    """Days of the only head that wait, counted from DAY."""
    with store.read() as tx:
        return [day - DAY for _, day in packed.waiting(tx, NEVER, 1_000)]


def deliver(store: Store, *rows: Reading) -> int:
    with store.write() as tx:
        return readings.insert(tx, rows)


def pack_all(store: Store) -> None:
    """Say that every stale day has been packed (into nothing)."""
    with store.write() as tx:
        for head_id, day in packed.waiting(tx, NEVER, 1_000):
            packed.put(tx, head_id, [], [day])


@pytest.mark.parametrize(
    ("hours", "days"),
    [
        (
            1.0,
            [-1, 0, 1],
        ),  # flags of the evening before look ahead two hours, those of 36 hours after look back
        (2.0, [0, 1]),
        (11.9, [0, 1]),
        (12.1, [0, 1, 2]),
        (23.9, [0, 1, 2]),
    ],
)
def test_a_reading_makes_stale_its_day_and_those_whose_flags_look_at_it(
    store: Store, hours: float, days: list[int]
) -> None:
    """To the two-hour slot that marks are kept by: 11.9 h is in a slot that ends at 12 h."""
    deliver(store, at(hours))
    assert stale(store) == days


def test_one_delivered_again_makes_nothing_stale_and_one_with_a_value_more_does(store: Store) -> None:
    deliver(store, at(5, soil_temp_c=10.0))
    pack_all(store)
    deliver(store, at(5, soil_temp_c=10.0))
    assert stale(store) == []
    deliver(store, at(5, soil_temp_c=10.0, moisture_v=1.5))
    assert stale(store) == [0, 1]


def test_a_value_that_comes_with_another_time_makes_the_day_stale_that_the_reading_is_kept_in(
    store: Store,
) -> None:
    """A probe without a clock dates its readings from when it sends: the second time four days later."""
    deliver(store, at(5, soil_temp_c=10.0))
    pack_all(store)
    assert deliver(store, at(5 + 4 * 24, soil_temp_c=10.0, rh_pct=60.0)) == 0
    assert stale(store) == [0, 1]


def test_readings_rolled_back_leave_no_day_stale(store: Store) -> None:
    deliver(store, at(5))
    pack_all(store)
    with suppress(ZeroDivisionError), store.write() as tx:
        readings.insert(tx, [at(6, sequence=2)])
        raise ZeroDivisionError
    assert stale(store) == []


def test_imported_columns_mark_days_too(store: Store) -> None:
    times = np.array([START_MS + 5 * HOUR_MS, START_MS + 5 * DAY_MS + 5 * HOUR_MS])
    for soil, expected in (([1.0, 2.0], [0, 1, 5, 6]), ([1.0, 2.0], [])):
        with store.write() as tx:
            readings.insert_columns(
                tx, "log", 1, BOOT_IMPORTED, times, START_MS, {"soil_temp_c": np.array(soil)}
            )
        assert stale(store) == expected
        pack_all(store)


def a_day(day: int, count: int = 2) -> PackedDay:
    values = tuple(b"12345678" if name == "rh_pct" else None for name in VALUE_COLUMNS)
    return PackedDay(day, count, b"times", values, b"flags")


def put(store: Store, days: Sequence[int], made: Sequence[PackedDay]) -> int:
    with store.write() as tx:
        head_id = probes.ensure_heads(tx, [("bench-1", 1)], START_MS)["bench-1", 1]
        packed.put(tx, head_id, made, days)
    return head_id


def test_packed_days_are_kept_replaced_and_gone_when_their_readings_are(store: Store) -> None:
    head_id = put(store, [DAY, DAY + 1], [a_day(DAY), a_day(DAY + 1)])
    put(store, [DAY], [a_day(DAY, 7)])
    with store.read() as tx:
        assert packed.days(tx, {head_id: (DAY, DAY + 9)}) == {head_id: [a_day(DAY, 7), a_day(DAY + 1)]}
        assert packed.days(tx, {head_id: (DAY + 1, DAY + 1)}) == {head_id: [a_day(DAY + 1)]}
    put(store, [DAY, DAY + 1], [])
    with store.read() as tx:
        assert packed.days(tx, {head_id: (DAY, DAY + 9)}) == {head_id: []}
        assert packed.count(tx) == 0


def test_days_packed_by_other_rules_are_stale_every_one(store: Store) -> None:
    with store.write() as tx:
        packed.keep_rules(tx, "one")
    head_id = put(store, [DAY], [a_day(DAY)])
    deliver(store, at(26.5))
    spans = {head_id: (DAY - 5, DAY + 5)}
    with store.read() as tx:
        assert packed.stale_days(tx, spans, rules_hold=True) == {head_id: [DAY + 1, DAY + 2]}
        assert packed.stale_days(tx, spans, rules_hold=False) == {head_id: [DAY, DAY + 1, DAY + 2]}
    with store.write() as tx:
        packed.keep_rules(tx, "one")
        assert packed.stale_days(tx, spans, rules_hold=True) == {head_id: [DAY + 1, DAY + 2]}
        packed.keep_rules(tx, "two")
        assert packed.stale_days(tx, spans, rules_hold=True) == {head_id: [DAY, DAY + 1, DAY + 2]}
        assert packed.rules(tx) == "two"


def test_waiting_days_are_those_that_are_over_and_not_left_out(store: Store) -> None:
    deliver(store, at(12.5))
    with store.read() as tx:
        (first, second, third) = packed.waiting(tx, NEVER, 10)
        assert packed.waiting(tx, DAY + 1, 10) == [first]
        assert packed.waiting(tx, NEVER, 1) == [first]
        assert packed.waiting(tx, NEVER, 2, leaving_out={first}) == [second, third]
        assert packed.count_waiting(tx, DAY + 2) == 2


def test_results_are_kept_by_head_and_forgotten_by_digest(store: Store) -> None:
    with store.write() as tx:
        ids = probes.ensure_heads(tx, [("a", 1), ("b", 1)], START_MS)
        kept.keep(tx, ids["a", 1], {b"x": b"1", b"y": b"2"})
        kept.keep(tx, ids["a", 1], {b"x": b"3"})
        kept.keep(tx, ids["b", 1], {b"x": b"4"})
        kept.keep(tx, ids["a", 1], {}, [b"y", b"never there"])
    with store.read() as tx:
        assert kept.results(tx, ids["a", 1]) == {b"x": b"3"}
        assert kept.results(tx, ids["b", 1]) == {b"x": b"4"}
        assert sorted(kept.heads(tx)) == sorted(ids.values())
