"""An instant comes out of its bytes as it went in."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import record
from traywarden.domain.readings import QUANTITIES

keys = st.tuples(st.integers(0, record.MOST_HEAD), st.sampled_from([q[0] for q in record.QUANTITIES]))
instants = st.builds(
    record.Instant,
    boot=st.integers(0, 2**32 - 1),
    sequence=st.integers(0, 2**32 - 1),
    mark_ms=st.integers(0, 2**63),
    time_ms=st.none() | st.integers(1, 2**53),
    values=st.dictionaries(keys, st.floats(-127, 1000, width=32), max_size=record.MOST_VALUES),
    faults=st.integers(0, 255),
)


@given(instants)
def test_an_instant_comes_back_as_it_was(instant: record.Instant) -> None:
    data = record.pack(instant)
    assert vars(record.unpack(data)) == vars(instant)
    assert record.identity(data) == (instant.boot, instant.sequence, instant.mark_ms)


@given(st.binary(max_size=200))
def test_bytes_of_another_firmware_are_refused_and_nothing_else_happens(data: bytes) -> None:
    try:
        record.unpack(data)
    except ValueError:
        return
    assert data[0] == 1


def test_a_quantity_from_the_future_is_refused() -> None:
    data = record.pack(record.Instant(1, 1, 1, 1, {(1, "moisture"): 0.5}))
    with pytest.raises(ValueError, match="unknown quantity"):
        record.unpack(data[:27] + bytes([1 << 4 | 15]) + data[28:])


def test_a_probe_with_one_head_needs_52_bytes_and_one_with_four_82() -> None:
    one = {(0, "battery"): 3.9, (0, "air_temperature"): 9.0, (0, "relative_humidity"): 80.0}
    four = dict(one)
    for head in (1, 2, 3, 4):
        quantities = {(head, "soil_temperature"): 12.0, (head, "moisture_voltage"): 1.7}
        four.update(quantities)
        if head == 1:
            one.update(quantities)
    assert len(record.pack(record.Instant(1, 1, 1, 1, one))) == 52
    assert len(record.pack(record.Instant(1, 1, 1, 1, four))) == 82


def test_quantities_units_and_ranges_are_the_host_s() -> None:
    host = {q.wire_name: (q.wire_unit, q.lowest, q.highest) for q in QUANTITIES}
    assert {q[0]: (q[1], q[3], q[4]) for q in record.QUANTITIES} == host


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 125.1, -127.1])
def test_a_value_the_host_would_refuse_is_not_taken(value: float) -> None:
    assert not record.takes(1, "soil_temperature", value)


def test_the_ends_of_the_range_are_taken_and_unknown_names_and_heads_are_not() -> None:
    assert record.takes(1, "soil_temperature", 125.0)
    assert record.takes(15, "soil_temperature", -127.0)
    assert not record.takes(16, "soil_temperature", 1.0)
    assert not record.takes(1, "sap_flow", 1.0)


def test_a_value_is_kept_as_the_board_s_own_float_is() -> None:
    (kept,) = record.unpack(record.pack(record.Instant(1, 1, 1, 1, {(0, "battery"): 3.91}))).values.values()
    assert kept == struct.unpack("<f", struct.pack("<f", 3.91))[0]
