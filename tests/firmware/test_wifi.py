"""Wi-Fi comes up, says why it does not, and never keeps the probe awake beyond its budget."""

from typing import Any

import pytest

from probe import settings as table
from probe.link import LinkError
from probe.wifi import TRIES, Wifi
from tests.firmware.waiting import Ticks

IDLE, CONNECTING, GOT_IP = 1000, 1001, 1010


class Wlan:
    """A radio: comes up after so long, or ends with a status."""

    def __init__(self, ticks: Ticks, *, up_after_ms: int | None = None, ends: int = CONNECTING) -> None:
        self.ticks, self.up_after_ms, self.ends = ticks, up_after_ms, ends
        self.on = False
        self.given: list[Any] = []
        self.static: Any = None
        self.fails: OSError | None = None

    def active(self, on: bool) -> None:
        self.on = on

    def config(self, **given: Any) -> None:
        self.given.append(given)

    def connect(self, ssid: str, password: str | None) -> None:
        if self.fails is not None:
            raise self.fails
        self.given.append((ssid, password))

    def disconnect(self) -> None:
        if not self.on:
            raise OSError("Wifi Not Started")

    def isconnected(self) -> bool:
        return self.on and self.up_after_ms is not None and self.ticks.passed_ms >= self.up_after_ms

    def status(self, what: str | None = None) -> int:
        if what == "rssi":
            return -61
        return self.ends if self.ticks.passed_ms >= 900 else CONNECTING

    def ifconfig(self, given: Any = None) -> Any:
        self.static = given or self.static
        return self.static or ("192.0.2.7", "255.255.255.0", "192.0.2.1", "192.0.2.53")


def _wifi(wlan: Wlan, **wifi: str) -> Wifi:
    made, problems = table.check({"wifi": {"ssid": "garden", "password": "secret1"} | wifi}, table.defaults())
    assert not problems
    return Wifi(wlan, made["wifi"], wlan.ticks)


def test_it_comes_up_and_tells_signal_and_name_server() -> None:
    wlan = Wlan(Ticks(), up_after_ms=1_600)
    wifi = _wifi(wlan)
    wifi.up(10_000)
    assert 1_600 <= wlan.ticks.passed_ms < 1_650
    assert wlan.given == [{"reconnects": TRIES - 1}, ("garden", "secret1")]
    assert (wifi.rssi(), wifi.name_server()) == (-61, "192.0.2.53")
    wifi.down()
    assert not wlan.on


def test_a_silent_access_point_costs_the_budget_and_the_radio_is_off_after_it() -> None:
    wlan = Wlan(Ticks())
    with pytest.raises(LinkError, match="does not answer") as failed:
        _wifi(wlan).up(10_000)
    assert failed.value.step == "Wi-Fi"
    assert wlan.ticks.passed_ms == 10_000
    assert not wlan.on


@pytest.mark.parametrize(
    ("status", "why", "permanent"),
    [
        (201, "no network of that name", False),
        (202, "password is wrong", True),
        (-3, "password is wrong", True),
        (-2, "no network", False),
        (205, "code 205", False),
        (15, "password is wrong, or", False),
    ],
)
def test_what_the_radio_says_ends_the_wait_early(status: int, why: str, permanent: bool) -> None:
    wlan = Wlan(Ticks(), ends=status)
    with pytest.raises(LinkError, match=why) as failed:
        _wifi(wlan).up(10_000)
    assert failed.value.permanent is permanent
    assert wlan.ticks.passed_ms < 1_000
    assert not wlan.on


def test_a_fixed_address_is_set_with_the_gateway_as_name_server_unless_told() -> None:
    wlan = Wlan(Ticks(), up_after_ms=0)
    _wifi(wlan, address="192.0.2.9", gateway="192.0.2.1").up(10_000)
    assert wlan.static == ("192.0.2.9", "255.255.255.0", "192.0.2.1", "192.0.2.1")
    _wifi(wlan, address="192.0.2.9", gateway="192.0.2.1", dns="192.0.2.2").up(10_000)
    assert wlan.static[3] == "192.0.2.2"


def test_an_open_network_gets_no_password() -> None:
    wlan = Wlan(Ticks(), up_after_ms=0)
    _wifi(wlan, password="").up(10_000)
    assert wlan.given[-1] == ("garden", None)


def test_a_radio_that_fails_is_a_link_error_and_off() -> None:
    wlan = Wlan(Ticks())
    wlan.fails = OSError("Wifi Internal Error")
    with pytest.raises(LinkError, match="Internal Error"):
        _wifi(wlan).up(10_000)
    assert not wlan.on


def test_down_is_always_possible() -> None:
    wlan = Wlan(Ticks())
    _wifi(wlan).down()
    assert not wlan.on
