"""Probes on the bench: what hangs on their pins, and the settings they are given."""

import json
from typing import Any

ROM = "28ff641e82160461"
BENCH: dict[str, Any] = {
    "power_pin": 10,
    "power_on": 1,
    "one_wire_pin": 4,
    "one_wire": {ROM: 0x0191},
    "scl": 7,
    "sda": 6,
    "i2c": {"sht4x": [0x6666, 0x6666]},
    "moisture_uv": {"0": [1_200_000], "1": [1_300_000]},
    "adc_uv": {"3": 1_950_000},
}
"""One head with everything on a board as `esp32-c3` in the pin table, and a battery at 3.9 V."""


def settings(name: str, port: int, **more: Any) -> bytes:
    """A probe's settings file: one head, Wi-Fi, the broker on this computer."""
    made = {
        "name": name,
        "garden": "demo",
        "wifi": {"ssid": "garden", "password": "secret"},
        "broker": {"host": "broker.example", "port": port},
        "ntp": {"host": "time.example"},
        "heads": [{"number": 1, "one_wire": None, "moisture": 0}],
        **more,
    }
    return json.dumps(made).encode()
