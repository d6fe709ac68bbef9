"""DS18B20: the datasheet's temperatures, garbled answers, several on one bus, bad lines."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import SensorError, crc8, ds18b20
from tests.interpreter.fakes.buses import Ds18b20, OneWireLine
from tests.shared_data import reference_file


def _vectors(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(reference_file("sensor_vectors.json").read_text())[name]
    return found


def _rom(serial: int, family: int = 0x28) -> bytes:
    data = bytes((family,)) + serial.to_bytes(6, "little")
    return data + bytes((crc8.one_wire(data),))


def _scratchpad(raw: int, resolution: int = 0x7F) -> bytes:
    data = bytes((raw & 0xFF, raw >> 8 & 0xFF, 0x4B, 0x46, resolution, 0xFF, 0x0C, 0x10))
    return data + bytes((crc8.one_wire(data),))


class _Clock:
    def __init__(self) -> None:
        self.now_ms = 0

    def __call__(self) -> int:
        return self.now_ms


def _line(*sensors: Ds18b20, shorted: bool = False) -> tuple[OneWireLine, _Clock]:
    clock = _Clock()
    return OneWireLine(list(sensors), clock, shorted=shorted), clock


class _Noisy(OneWireLine):
    """Flips one bit of each answer, so many times."""

    def __init__(self, *sensors: Ds18b20, times: int) -> None:
        super().__init__(list(sensors), lambda: 10_000)
        self.times, self.bytes_read = times, 0

    def readbyte(self) -> int:
        self.bytes_read += 1
        byte = super().readbyte()
        if self.bytes_read % 9 == 1 and self.times:
            self.times -= 1
            return byte ^ 0x10
        return byte


@pytest.mark.data
def test_every_row_of_the_datasheets_temperature_table() -> None:
    rows = _vectors("ds18b20_registers")
    assert len(rows) == 10
    for row in rows:
        assert ds18b20.temperature_c(int(row["register_hex"], 16)) == row["temp_c"]


@pytest.mark.data
def test_scratchpads_give_their_temperature_but_85_is_the_value_before_measuring() -> None:
    for row in _vectors("ds18b20_scratchpads_computed"):
        scratchpad = bytes.fromhex(row["bytes_hex"] + row["crc_hex"])
        if row["temp_c"] == 85:
            with pytest.raises(ds18b20.PowerUpError, match="85 °C"):
                ds18b20.from_scratchpad(scratchpad)
        else:
            assert ds18b20.from_scratchpad(scratchpad) == row["temp_c"]


def test_one_step_either_side_of_85_is_a_temperature() -> None:
    assert ds18b20.from_scratchpad(_scratchpad(0x0551)) == 85.0625
    assert ds18b20.from_scratchpad(_scratchpad(0x054F)) == 84.9375


@pytest.mark.parametrize("raw", [0x07D1, 0x7FFF, 0xFC8F, 0x8000])
def test_what_the_sensor_cannot_measure_is_refused(raw: int) -> None:
    with pytest.raises(SensorError, match="cannot measure"):
        ds18b20.from_scratchpad(_scratchpad(raw))


def test_undefined_low_bits_are_left_out_below_12_bit() -> None:
    # Datasheet p. 4: at 9 bit, bits 0 to 2 are undefined, at 10 bit 0 and 1, at 11 bit 0.
    assert ds18b20.from_scratchpad(_scratchpad(0x0191 | 0x7, 0x1F)) == 25.0
    assert ds18b20.from_scratchpad(_scratchpad(0xFF5E | 0x3, 0x3F)) == -10.25
    assert ds18b20.temperature_c(0xFFF9, 11) == -0.5


def test_a_shorted_line_passes_the_check_sum_and_is_refused_all_the_same() -> None:
    assert crc8.one_wire(bytes(9)) == 0
    with pytest.raises(SensorError, match="shorted"):
        ds18b20.from_scratchpad(bytes(9))


def test_silence_reads_as_ones_and_is_told_from_a_garbled_answer() -> None:
    with pytest.raises(SensorError, match="no answer"):
        ds18b20.from_scratchpad(b"\xff" * 9)
    with pytest.raises(SensorError, match="garbled"):
        ds18b20.from_scratchpad(_scratchpad(0x0191)[:-1] + b"\x00")


@given(st.integers(-880, 2000), st.integers(0, 71))
def test_any_flipped_bit_of_an_answer_is_refused(raw: int, place: int) -> None:
    scratchpad = bytearray(_scratchpad(raw & 0xFFFF))
    scratchpad[place // 8] ^= 1 << place % 8
    with pytest.raises(SensorError):
        ds18b20.from_scratchpad(bytes(scratchpad))


def test_several_on_one_bus_are_found_and_read_by_their_numbers() -> None:
    roms = [_rom(1), _rom(2), _rom(0x80_0000_0000_01), _rom(0xFFFF_FFFF_FFFF)]
    raws = [0xFFF8, 0x0191, 0xFC90, 0x07D0]
    line, clock = _line(*(Ds18b20(rom, raw) for rom, raw in zip(roms, raws, strict=True)))
    assert sorted(ds18b20.find(line)) == sorted(roms)
    ds18b20.start(line)
    clock.now_ms += ds18b20.CONVERSION_MS
    assert [ds18b20.read(line, rom) for rom in roms] == [-0.5, 25.0625, -55, 125]


@given(st.sets(st.integers(0, 2**48 - 1), min_size=1, max_size=ds18b20.MOST))
def test_the_search_finds_any_set_of_numbers(serials: set[int]) -> None:
    line, _ = _line(*(Ds18b20(_rom(serial), 0) for serial in serials))
    assert set(ds18b20.find(line)) == {_rom(serial) for serial in serials}


def test_a_sensor_of_another_family_is_passed_over() -> None:
    line, _ = _line(Ds18b20(_rom(5, family=0x10), 0), Ds18b20(_rom(6), 0))
    assert ds18b20.find(line) == [_rom(6)]


def test_the_search_ends_however_many_there_are() -> None:
    line, _ = _line(*(Ds18b20(_rom(serial), 0) for serial in range(40)))
    assert len(ds18b20.find(line)) == ds18b20.MOST


def test_the_only_one_on_the_bus_needs_no_number() -> None:
    line, clock = _line(Ds18b20(_rom(9), 0x00A2))
    ds18b20.start(line)
    clock.now_ms += ds18b20.CONVERSION_MS
    assert ds18b20.read(line) == 10.125


def test_read_before_it_has_measured_says_so() -> None:
    line, clock = _line(Ds18b20(_rom(9), 0x00A2))
    ds18b20.start(line)
    clock.now_ms += ds18b20.CONVERSION_MS - 1
    with pytest.raises(ds18b20.PowerUpError):
        ds18b20.read(line)


def test_nobody_on_the_bus_and_a_shorted_bus_are_told_apart() -> None:
    empty, _ = _line()
    shorted, _ = _line(Ds18b20(_rom(9), 0), shorted=True)
    for ask in (ds18b20.find, ds18b20.start, ds18b20.read):
        with pytest.raises(SensorError, match="no sensor answers"):
            ask(empty)
        with pytest.raises(SensorError, match="shorted"):
            ask(shorted)


def test_a_missing_one_among_others_is_no_answer() -> None:
    line, clock = _line(Ds18b20(_rom(9), 0x00A2))
    ds18b20.start(line)
    clock.now_ms += ds18b20.CONVERSION_MS
    with pytest.raises(SensorError, match="no answer"):
        ds18b20.read(line, _rom(10))


def test_a_garbled_answer_is_read_again_but_not_for_ever() -> None:
    sensor = Ds18b20(_rom(9), 0x00A2)
    sensor.ready_ms = 0
    assert ds18b20.read(_Noisy(sensor, times=2)) == 10.125
    with pytest.raises(SensorError, match="garbled"):
        ds18b20.read(_Noisy(sensor, times=99))


def test_two_answering_at_once_are_not_taken_for_one() -> None:
    one, other = Ds18b20(_rom(9), 0x00A2), Ds18b20(_rom(10), 0x0191)
    line, clock = _line(one, other)
    ds18b20.start(line)
    clock.now_ms += ds18b20.CONVERSION_MS
    with pytest.raises(SensorError):
        ds18b20.read(line)


def test_numbers_as_text_there_and_back_and_bad_ones_refused() -> None:
    rom = bytes.fromhex("021CB801000000A2")  # Maxim application note 27
    assert ds18b20.rom_bytes(ds18b20.rom_text(rom)) == rom
    for bad in ("", "00" * 8, "021cb801000000a3", "021cb801", "zz1cb801000000a2"):
        with pytest.raises(ValueError, match=r"not the number|invalid literal"):
            ds18b20.rom_bytes(bad)
