"""Readings are kept once each, and read back as arrays."""

import json

import numpy as np
import pytest

from tests.store.sample import START_MS, STEP_MS, all_readings, reading
from traywarden.domain.readings import BOOT_UNNUMBERED, VALUE_COLUMNS, Reading
from traywarden.store import probes, readings
from traywarden.store.store import Store


def insert(store: Store, *rows: Reading) -> int:
    with store.write() as tx:
        return readings.insert(tx, rows)


def test_readings_come_back_as_they_were_sent(store: Store) -> None:
    whole = reading(
        5,
        soil_temp_c=-0.0625,
        moisture_v=1.7312,
        moisture_m3_m3=0.31,
        air_temp_c=3,  # a whole number beside fractions
        rh_pct=101.5,
        battery_v=3.71,
        rain_mm=0.2,
        extra='{"lux":12}',
    )
    bare = reading(6, probe="frame-2", head=0, air_temp_c=2.5)
    assert insert(store, whole, bare) == 2
    assert all_readings(store) == [whole, bare]


def test_nothing_to_store_is_no_error(store: Store) -> None:
    assert insert(store) == 0


def test_only_what_is_truly_new_is_counted(store: Store) -> None:
    assert insert(store, *(reading(n) for n in range(10))) == 10
    assert insert(store, *(reading(n) for n in range(5, 15))) == 5
    assert insert(store, reading(20), reading(20), reading(3)) == 1
    with store.read() as tx:
        assert readings.count(tx) == 16


def test_a_redelivery_changes_neither_values_nor_times(store: Store) -> None:
    """A time relative to now comes out a little later at each delivery; the first one stands."""
    first = reading(7, soil_temp_c=11.0)
    insert(store, first)
    again = first._replace(
        time_ms=first.time_ms + 40, received_ms=first.received_ms + 60_000, soil_temp_c=99.0
    )
    assert insert(store, again) == 0
    assert all_readings(store) == [first]


def test_two_messages_of_one_instant_fill_one_row(store: Store) -> None:
    """A sensor without sequence sends soil and air in messages of their own."""
    soil = Reading("plain", 1, BOOT_UNNUMBERED, START_MS, START_MS, START_MS, soil_temp_c=12.0)
    moisture = Reading("plain", 1, BOOT_UNNUMBERED, START_MS, START_MS, START_MS + 9, moisture_v=1.5)
    assert insert(store, soil) == 1
    assert insert(store, moisture) == 0
    assert all_readings(store) == [soil._replace(moisture_v=1.5)]


def test_two_messages_of_one_instant_in_one_batch_fill_one_row_and_the_earlier_value_stands(
    store: Store,
) -> None:
    rows = [reading(1, soil_temp_c=5.0), reading(1, moisture_v=1.1), reading(1, soil_temp_c=6.0, rh_pct=80.0)]
    assert insert(store, *rows) == 1
    assert all_readings(store) == [reading(1, soil_temp_c=5.0, moisture_v=1.1, rh_pct=80.0)]


@pytest.mark.parametrize("backwards", [False, True])
def test_numbers_without_a_column_of_their_own_are_merged_alike_in_any_order(
    store: Store, backwards: bool
) -> None:
    parts = [
        reading(1, extra='{"lux":12}'),
        reading(1, extra='{"co2_ppm":410,"lux":12}'),
        reading(1, rh_pct=50.0),
    ]
    for row in reversed(parts) if backwards else parts:
        insert(store, row)
    (kept,) = all_readings(store)
    assert json.loads(kept.extra or "") == {"co2_ppm": 410, "lux": 12}
    assert kept.rh_pct == 50.0


def test_boots_heads_and_probes_are_told_apart(store: Store) -> None:
    rows = [reading(1), reading(1, boot=4), reading(1, head=2), reading(1, probe="bench-2")]
    assert insert(store, *rows) == 4
    with store.read() as tx:
        assert [head.label for head in probes.heads(tx)] == ["bench-1/1", "bench-1/2", "bench-2/1"]


def test_heads_met_first_in_a_transaction_that_failed_are_made_anew(store: Store) -> None:
    """The ids given out inside it are gone with it; remembering them would lose every later reading."""

    def fail() -> None:
        with store.write() as tx:
            readings.insert(tx, [reading(1)])
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    insert(store, reading(1, probe="another"), reading(1, probe="third"))
    insert(store, reading(1), reading(2))
    assert len(all_readings(store)) == 4


