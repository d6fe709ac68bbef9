"""Wi-Fi up and down, with a deadline.

A `wlan` is MicroPython's `network.WLAN(network.WLAN.IF_STA)` or what acts like it.
"""

from probe.deadline import Deadline
from probe.link import LinkError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

TRIES = 3
"""The radio's own attempts; then it says why it gave up, and the wait is over early."""
_PAUSE_MS = 20
# ESP32: the reason its radio driver gives; other boards: below 0.
_WHY = {
    15: "the password is wrong, or the signal too weak",
    200: "the access point is too far away",
    201: "no network of that name is in reach",
    202: "the password is wrong",
    203: "the access point does not let it in",
    204: "the password is wrong, or the signal too weak",
    -1: "the connection failed",
    -2: "no network of that name is in reach",
    -3: "the password is wrong",
}


class Wifi:
    """The station side of the radio, with the settings' network."""

    def __init__(self, wlan: "Any", wifi: "dict[str, Any]", ticks: "Any") -> None:
        self._wlan = wlan
        self._wifi = wifi
        self._ticks = ticks

    def up(self, budget_ms: int) -> None:
        """Connect, and have an address. Raises LinkError, with the radio off again."""
        deadline = Deadline(self._ticks, budget_ms)
        wlan, wifi = self._wlan, self._wifi
        try:
            wlan.active(True)
            if wifi.get("address"):
                wlan.ifconfig(
                    (wifi["address"], wifi["mask"], wifi["gateway"], wifi["dns"] or wifi["gateway"])
                )
            try:
                wlan.config(reconnects=TRIES - 1)
            except (ValueError, OSError):
                pass  # a board that has no such option goes on trying until the deadline
            wlan.connect(wifi["ssid"], wifi["password"] or None)
            while not wlan.isconnected():
                status = wlan.status()
                # 0 to 3 mean "not yet" on some boards; 1000 and more do on an ESP32.
                if status < 0 or 3 < status < 1000:
                    why = _WHY.get(status, f"the access point refuses (code {status})")
                    raise LinkError("Wi-Fi", why, permanent=status in (202, -3))
                if not deadline.pause(_PAUSE_MS):
                    raise LinkError("Wi-Fi", "the access point does not answer")
        except OSError as error:
            self.down()
            raise LinkError("Wi-Fi", f"the radio failed ({error})") from error
        except LinkError:
            self.down()
            raise

    def down(self) -> None:
        """Switch the radio off. Never raises."""
        for step in (self._wlan.disconnect, lambda: self._wlan.active(False)):
            try:
                step()
            except OSError:
                pass  # it was not connected

    def rssi(self) -> "int | None":
        """Strength of the signal [dBm]; None when not connected."""
        try:
            strength: int = self._wlan.status("rssi")
        except (OSError, ValueError, TypeError):
            return None
        return strength

    def name_server(self) -> str:
        """The name server that the network or the settings named."""
        server: str = self._wlan.ifconfig()[3]
        return server
