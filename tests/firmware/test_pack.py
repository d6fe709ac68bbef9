"""A probe's packs are what the host reads, value for value."""

import json
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import pack, record
from traywarden.wire import packs
from traywarden.wire.senml import decode

DEVICE = "urn:dev:mac:0011223344556677:"
START_MS = 1_760_000_000_000
COLUMNS = {
    "soil_temperature": "soil_temp_c",
    "moisture_voltage": "moisture_v",
    "moisture": "moisture_m3_m3",
    "air_temperature": "air_temp_c",
    "relative_humidity": "rh_pct",
    "rainfall": "rain_mm",
    "battery": "battery_v",
}


@st.composite
def some_values(draw: st.DrawFn) -> dict[tuple[int, str], float]:
    """Values on the grid that is sent, so that they must come back exactly."""
    values = {}
    for name, _, decimals, low, high in record.QUANTITIES:
        for head in draw(st.sets(st.integers(0, record.MOST_HEAD), max_size=2)):
            steps = draw(st.integers(int(low * 10**decimals), int(high * 10**decimals)))
            values[(head, name)] = steps / 10**decimals
    return values


@given(st.lists(some_values(), min_size=1, max_size=6), st.integers(1, 2**32 - 9), st.booleans())
def test_the_host_reads_what_was_measured(
    measured: list[dict[tuple[int, str], float]], first: int, absolute: bool
) -> None:
    instants = [
        record.Instant(9, first + index, index, None, values) for index, values in enumerate(measured)
    ]
    ages_ms = [-(len(instants) - index) * 600_123 for index in range(len(instants))]
    times_ms = [START_MS + age_ms for age_ms in ages_ms] if absolute else ages_ms
    payload = pack.encode(instants, times_ms, absolute, first, DEVICE)
    readings, info = packs.read_pack(payload, "north", START_MS)
    assert (info.boot, info.oldest) == (9, first)
    found = {}
    for reading in readings:
        assert reading.boot == 9
        assert reading.time_ms == START_MS + ages_ms[reading.sequence - first]
        for name, column in COLUMNS.items():
            if (value := getattr(reading, column)) is not None:
                found[(reading.sequence - first, reading.head, name)] = value
    assert found == {(i, *key): value for i, values in enumerate(measured) for key, value in values.items()}


def test_a_pack_reads_as_the_page_on_the_wire_has_it() -> None:
    instants = [
        record.Instant(3, 41, 0, None, {(0, "battery"): 3.91, (1, "soil_temperature"): -0.5}),
        record.Instant(3, 42, 0, None, {(1, "soil_temperature"): 12.0}),
    ]
    written = json.loads(pack.encode(instants, [START_MS, START_MS + 600_000], True, 40, DEVICE))
    assert written == [
        {"bn": DEVICE, "bt": 1760000000, "n": "sequence", "u": "count", "v": 41},
        {"n": "boot", "u": "count", "v": 3},
        {"n": "oldest", "u": "count", "v": 40},
        {"n": "battery", "u": "V", "v": 3.91},
        {"n": "1/soil_temperature", "u": "Cel", "v": -0.5},
        {"n": "sequence", "u": "count", "v": 42, "t": 600},
        {"n": "1/soil_temperature", "u": "Cel", "v": 12, "t": 600},
    ]


def test_what_was_bridged_over_a_power_cut_and_failed_sensors_are_told_beside_the_values() -> None:
    instants = [record.Instant(3, 1, 0, None, {(1, "moisture_voltage"): 1.5}, faults=2)]
    payload = pack.encode(instants, [START_MS], True, unsure=True)
    extra = {reading.head: reading.extra for reading in packs.readings_from_pack(payload, "north", START_MS)}
    assert json.loads(extra[0] or "") == {"time_unsure": 1.0, "faults[count]": 2.0}


def test_two_instants_at_one_time_are_told_apart() -> None:
    instants = [record.Instant(1, n, 0, None, {(1, "moisture"): 0.25}) for n in (1, 2, 3)]
    for absolute, time_ms in ((True, START_MS), (False, -5)):
        readings = packs.readings_from_pack(pack.encode(instants, [time_ms] * 3, absolute), "north", START_MS)
        assert [r.time_ms - readings[0].time_ms for r in readings] == [0, 1, 2]


def test_an_instant_without_any_value_still_tells_its_sequence() -> None:
    payload = pack.encode([record.Instant(1, 5, 0, None, {})], [START_MS], True)
    assert [(r.sequence, r.head) for r in packs.readings_from_pack(payload, "north", START_MS)] == [(5, 0)]


@pytest.mark.parametrize(
    ("time_ms", "text"),
    [(0, "0"), (-1, "-0.001"), (-1500, "-1.500"), (600_000, "600"), (START_MS + 7, "1760000000.007")],
)
def test_times_are_written_to_the_millisecond_without_a_float(time_ms: int, text: str) -> None:
    assert pack._seconds(time_ms) == text


def test_values_need_no_more_digits_than_the_sensor_has() -> None:
    assert pack._number(12.0625, 4) == "12.0625"
    assert pack._number(-0.00001, 4) == "0"
    assert pack._number(100.0, 2) == "100"
    assert pack._number(record.unpack(record.pack(
        record.Instant(1, 1, 1, 1, {(0, "battery"): 3.91}))).values[(0, "battery")], 3) == "3.91"  # fmt: skip


def test_a_six_byte_address_becomes_an_eui_64_name() -> None:
    # RFC 9039 section 3.1: urn:dev:mac:0024beff fe804ff1 is 00:24:be:80:4f:f1 by the EUI-64 rule.
    assert pack.device_name(bytes.fromhex("0024be804ff1")) == "urn:dev:mac:0024befffe804ff1:"
    assert pack.device_name(bytes(range(8))) == "urn:dev:mac:0001020304050607:"


def test_the_largest_pack_of_a_full_probe_stays_far_below_what_the_host_takes() -> None:
    dice = random.Random(7)
    values = {(head, name): dice.uniform(0, 1) for head in range(8) for name, *_ in record.QUANTITIES[:6]}
    instants = [record.Instant(2**32 - 1, 2**32 - 1 - 2 + n, 0, None, values) for n in range(2)]
    payload = pack.encode(instants, [START_MS, START_MS + 1], True, 1, DEVICE)
    assert len(payload) < 10_000
    assert len(decode(payload, START_MS / 1000)) == 2 * len(values) + 4
