"""What the firmware's pages say of budgets and limits is what the code does."""

import re
from pathlib import Path

from drivers import capacitive, ds18b20
from probe import deadline, dns, drain, link, ntp, sending, sensors, syncs

DOCS = Path(__file__).parents[2] / "firmware" / "docs"


def test_every_budget_in_the_table_is_the_codes() -> None:
    text = (DOCS / "link.md").read_text(encoding="utf-8")
    stated = dict(re.findall(r"\(`(\w+_MS)`\) \| ([\d,]+) ms", text))
    modules = (sending, drain, syncs, link, dns, ntp)
    in_code = {
        name: getattr(module, name)
        for module in modules
        for name in (
            "TCP_MS",
            "TLS_MS",
            "CONNACK_MS",
            "SUBACK_MS",
            "PUBACK_MS",
            "GOODBYE_MS",
            "DNS_MS",
            "NTP_MS",
            "NETWORK_MS",
            "ASK_MS",
            "RECEIPT_MS",
            "STATE_MS",
        )
        if hasattr(module, name)
    }
    assert {name: int(value.replace(",", "")) for name, value in stated.items()} == in_code
    assert f"pauses {deadline.PAUSE_MS} ms" in text
    assert f"{link.MOST_IN:,} bytes" in text
    assert f"{link.MOST_WAITING:,} bytes" in text


def test_the_sensors_page_states_the_waits_and_limits_of_the_drivers() -> None:
    text = (DOCS / "sensors.md").read_text(encoding="utf-8")
    for stated in (
        f"{sensors.WARM_MS} ms to wake up",
        f"({ds18b20.CONVERSION_MS} ms)",
        f"({capacitive.SETTLE_MS} ms)",
        f"median of {capacitive.SAMPLES} samples",
        f"ends at {ds18b20.MOST} sensors",
        f"below {capacitive.LEAST_V} V",
        f"more than {capacitive.MOST_SPREAD_V} V",
    ):
        assert stated in " ".join(text.split()), stated