def test_heads_are_looked_up_once_and_remembered(store: Store) -> None:
    insert(store, reading(1))
    with store.write() as tx:
        assert probes.ensure_heads(tx, [("bench-1", 1)], 0) == {("bench-1", 1): 1}
        assert readings.insert(tx, [reading(2)]) == 1


def test_a_large_batch_from_many_probes_is_stored_whole(store: Store) -> None:
    rows = [reading(n // 700, probe=f"p{n % 700}") for n in range(7_000)]
    assert insert(store, *rows) == 7_000
    assert insert(store, *rows) == 0


def test_columns_are_cut_to_the_span_and_sorted_with_nan_where_nothing_was_measured(store: Store) -> None:
    insert(store, reading(3, moisture_v=1.5), reading(1), reading(2), reading(4), reading(2, head=2))
    with store.read() as tx:
        head = probes.head_labelled(tx, "bench-1/1")
        found = readings.columns(tx, head.head_id, START_MS + STEP_MS, START_MS + 4 * STEP_MS)
    assert found.label == "bench-1/1"
    assert found.time_ms.tolist() == [START_MS + n * STEP_MS for n in (1, 2, 3)]
    assert found.received_ms.tolist() == [t + 1000 for t in found.time_ms.tolist()]
    assert found.boot.tolist() == [3, 3, 3]
    assert found.sequence.tolist() == [1, 2, 3]
    assert tuple(found.values) == VALUE_COLUMNS
    np.testing.assert_array_equal(found.values["soil_temp_c"], [11.0, 12.0, np.nan])
    np.testing.assert_array_equal(found.values["moisture_v"], [np.nan, np.nan, 1.5])
    assert found.time_ms.dtype == found.boot.dtype == np.int64
    assert {values.dtype for values in found.values.values()} == {np.dtype(np.float64)}


def test_columns_of_a_head_without_readings_in_the_span_are_empty(store: Store) -> None:
    insert(store, reading(1))
    with store.read() as tx:
        found = readings.columns(tx, 1, 0, 1000)
    assert len(found.time_ms) == 0
    assert all(len(values) == 0 for values in found.values.values())


def test_the_newest_time_is_known_per_head(store: Store) -> None:
    with store.write() as tx:
        probes.ensure_heads(tx, [("silent", 1)], START_MS)
        readings.insert(tx, [reading(4), reading(9), reading(2, head=0)])
        ids = {head.label: head.head_id for head in probes.heads(tx)}
        assert readings.newest(tx) == {
            ids["bench-1/1"]: START_MS + 9 * STEP_MS,
            ids["bench-1/0"]: START_MS + 2 * STEP_MS,
        }


def test_a_clock_is_set_by_no_reading_dated_later_than_its_arrival(store: Store) -> None:
    far = reading(9, time_ms=START_MS + 90 * STEP_MS, received_ms=START_MS, soil_temp_c=1.0)
    ahead_alone = reading(3, head=2, time_ms=START_MS + 90 * STEP_MS, received_ms=START_MS, soil_temp_c=1.0)
    ten_minutes = reading(5, head=0, time_ms=START_MS + 600_000, received_ms=START_MS, soil_temp_c=1.0)
    insert(store, reading(4), far, ahead_alone, ten_minutes)
    with store.read() as tx:
        ids = {head.label: head.head_id for head in probes.heads(tx)}
        assert readings.newest(tx)[ids["bench-1/1"]] == far.time_ms
        assert readings.newest_credible(tx) == {
            ids["bench-1/1"]: START_MS + 4 * STEP_MS,
            ids["bench-1/0"]: START_MS + 600_000,
        }


def test_stored_sequences_are_those_of_one_boot_over_all_heads(store: Store) -> None:
    insert(store, reading(1), reading(1, head=2), reading(3), reading(4, head=2), reading(2, boot=4))
    with store.read() as tx:
        assert readings.stored_sequences(tx, "bench-1", 3) == [1, 3, 4]
        assert readings.stored_sequences(tx, "bench-1", 3, from_sequence=2) == [3, 4]
        assert readings.stored_sequences(tx, "bench-1", 5) == []
        assert readings.stored_sequences(tx, "unheard", 3) == []
