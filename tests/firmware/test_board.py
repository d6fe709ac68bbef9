"""Each board of the pin table, on the genuine interpreter: every input reads the sensor that hangs on it."""

import json
from collections.abc import Iterator

import pytest

from drivers import crc8
from probe.boards import BOARDS, Board
from tests.interpreter.node import Node

pytestmark = pytest.mark.system
CODE = """
import json, machine, time
from probe import board, boards, sensors
hardware = board.Hardware(boards.BOARDS[%r], time.sleep_ms)
made = sensors.sensors(hardware, json.loads(%r), time.sleep_ms)
values, faults = sensors.read_all(made, hardware.power, time.sleep_ms)
print(json.dumps([{"%%d/%%s" %% key: value for key, value in values.items()}, faults]))
print(machine.Pin(%d).value(), [machine.Pin(pin).value() for pin in %r])
"""


@pytest.fixture(scope="module")
def node() -> Iterator[Node]:
    with Node() as started:
        yield started


def _rom(serial: int) -> bytes:
    data = bytes((0x28,)) + serial.to_bytes(6, "little")
    return data + bytes((crc8.one_wire(data),))


def _uv(place: int) -> int:
    return 1_000_000 + 100_000 * place


@pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS)
def test_every_head_is_read_from_its_own_sensors_and_the_power_goes_off(node: Node, board: Board) -> None:
    places = range(board.most_heads)
    roms = [_rom(place + 1) for place in places]
    inputs = [[_uv(place) for place in places]] if board.mux_select else [[_uv(place)] for place in places]
    bench = {
        "power_pin": board.sensor_power,
        "power_on": board.sensor_power_on,
        "one_wire_pin": board.one_wire,
        "one_wire": {rom.hex(): 16 * (place + 1) for place, rom in enumerate(roms)},
        "scl": board.i2c_scl,
        "sda": board.i2c_sda,
        "i2c": {"sht4x": [0x6666, 0x6666]},
        "mux_select": board.mux_select,
        "moisture_uv": {str(pin): uv for pin, uv in zip(board.moisture, inputs, strict=True)},
        "adc_uv": {str(board.battery): 1_950_000},
    }
    heads = [
        {"number": place + 1, "one_wire": rom.hex(), "moisture": place} for place, rom in enumerate(roms)
    ]
    code = CODE % (board.name, json.dumps(heads), board.sensor_power, board.mux_select)
    answer = node.run(code, script={"now_ms": 1_790_000_000_000, "bench": bench})
    assert answer["error"] is None, answer["error"]
    values, faults = json.loads(answer["said"][0])
    assert faults == []
    for place in places:
        assert values[f"{place + 1}/soil_temperature"] == place + 1
        assert values[f"{place + 1}/moisture_voltage"] == pytest.approx(_uv(place) / 1e6 * 430 / 330)
    assert values["0/battery"] == pytest.approx(3.9)
    assert answer["said"][1] == f"{1 - board.sensor_power_on} {[0] * len(board.mux_select)}"


def test_an_input_that_the_board_does_not_have_is_told(node: Node) -> None:
    heads = json.dumps([{"number": 1, "one_wire": None, "moisture": 5}])
    code = CODE % ("esp32-c3", heads, 10, ())
    answer = node.run(code, script={"now_ms": 1_790_000_000_000, "bench": {"power_pin": 10, "power_on": 1}})
    assert answer["error"] is None, answer["error"]
    faults = dict(json.loads(answer["said"][0])[1])
    assert faults["head 1 moisture"] == "this board has inputs 0 to 1, not 5"
