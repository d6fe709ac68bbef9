"""All sensors of a probe together: what one does not give costs that value only, and is told."""

from typing import Any

import pytest

from drivers import crc8, ds18b20
from probe import sensors
from tests.firmware.bench import Hardware
from tests.firmware.waiting import Ticks
from tests.interpreter.fakes.buses import Ds18b20, Registers, Sht


def _rom(serial: int) -> bytes:
    data = bytes((0x28,)) + serial.to_bytes(6, "little")
    return data + bytes((crc8.one_wire(data),))


def _head(number: int, rom: bytes | None = None, moisture: int | None = None) -> dict[str, Any]:
    return {"number": number, "one_wire": rom and ds18b20.rom_text(rom), "moisture": moisture}


def _read(
    hardware: Hardware, ticks: Ticks, heads: list[dict[str, Any]]
) -> tuple[dict[tuple[int, str], float], dict[str, str]]:
    made = sensors.sensors(hardware, heads, ticks.sleep_ms)
    values, faults = sensors.read_all(made, hardware.power, ticks.sleep_ms)
    assert not hardware.on
    return values, dict(faults)


def test_everything_that_is_fitted_is_read_in_one_powering() -> None:
    ticks = Ticks()
    one, two = Ds18b20(_rom(1), 0x0191), Ds18b20(_rom(2), 0xFFF8)
    hardware = Hardware(ticks, soil=(one, two), air={0x44: Sht("sht4x", 0x6666, 0x8000)})
    values, faults = _read(hardware, ticks, [_head(1, one.rom, 0), _head(2, two.rom, 1)])
    assert faults == {}
    assert values == {
        (1, "soil_temperature"): 25.0625,
        (2, "soil_temperature"): -0.5,
        (1, "moisture_voltage"): pytest.approx(1.5 * 430 / 330),
        (2, "moisture_voltage"): pytest.approx(1.2 * 430 / 330),
        (0, "air_temperature"): pytest.approx(25.0),
        (0, "relative_humidity"): pytest.approx(56.500954),
        (0, "battery"): 3.91,
    }
    assert hardware.powered == 1
    assert ticks.passed_ms < ds18b20.CONVERSION_MS + 100


def test_the_only_soil_sensor_needs_no_number() -> None:
    ticks = Ticks()
    values, _ = _read(Hardware(ticks, soil=(Ds18b20(_rom(7), 0x0008),)), ticks, [_head(1)])
    assert values[1, "soil_temperature"] == 0.5


def test_a_head_without_number_gets_the_sensor_no_other_head_has() -> None:
    ticks = Ticks()
    one, two = Ds18b20(_rom(1), 0x0191), Ds18b20(_rom(2), 0xFFF8)
    values, _ = _read(Hardware(ticks, soil=(one, two)), ticks, [_head(1), _head(2, one.rom)])
    assert (values[1, "soil_temperature"], values[2, "soil_temperature"]) == (-0.5, 25.0625)


def test_which_of_two_is_whose_is_never_guessed() -> None:
    ticks = Ticks()
    hardware = Hardware(ticks, soil=(Ds18b20(_rom(1), 0x0191), Ds18b20(_rom(2), 0xFFF8)))
    for heads in ([_head(1)], [_head(1), _head(2)]):
        values, faults = _read(hardware, ticks, heads)
        assert (1, "soil_temperature") not in values
        assert "several" in faults["head 1 soil temperature"]


def test_one_of_two_soil_sensors_cut_off_costs_that_value_only() -> None:
    ticks = Ticks()
    one, gone = Ds18b20(_rom(1), 0x0191), Ds18b20(_rom(2), 0)
    hardware = Hardware(ticks, soil=(one,), moisture_uv=(1_500_000, 0))
    values, faults = _read(hardware, ticks, [_head(1, one.rom, 0), _head(2, gone.rom, 1)])
    assert values[1, "soil_temperature"] == 25.0625
    assert set(faults) == {"head 2 soil temperature", "head 2 moisture", "air sensor"}
    assert "no answer" in faults["head 2 soil temperature"]


def test_a_shorted_soil_bus_leaves_moisture_air_and_battery() -> None:
    ticks = Ticks()
    one = Ds18b20(_rom(1), 0x0191)
    hardware = Hardware(ticks, soil=(one,), air={0x44: Sht("sht3x", 0x6666, 0x8000)}, shorted=True)
    values, faults = _read(hardware, ticks, [_head(1, one.rom, 0)])
    assert "shorted" in faults.pop("head 1 soil temperature")
    assert faults == {}
    assert set(values) == {
        (1, "moisture_voltage"),
        (0, "air_temperature"),
        (0, "relative_humidity"),
        (0, "battery"),
    }


