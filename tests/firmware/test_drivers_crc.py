"""The two check sums, against published and recomputed examples."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import crc8
from tests.interpreter.fakes import buses
from tests.shared_data import reference_file


def _vectors(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(reference_file("sensor_vectors.json").read_text())[name]
    return found


@pytest.mark.data
def test_one_wire_check_agrees_with_maxims_note_27_and_other_published_numbers() -> None:
    vectors = _vectors("crc8_1wire")
    assert len(vectors) == 4
    for vector in vectors:
        data = bytes.fromhex(vector["data_hex"])
        assert crc8.one_wire(data) == int(vector["crc"], 16), vector["name"]
        assert crc8.one_wire(data + bytes.fromhex(vector["crc"])) == 0


@pytest.mark.data
def test_sensirion_check_agrees_with_the_datasheet() -> None:
    vectors = _vectors("crc8_sensirion")
    assert vectors[0] == {"data_hex": "BEEF", "crc": "92"}  # SHT3x-DIS datasheet, table 20
    for vector in vectors:
        assert crc8.sensirion(bytes.fromhex(vector["data_hex"])) == int(vector["crc"], 16)


def test_catalogue_check_values() -> None:
    # "123456789" in the catalogue of parametrised CRC algorithms: CRC-8/MAXIM-DOW and CRC-8/NRSC-5.
    assert crc8.one_wire(b"123456789") == 0xA1
    assert crc8.sensirion(b"123456789") == 0xF7


@given(st.binary(max_size=16))
def test_both_agree_with_the_bench_that_computes_them_another_way(data: bytes) -> None:
    assert crc8.one_wire(data) == buses.one_wire_crc(data)
    assert crc8.sensirion(data) == buses.sensirion_crc(data)


@given(st.binary(min_size=1, max_size=9), st.data())
def test_any_one_flipped_bit_is_seen(data: bytes, draw: st.DataObject) -> None:
    place = draw.draw(st.integers(0, 8 * len(data) - 1))
    flipped = bytearray(data)
    flipped[place // 8] ^= 1 << place % 8
    assert crc8.one_wire(flipped) != crc8.one_wire(data)
    assert crc8.sensirion(flipped) != crc8.sensirion(data)
