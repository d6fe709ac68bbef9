"""Packs become readings and readings become packs, whatever the order, and a bad pack is refused whole."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.readings import BOOT_IMPORTED, BOOT_UNNUMBERED, QUANTITIES, Reading
from traywarden.errors import WireError
from traywarden.wire import packs, senml, topics
from traywarden.wire.packs import Receipt, pack_from_readings, read_pack, readings_from_pack

RECEIVED_MS = 1_760_000_600_000
TIME_S = 1_760_000_000
PROBE = "0011223344556677"
URN = f"urn:dev:mac:{PROBE}"
EARLIEST_MS, LATEST_MS = 268_435_456_000, 253_402_300_799_000  # RFC 8428 §4.5.3, and the year 9999


def sent(*records: dict[str, Any], time_s: float = TIME_S) -> bytes:
    return json.dumps([{"bt": time_s}, *records]).encode()


def read(*records: dict[str, Any]) -> list[Reading]:
    return readings_from_pack(sent(*records), "p", RECEIVED_MS)


def test_a_probes_pack_becomes_one_reading_for_each_head_and_instant() -> None:
    payload = json.dumps(
        [
            {"bn": f"{URN}:", "bt": TIME_S, "n": "sequence", "u": "count", "v": 41},
            {"n": "boot", "u": "count", "v": 3},
            {"n": "oldest", "u": "count", "v": 40},
            {"n": "battery", "u": "V", "v": 3.9},
            {"n": "0/air_temperature", "u": "Cel", "v": 9.5},
            {"n": "0/relative_humidity", "u": "%RH", "v": 81},
            {"n": "1/soil_temperature", "u": "Cel", "v": 12.25},
            {"n": "1/moisture_voltage", "u": "V", "v": 1.75},
            {"n": "sequence", "u": "count", "v": 42, "t": 600},
            {"n": "1/soil_temperature", "u": "Cel", "v": 12.5, "t": 600},
        ]
    ).encode()
    readings, info = read_pack(payload, PROBE, RECEIVED_MS)
    first_ms, second_ms = TIME_S * 1000, (TIME_S + 600) * 1000
    assert readings == [
        Reading(PROBE, 0, 3, 41, first_ms, RECEIVED_MS, air_temp_c=9.5, rh_pct=81.0, battery_v=3.9),
        Reading(PROBE, 1, 3, 41, first_ms, RECEIVED_MS, soil_temp_c=12.25, moisture_v=1.75),
        Reading(PROBE, 1, 3, 42, second_ms, RECEIVED_MS, soil_temp_c=12.5),
    ]
    assert info == packs.PackInfo(boot=3, oldest=40, oldest_by_boot={3: 40})


def test_an_instant_with_only_battery_or_nothing_keeps_its_sequence_in_a_row_of_head_0() -> None:
    assert read({"n": "sequence", "v": 7}, {"n": "battery", "u": "V", "v": 3.5}) == [
        Reading("p", 0, 0, 7, TIME_S * 1000, RECEIVED_MS, battery_v=3.5)
    ]
    assert read({"n": "sequence", "v": 8}, {"n": "boot", "v": 2}) == [
        Reading("p", 0, 2, 8, TIME_S * 1000, RECEIVED_MS)
    ]


def test_a_sensor_without_sequence_is_known_by_its_time_and_its_quantities_find_their_head() -> None:
    readings = read(
        {"n": "soil_temperature", "u": "Cel", "v": 11},
        {"n": "air_temperature", "u": "Cel", "v": 8},
        {"n": "battery", "u": "V", "v": 3},
        {"n": "moisture", "u": "/", "v": 0.3},
    )
    time_ms = TIME_S * 1000
    assert readings == [
        Reading("p", 0, BOOT_UNNUMBERED, time_ms, time_ms, RECEIVED_MS, air_temp_c=8.0, battery_v=3.0),
        Reading("p", 1, BOOT_UNNUMBERED, time_ms, time_ms, RECEIVED_MS, soil_temp_c=11.0, moisture_m3_m3=0.3),
    ]
    assert read_pack(sent({"n": "moisture", "u": "/", "v": 0.3}), "p", RECEIVED_MS)[1].boot is None


def test_times_relative_to_now_count_from_when_the_pack_was_received() -> None:
    payload = json.dumps([{"bn": "1/soil_temperature", "bu": "Cel", "t": -90.25, "v": 3}, {"v": 4}]).encode()
    assert [r.time_ms for r in readings_from_pack(payload, "p", RECEIVED_MS)] == [
        RECEIVED_MS - 90_250,
        RECEIVED_MS,
    ]


def test_numbers_of_unknown_names_are_kept_with_their_unit() -> None:
    readings = read(
        {"n": "2/conductivity", "u": "S/m", "v": 0.12},
        {"n": "2/leaves", "v": 4},
        {"n": "wind", "u": "m/s", "v": 3},
        {"n": "label", "vs": "passed over"},
    )
    assert [(r.head, r.extra) for r in readings] == [
        (0, '{"wind[m/s]":3.0}'),
        (2, '{"conductivity[S/m]":0.12,"leaves":4.0}'),
    ]


def test_related_units_are_converted() -> None:
    (reading,) = read(
        {"n": "1/soil_temperature", "u": "K", "v": 283.15}, {"n": "1/moisture_voltage", "u": "mV", "v": 1500}
    )
    # 0 °C = 273.15 K by definition of the Celsius scale; one rounding of a double.
    assert reading.soil_temp_c == pytest.approx(10.0, abs=1e-9)
    assert reading.moisture_v == pytest.approx(1.5, rel=1e-12)


@pytest.mark.parametrize(
    ("records", "words"),
    [
        ([{"n": "1/soil_temperature", "u": "V", "v": 1}], "sent in 'V'; send soil temperature in 'Cel'"),
        ([{"n": "1/soil_temperature", "v": 1}], "without a unit"),
        ([{"n": "1/soil_temperature", "u": "Cel", "v": 126}], "lies between -127 and 125"),
        ([{"n": "1/soil_temperature", "u": "Cel", "vs": "12"}], "holds no number"),
        ([{"n": "sequence", "u": "V", "v": 1}], "whole count"),
        ([{"n": "sequence", "v": 1.5}], "whole count"),
        ([{"n": "sequence", "v": -1}], "whole count"),
        ([{"n": "sequence", "v": 2**53}], "whole count"),
        ([{"n": "boot", "vb": True}], "holds no number"),
        ([{"n": "sequence", "v": 1}, {"n": "sequence", "v": 2}], "both 1 and 2 at one time"),
        (
            [{"n": "battery", "u": "V", "v": 1}, {"n": "0/battery", "u": "V", "v": 2}],
            "both 1 and 2 at one time",
        ),
        ([{"n": "x", "v": 1}, {"n": "x", "v": 2}], "both 1 and 2 at one time"),
        ([{"n": "sequence", "v": 1}, {"n": "sequence", "v": 1, "t": 5}], "stands at two times"),
        ([{"n": "a:battery", "u": "V", "v": 1}, {"n": "b:battery", "u": "V", "v": 1}], "two devices (a, b)"),
        ([{"n": "label", "vs": "x"}], "holds no number"),
        ([{"n": "boot", "v": 1}], "holds no number"),
        (
            [
                {"n": "boot", "v": 1},
                {"n": "boot", "v": 2, "t": 5},
                {"n": "sequence", "v": 1, "t": 9},
            ],
            "several boots",
        ),
    ],
)
def test_a_pack_that_contradicts_itself_or_its_units_is_refused_whole(
    records: list[dict[str, Any]], words: str
) -> None:
    with pytest.raises(WireError) as caught:
        read(*records)
    assert words in str(caught.value)
    assert str(caught.value).endswith(".")


def test_the_same_value_twice_is_one_value() -> None:
    assert len(read({"n": "battery", "u": "V", "v": 3}, {"n": "0/battery", "u": "V", "v": 3})) == 1


def test_a_pack_must_come_from_the_probe_its_topic_names() -> None:
    payload = pack_from_readings([Reading(PROBE, 1, 0, 1, TIME_S * 1000, 0, soil_temp_c=1.0)], device_urn=URN)
    assert readings_from_pack(payload, PROBE, 0)
    assert readings_from_pack(payload, "bench-probe", 0)  # a name of its own is taken as it is
    with pytest.raises(WireError, match="correct the topic"):
        readings_from_pack(payload, "8811223344556677", 0)


def test_the_lowest_held_sequence_is_told_for_each_boot() -> None:
    readings, info = read_pack(
        sent(
            {"n": "boot", "v": 4},
            {"n": "sequence", "v": 90},
            {"n": "oldest", "v": 80},
            {"n": "boot", "v": 5, "t": 60},
            {"n": "sequence", "v": 1, "t": 60},
        ),
        "p",
        RECEIVED_MS,
    )
    assert [(r.boot, r.sequence) for r in readings] == [(4, 90), (5, 1)]
    assert info == packs.PackInfo(boot=5, oldest=None, oldest_by_boot={4: 80, 5: None})


extras = st.dictionaries(
    st.sampled_from(["conductivity[S/m]", "leaves", "wind[m/s]", "a/b.c", "soil_temp_c"]),
    st.floats(allow_nan=False, allow_infinity=False),
    min_size=1,
)


@st.composite
def one_probes_readings(draw: st.DrawFn) -> list[Reading]:
    """What a probe may hold: several instants, numbered or not, each with one or more heads."""
    times = draw(st.lists(st.integers(EARLIEST_MS, LATEST_MS), min_size=1, max_size=4, unique=True))
    numbers = draw(
        st.lists(st.integers(0, packs.MOST_COUNT), min_size=len(times), max_size=len(times), unique=True)
    )
    boots = draw(st.lists(st.integers(BOOT_UNNUMBERED, 3), min_size=len(times), max_size=len(times)))
    readings = []
    for time_ms, number, boot in zip(sorted(times), numbers, boots, strict=True):
        sequence = time_ms if boot == BOOT_UNNUMBERED else number
        for head in sorted(draw(st.sets(st.integers(0, packs.MOST_HEAD), min_size=1, max_size=3))):
            columns = draw(
                st.fixed_dictionaries(
                    {}, optional={q.column: st.floats(q.lowest, q.highest) for q in QUANTITIES}
                )
            )
            extra = packs.extra_text(draw(extras)) if draw(st.booleans()) or not columns else None
            readings.append(
                Reading(PROBE, head, boot, sequence, time_ms, RECEIVED_MS, **columns, extra=extra)
            )
    return readings


@given(one_probes_readings(), st.sampled_from([None, URN]))
def test_readings_written_as_a_pack_read_back_the_same(readings: list[Reading], urn: str | None) -> None:
    payload = pack_from_readings(readings[::-1], device_urn=urn)
    assert readings_from_pack(payload, PROBE, RECEIVED_MS) == readings
    again = pack_from_readings(readings_from_pack(payload, PROBE, RECEIVED_MS), device_urn=urn)
    assert again == payload


@given(one_probes_readings(), st.randoms(use_true_random=False))
def test_the_order_of_records_in_a_pack_does_not_matter(readings: list[Reading], random: Any) -> None:
    payload = pack_from_readings(readings, oldest=0, device_urn=URN)
    records = senml.decode(payload, 0.0)
    random.shuffle(records)
    assert read_pack(senml.encode(records), PROBE, RECEIVED_MS) == read_pack(payload, PROBE, RECEIVED_MS)


@given(
    st.lists(
        st.sampled_from([q.wire_name for q in QUANTITIES] + ["1/moisture", "sequence", "boot", "a:x", "x"]),
        max_size=6,
    ),
    st.lists(st.floats(-200, 200) | st.integers(0, 3), min_size=6, max_size=6),
    st.lists(st.sampled_from(["Cel", "V", "count", "/", None]), min_size=6, max_size=6),
)
def test_any_senml_becomes_readings_or_one_wire_error(
    names: list[str], values: list[float], units: list[str | None]
) -> None:
    records = [
        {"n": n, "v": v} | ({"u": u} if u else {}) for n, v, u in zip(names, values, units, strict=False)
    ]
    try:
        readings = read(*records)
    except WireError:
        return
    assert readings


def test_imported_readings_go_out_without_a_sequence() -> None:
    (reading,) = readings_from_pack(
        pack_from_readings(
            [Reading("p", 1, BOOT_IMPORTED, TIME_S * 1000, TIME_S * 1000, 0, soil_temp_c=5.0)], oldest=3
        ),
        "p",
        RECEIVED_MS,
    )
    assert (reading.boot, reading.sequence) == (BOOT_UNNUMBERED, TIME_S * 1000)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "at least one"),
        (
            [Reading("a", 1, 0, 1, LATEST_MS, 0, 1.0), Reading("b", 1, 0, 1, LATEST_MS, 0, 1.0)],
            "several probes",
        ),
        ([Reading("a", 1, 0, 1, EARLIEST_MS - 1, 0, 1.0)], "4 July 1978"),
        ([Reading("a", 1, 0, 1, LATEST_MS + 1, 0, 1.0)], "year 9999"),
        (
            [Reading("a", 1, 0, 1, LATEST_MS, 0, 1.0), Reading("a", 2, 0, 2, LATEST_MS, 0, 1.0)],
            "Two sequences",
        ),
        ([Reading("a", 16, 0, 1, LATEST_MS, 0, 1.0)], "0 to 15"),
        ([Reading("a", 1, 0, 1, LATEST_MS, 0, float("nan"))], "cannot be sent"),
        ([Reading("a", 1, 0, 1, LATEST_MS, 0, 500.0)], "cannot be sent"),
    ],
)
def test_what_no_pack_can_carry_is_not_written(readings: list[Reading], words: str) -> None:
    with pytest.raises(WireError, match=words):
        pack_from_readings(readings)


def test_a_receipt_reads_back_and_anything_else_is_refused() -> None:
    assert packs.write_receipt(Receipt(3, 41)) == b'{"boot":3,"sequence":41}'
    assert packs.read_receipt(b'{"boot":3,"sequence":41}') == Receipt(3, 41)
    for payload in (b"", b"[]", b'{"boot":3}', b'{"boot":3,"sequence":"x"}', b"\xff", b"[" * 100_000):
        with pytest.raises(WireError, match="cannot be read"):
            packs.read_receipt(payload)


def test_the_pack_in_the_docs_reads_as_the_docs_say() -> None:
    text = (Path(__file__).parents[2] / "docs" / "wire.md").read_text(encoding="utf-8")
    pack, receipt, question, answer = re.findall(r"```json\n(.*?)```", text, re.DOTALL)
    readings, info = read_pack(pack.encode(), PROBE, RECEIVED_MS)
    assert [(r.sequence, r.head) for r in readings] == [(41, 0), (41, 1), (42, 1)]
    assert (info.boot, info.oldest) == (3, 40)
    assert packs.read_receipt(receipt.encode()) == Receipt(3, 42)
    asked = json.loads(question)["asks_time"]
    assert packs.write_time(packs.TimeTold(asked, 1_760_000_000_000)).decode() == answer.strip()
    for quantity in QUANTITIES:
        assert f"| `{quantity.wire_name}` | `{quantity.wire_unit}` | " in text
        shown = f"{quantity.lowest:g} … {quantity.highest:g}".replace("-", "−")
        assert shown in next(line for line in text.splitlines() if f"| `{quantity.wire_name}` |" in line)
    for kind in topics.KINDS:
        assert f"`{topics.PREFIX}/<garden>/<probe>/{kind}`" in text