def test_a_sensor_that_lost_its_measurement_measures_once_more_not_for_ever() -> None:
    class _Dips(Ds18b20):
        """Loses power in the middle of so many conversions."""

        def __init__(self, rom: bytes, raw: int, dips: int) -> None:
            super().__init__(rom, raw)
            self.dips = dips

        def obeys(self, command: int, now_ms: int) -> None:
            super().obeys(command, now_ms)
            if self.mode == "converting" and self.dips:
                self.dips -= 1
                self.lost_power()

    for dips, wanted in ((1, 10.125), (9, None)):
        ticks = Ticks()
        soil = _Dips(_rom(1), 0x00A2, dips)
        values, faults = _read(Hardware(ticks, soil=(soil,)), ticks, [_head(1)])
        assert values.get((1, "soil_temperature")) == wanted
        if wanted is None:
            assert "85 °C" in faults["head 1 soil temperature"]
        assert ticks.passed_ms < 2 * ds18b20.CONVERSION_MS + 100


def test_an_air_sensor_that_is_there_but_garbled_says_so_rather_than_no_answer() -> None:
    class _Garbled(Sht):
        def gives(self, count: int, now_ms: int) -> bytes:
            return super().gives(count, now_ms)[:5] + b"\x00"

    ticks = Ticks()
    hardware = Hardware(ticks, air={0x44: _Garbled("sht3x", 0x6666, 0x8001)})
    assert "garbled" in _read(hardware, ticks, [])[1]["air sensor"]
    assert "no answer" in _read(Hardware(ticks), ticks, [])[1]["air sensor"]
    assert "another chip" in _read(Hardware(ticks, air={0x76: Registers({})}), ticks, [])[1]["air sensor"]


def test_a_second_reading_measures_anew() -> None:
    ticks = Ticks()
    soil = Ds18b20(_rom(1), 0x0191)
    hardware = Hardware(ticks, soil=(soil,))
    made = sensors.sensors(hardware, [_head(1)], ticks.sleep_ms)
    for raw, wanted in ((0x0191, 25.0625), (0xFC90, -55)):
        soil.raw = raw
        values, _ = sensors.read_all(made, hardware.power, ticks.sleep_ms)
        assert values[1, "soil_temperature"] == wanted


def test_the_power_goes_off_whatever_fails() -> None:
    class _Broken:
        name, ready_ms = "broken", 0

        def start(self) -> None:
            raise RuntimeError("burnt")

    ticks = Ticks()
    hardware = Hardware(ticks)
    with pytest.raises(RuntimeError):
        sensors.read_all([_Broken()], hardware.power, ticks.sleep_ms)
    assert not hardware.on


def test_the_check_says_in_plain_words_who_answers_and_who_has_no_head() -> None:
    ticks = Ticks()
    one, two = Ds18b20(_rom(1), 0xFF5E), Ds18b20(_rom(2), 0xFFF8)
    hardware = Hardware(ticks, soil=(one, two), moisture_uv=(0, 0))
    made = sensors.sensors(hardware, [_head(1, None, 0)], ticks.sleep_ms)
    found = {each["sensor"]: each for each in sensors.check(made, hardware.power, ticks.sleep_ms)}
    assert found["battery"] == {"sensor": "battery", "ok": True, "words": "answers: 3.91 V"}
    assert found["head 1 moisture"]["words"] == "no voltage; is the sensor connected and powered?"
    for rom in (one.rom, two.rom):
        assert not found["soil sensor " + ds18b20.rom_text(rom)]["ok"]
    hardware = Hardware(ticks, soil=(one,), air={0x45: Sht("sht4x", 0x6666, 0x8000)})
    made = sensors.sensors(hardware, [_head(1, None, 0)], ticks.sleep_ms)
    words = {each["sensor"]: each["words"] for each in sensors.check(made, hardware.power, ticks.sleep_ms)}
    assert words == {
        "air temperature": "answers: 25.00 °C",
        "relative humidity": "answers: 56.50 %",
        "head 1 soil temperature": "answers: -10.12 °C",
        "head 1 moisture voltage": "answers: 1.95 V",
        "battery": "answers: 3.91 V",
    }
