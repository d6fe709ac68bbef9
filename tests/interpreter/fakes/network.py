"""MicroPython's `network.WLAN`: comes up, is refused or never answers, as the script of the wake has it."""

import binascii

import bridge  # type: ignore[import-not-found]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

STA_IF, AP_IF = 0, 1
STAT_IDLE, STAT_CONNECTING, STAT_GOT_IP = 1000, 1001, 1010
STAT_WRONG_PASSWORD, STAT_NO_AP_FOUND = 202, 201
_STATUS = {
    "idle": STAT_IDLE,
    "connecting": STAT_CONNECTING,
    "up": STAT_GOT_IP,
    "refused": STAT_WRONG_PASSWORD,
}


class WLAN:
    IF_STA, IF_AP = STA_IF, AP_IF
    PM_NONE, PM_PERFORMANCE, PM_POWERSAVE = 0, 1, 2

    def __init__(self, interface: int = STA_IF) -> None:
        self.up = False

    def active(self, up: "bool | None" = None) -> "bool | None":
        if up is None:
            return self.up
        if not up and self.up:
            bridge.wifi(False)
        self.up = bool(up)
        return None

    def connect(self, ssid: "str | None" = None, key: "str | None" = None, **more: "Any") -> None:
        if not self.up:
            raise OSError("Wifi Not Started")
        bridge.wifi(True)

    def disconnect(self) -> None:
        if not self.up:
            raise OSError("Wifi Not Started")
        bridge.wifi(False)

    def isconnected(self) -> bool:
        return bool(bridge.wifi_status() == "up")

    def status(self, what: "str | None" = None) -> int:
        if what == "rssi":
            return -61
        return _STATUS[bridge.wifi_status()]

    def config(self, *asked: str, **given: "Any") -> "Any":
        if asked and asked[0] == "mac":
            return binascii.unhexlify(bridge.unique_id())
        return None

    def ifconfig(self, given: "Any" = None) -> "Any":
        return ("192.0.2.7", "255.255.255.0", "192.0.2.1", "192.0.2.1") if given is None else None

    def ipconfig(self, *asked: str, **given: "Any") -> "Any":
        return ("192.0.2.7", "255.255.255.0") if asked else None

    def scan(self) -> "list[tuple[Any, ...]]":
        return []


def hostname(name: "str | None" = None) -> str:
    return name or "probe"


def country(code: "str | None" = None) -> str:
    return code or "XX"
