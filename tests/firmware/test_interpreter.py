"""The genuine MicroPython interpreter over a bench of fakes and real sockets does what a board would."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.interpreter.node import Node, modules
from tests.interpreter.probes import BENCH
from tests.system.brokers import Mosquitto, mosquitto

pytestmark = pytest.mark.system
NOW_MS = 1_790_000_000_000
HOSTS = {"time.example": "192.0.2.5", "broker.example": "127.0.0.1"}
PARTS = """
import time
from probe import board, boards, broker, link, ntp, sensors, sockets, wifi
ticks = board.Ticks(lambda: None)
hardware = board.Hardware(boards.BOARDS["esp32-c3"], time.sleep_ms)
radio = wifi.Wifi(board.station(), {"ssid": "garden", "password": "secret"}, ticks)
"""


@pytest.fixture(scope="module")
def node() -> Iterator[Node]:
    with Node() as started:
        yield started


@pytest.fixture(scope="module")
def local_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("mosquitto")) as broker:
        yield broker


def said(node: Node, code: str, **script: object) -> list[str]:
    fields = {"now_ms": NOW_MS, "bench": BENCH, "hosts": HOSTS, **script}
    answer = node.run(PARTS + code, script=fields)
    assert answer["error"] is None, answer["error"]
    lines: list[str] = answer["said"]
    return lines


def test_every_module_compiles_and_loads(node: Node) -> None:
    names = [name.removesuffix(".py").replace("/", ".").removesuffix(".__init__") for name in modules()]
    answer = node.run(*[f"import {name}" for name in names])
    assert answer["error"] is None, answer["error"]


def test_the_sensors_on_their_buses_are_read(node: Node) -> None:
    (line,) = said(
        node,
        """
import json
heads = [{"number": 1, "one_wire": None, "moisture": 0}]
made = sensors.sensors(hardware, heads, time.sleep_ms)
values, faults = sensors.read_all(made, hardware.power, time.sleep_ms)
print(json.dumps([{"%d/%s" % key: value for key, value in values.items()}, faults]))
""",
    )
    values, faults = json.loads(line)
    assert faults == []
    assert values["1/soil_temperature"] == 25.0625  # register 0191, as the data sheet's table has it
    assert values["0/air_temperature"] == pytest.approx(25.0)
    assert values["0/relative_humidity"] == pytest.approx(44.0)
    assert values["1/moisture_voltage"] == pytest.approx(1.2 * 430 / 330)


def test_it_publishes_to_a_real_broker_and_hears_from_it(node: Node, local_broker: Mosquitto) -> None:
    lines = said(
        node,
        f"""
radio.up(5000)
mqtt = link.Mqtt(sockets, ticks, 20000)
mqtt.connect("127.0.0.1", {local_broker.port}, "probe-1")
mqtt.subscribe(["some/#"])
mqtt.publish("some/thing", b"x" * 3000)
mqtt.publish("some/where", b"hello")
print(len(mqtt.received(2000)[1]), mqtt.received(2000))
print(mqtt.disconnect())
""",
    )
    assert lines == ["3000 ('some/where', b'hello')", "True"]


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ({"broker": "refused"}, "nothing listens"),
        ({"broker": "silent"}, "does not answer"),
        ({"replies_after": 0}, "does not answer"),
        ({"replies_after": 6}, "stopped in the middle"),
        ({"tear_after": 1000}, "broke off"),
        ({"wifi": "silent"}, "access point does not answer"),
        ({"wifi": "refused"}, "password is wrong"),
        ({"dns": "silent"}, "no name server answers"),
        ({"ntp": "silent"}, "time.example does not answer"),
    ],
)
def test_whoever_is_silent_costs_no_more_than_the_budget(
    node: Node, local_broker: Mosquitto, script: dict[str, object], words: str
) -> None:
    lines = said(
        node,
        f"""
began = time.ticks_ms()
try:
    radio.up(6000)
    mqtt = link.Mqtt(sockets, ticks, 12000)
    mqtt.connect("127.0.0.1", {local_broker.port}, "probe-1", clean=True)
    mqtt.publish("some/thing", b"x" * 3000)
    ntp.ask(sockets, ticks, "time.example", radio.name_server())
except link.LinkError as error:
    print(error)
print(time.ticks_diff(time.ticks_ms(), began))
""",
        **script,
    )
    assert words in lines[0]
    assert int(lines[-1]) <= 18_500


def test_a_time_server_is_asked_by_name(node: Node) -> None:
    (line,) = said(node, "radio.up(6000)\nprint(ntp.ask(sockets, ticks, 'time.example', '192.0.2.1'))")
    assert int(line) == pytest.approx(NOW_MS + 800, abs=200)


def test_flash_and_rtc_memory_outlive_deep_sleep_and_a_power_cut_takes_the_memory(node: Node) -> None:
    count = """
import machine
memory = machine.RTC().memory
memory(bytes([len(memory()) and memory()[0] + 1]))
with open("/count", "ab") as file:
    file.write(b"x")
print(memory()[0], open("/count").read(), machine.reset_cause() == machine.DEEPSLEEP_RESET)
machine.deepsleep(60000)
"""
    wakes = [node.wake("f412fa000009", {"now_ms": NOW_MS + n * 60_000}, code=[count]) for n in range(3)]
    assert [wake["said"] for wake in wakes] == [["0 x False"], ["1 xx True"], ["2 xxx True"]]
    assert {wake["sleep_ms"] for wake in wakes} == {60_000}
    cut = node.wake("f412fa000009", {"now_ms": NOW_MS, "cut": {"bytes": 0}}, code=[count])
    assert cut["ended"] == "power cut"
    assert node.wake("f412fa000009", {"now_ms": NOW_MS}, code=[count])["said"] == ["0 xxxx False"]


def test_a_cut_leaves_what_was_written_before_that_byte_or_what_was_closed_before(node: Node) -> None:
    code = "f = open('/kept', 'wb'); f.write(b'abc'); f.close(); g = open('/torn', 'wb'); g.write(b'defgh')"
    torn = node.run(code, cut={"bytes": 6})
    assert torn["error"] == "power cut"
    assert {path: len(data) for path, data in torn["flash"].items()} == {"/kept": 4, "/torn": 4}  # base64


def test_an_unfed_watchdog_ends_the_wake(node: Node) -> None:
    code = "import machine, time\nmachine.WDT(timeout=8000)\ntime.sleep(7)\ntime.sleep(7)\ntime.sleep(7)"
    answer = node.wake("f412fa00000a", {"now_ms": NOW_MS}, code=[code])
    assert answer["ended"] == "watchdog"


def test_no_wait_is_for_ever(node: Node) -> None:
    code = "import machine, time\nwhile True:\n    time.sleep(1)"
    answer = node.wake("f412fa00000b", {"now_ms": NOW_MS}, code=[code])
    assert "awake for an hour" in answer["error"]


def test_the_lock_names_no_address() -> None:
    lock = Path("tests/interpreter/package-lock.json").read_text(encoding="utf-8")
    assert "resolved" not in lock
    assert "://" not in lock
