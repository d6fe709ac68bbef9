"""The firmware answers the same on CPython and on the genuine interpreter, to the last bit."""

import json
import struct
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers import crc8
from tests.interpreter.fakes import cases
from tests.interpreter.node import Node
from tests.shared_data import reference_file

pytestmark = pytest.mark.system
few = settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def node() -> Iterator[Node]:
    with Node() as started:
        yield started


def alike(node: Node, case: str, *asked: list[Any]) -> list[Any]:
    """Ask a case of both; what they answer must be the same. Gives the answers."""
    here = [getattr(cases, case)(*arguments) for arguments in asked]
    code = (
        "import json\nfrom fakes import cases\n"
        f"for asked in json.loads({json.dumps(list(asked))!r}):\n"
        f"    print(json.dumps(cases.{case}(*asked)))"
    )
    answer = node.run(code)
    assert answer["error"] is None, answer["error"]
    there = [json.loads(line) for line in answer["said"]]
    assert there == json.loads(json.dumps(here))
    return here


hexed = st.binary(min_size=1, max_size=60).map(bytes.hex)
cut = st.integers(-1, 150)
spool_step = st.one_of(
    st.tuples(st.just("append"), st.lists(hexed, max_size=4), cut),
    st.tuples(st.just("free"), st.integers(0, 8), cut),
    st.tuples(st.just("cut"), st.none(), st.just(-1)),
)


@few
@given(steps=st.lists(spool_step, max_size=25))
def test_a_spool_that_is_cut_and_opened_again(node: Node, steps: list[Any]) -> None:
    alike(node, "spool_steps", [[list(step) for step in steps]])


def test_a_spool_cut_at_every_byte(node: Node) -> None:
    steps = [["append", ["aa" * 20, "bb" * 31], -1], ["append", ["cc" * 9], -1], ["free", 1, -1]]
    alike(
        node,
        "spool_steps",
        *[[[*steps, ["append", ["dd" * 25, "ee" * 3], at], ["append", ["ff" * 5], -1]]] for at in range(60)],
        *[[[*steps, ["free", 1, at], ["append", ["ff" * 5], -1]]] for at in range(30)],
    )


def _bits(value: float) -> str:
    return struct.pack("<d", value).hex()


number = st.floats(-120, 120, width=32).map(_bits)
values = st.dictionaries(
    st.sampled_from(
        [
            (0, "air_temperature"),
            (0, "relative_humidity"),
            (0, "battery"),
            (1, "soil_temperature"),
            (2, "moisture_voltage"),
        ]
    ),
    number,
    max_size=5,
).map(lambda made: [[*key, value] for key, value in sorted(made.items())])
instant = st.tuples(
    st.integers(0, 2**32 - 1),
    st.integers(0, 2**32 - 1),
    st.integers(0, 2**40),
    st.one_of(st.none(), st.integers(1, 2**42)),
    values,
    st.integers(0, 300),
).map(list)


@few
@given(instants=st.lists(instant, max_size=6))
def test_instants_as_bytes(node: Node, instants: list[Any]) -> None:
    alike(node, "packed_instants", [instants])


@few
@given(
    instants=st.lists(instant, min_size=1, max_size=6),
    first_ms=st.integers(-(10**9), 10**12),
    absolute=st.booleans(),
)
def test_packs_as_they_go_out(node: Node, instants: list[Any], first_ms: int, absolute: bool) -> None:
    times = [first_ms + 600_000 * n for n in range(len(instants))]
    alike(node, "senml", [instants, times, absolute])


@few
@given(
    steps=st.lists(
        st.one_of(
            st.tuples(
                st.just("sync"), st.integers(0, 10**10), st.integers(1_704_067_200_000, 1_704_167_200_000)
            ),
            st.tuples(st.just("boot"), st.one_of(st.none(), st.integers(0, 10**10))),
        ).map(list),
        max_size=12,
    ),
    asked=st.lists(st.integers(0, 10**10), max_size=4),
)
def test_a_clock_that_is_synced_and_loses_power(node: Node, steps: list[Any], asked: list[int]) -> None:
    alike(node, "clock_steps", [steps, asked])


@few
@given(
    pieces=st.lists(hexed, min_size=3, max_size=3),
    instants=st.lists(hexed, max_size=5),
    at=st.integers(-1, 400),
)
def test_rtc_memory_whole_or_cut_short(node: Node, pieces: list[str], instants: list[str], at: int) -> None:
    alike(node, "gathered", [pieces, instants, at])


def test_settings_good_and_bad(node: Node) -> None:
    alike(
        node,
        "checked",
        ['{"read_s": 300, "send_s": 900}'],
        ['{"read_s": 3, "nme": "x"}'],
        ['{"name": "a b", "wifi": {"ssid": 3}}'],
        ["not JSON"],
        ["[1, 2]"],
        ['{"heads": [{"number": 1, "moisture": 0}, {"number": 1}]}'],
        ['{"limits": {"1": {"dry_v": 2.1, "cold_c": 4, "what": 1}}}'],
        ['{"receipts": 1, "budget_s": true}'],
    )


@few
@given(
    volts=st.lists(st.floats(1, 3, width=32), max_size=12),
    temps=st.lists(st.floats(-20, 60, width=32), max_size=12),
)
def test_urgency_with_hysteresis(node: Node, volts: list[float], temps: list[float]) -> None:
    steps = [
        [[1, "moisture_voltage", _bits(volt)], [1, "soil_temperature", _bits(temp)]]
        for volt, temp in zip(volts, temps, strict=False)
    ]
    limits = {"1": {"dry_v": 2.0, "hysteresis_v": 0.1, "cold_c": 5.0, "hot_c": 40.0, "hysteresis_c": 1.0}}
    alike(node, "judged", [steps, limits])


@few
@given(what=st.sampled_from(["crc", "ds18b20", "sht3x", "sht4x", "moisture"]), data=st.binary(max_size=40))
def test_drivers_on_any_bytes(node: Node, what: str, data: bytes) -> None:
    if what in ("sht3x", "sht4x"):
        words = data[:4].ljust(4, b"\0")
        data = b"".join(word + bytes((crc8.sensirion(word),)) for word in (words[:2], words[2:]))
    elif what == "ds18b20":
        data = data[:8].ljust(8, b"\x10")
        data += bytes((crc8.one_wire(data),))
    elif what == "moisture":
        data = data.ljust(8, b"\1")[: len(data.ljust(8, b"\1")) // 4 * 4]
    alike(node, "converted", [what, data.hex()])


@few
@given(data=st.binary(min_size=38, max_size=38))
def test_a_bme280_with_any_trimming(node: Node, data: bytes) -> None:
    alike(node, "converted", ["bme280", data.hex()])


def test_the_published_vectors(node: Node) -> None:
    vectors = json.loads(reference_file("sensor_vectors.json").read_text())
    pads = [
        (each["bytes_hex"] + each["crc_hex"], each["temp_c"])
        for each in vectors["ds18b20_scratchpads_computed"]
    ]
    said = alike(node, "converted", *[["ds18b20", pad] for pad, _ in pads])
    for answer, (_, temp_c) in zip(said, pads, strict=True):
        if temp_c == 85:
            assert "85 °C" in answer
        else:
            assert cases.floats(answer) == temp_c
    checks = [("crc8_1wire", 0), ("crc8_sensirion", 1)]
    for name, place in checks:
        said = alike(node, "converted", *[["crc", each["data_hex"]] for each in vectors[name]])
        assert [answer[place] for answer in said] == [int(each["crc"], 16) for each in vectors[name]]
