"""The power budget: what a day costs, and how long one cell lasts.

Every figure stands in `FIGURES` with where it is from; those nobody measured for this probe say so.
"""

from collections.abc import Iterable
from typing import NamedTuple

from drivers import capacitive, ds18b20
from probe import sending, sensors
from probe.boards import BOARDS

DAY_S = 86_400.0
MAH_PER_MC = 1 / 3_600.0


class Figure(NamedTuple):
    """One figure of the budget, and how far it can be trusted."""

    value: float
    unit: str
    says: str
    source: str
    kind: str
    """measured, firmware, data sheet, secondary, from memory, or assumption"""


_BOOT = "glenn20/upy-esp32-experiments, OptimisingMicropythonBootTime, first table (ESP32-S3, stock boot)"
_WIFI = "glenn20/upy-esp32-experiments, ESPNowvsWifiEnergyUsage, table (ESP32, DHCP + HTTP POST)"
_C3_CPU = "R. Dobson, Investigating ESP32-C3 power management (2023), table (160 MHz)"

FIGURES = {
    "boot_s": Figure(0.635, "s", "from wake-up to the first line of main.py", _BOOT, "measured"),
    "load_s": Figure(0.4, "s", "loading the firmware's modules", "none yet", "assumption"),
    "read_wait_s": Figure(
        (sensors.WARM_MS + max(ds18b20.CONVERSION_MS, capacitive.SETTLE_MS)) / 1000,
        "s",
        "waiting for the sensors, all at once",
        "the firmware's own waits; a test runs them on the MicroPython interpreter",
        "firmware",
    ),
    "compute_s": Figure(0.15, "s", "judging, storing", "none yet", "assumption"),
    "busy_ma": Figure(26.8, "mA", "chip computing, radio off", f"{_C3_CPU}, “empty loop”", "measured"),
    "wait_ma": Figure(20.1, "mA", "chip waiting, radio off", f"{_C3_CPU}, “loop with delay”", "measured"),
    "soil_temp_ma": Figure(
        1.0,
        "mA",
        "DS18B20 while converting",
        "Maxim DS18B20 data sheet (20 pages), p. 2, DC Electrical Characteristics: 1 typical, 1.5 most",
        "data sheet",
    ),
    "moisture_ma": Figure(
        5.0, "mA", "moisture sensor", "makers' product sheets of the TLC555 board", "data sheet"
    ),
    "air_ma": Figure(
        0.32,
        "mA",
        "SHT4x while measuring",
        "Sensirion SHT4x data sheet, p. 8, section 3.1 (the page seen, the value not)",
        "from memory",
    ),
    "send_s": Figure(2.928, "s", "join with DHCP, send one message, strong signal", _WIFI, "measured"),
    "radio_ma": Figure(
        341.3 / 2.928 - 15.0,
        "mA",
        "mean while the radio is on",
        f"{_WIFI}, less the board's own 15 mA",
        "measured",
    ),
    "chip_ua": Figure(
        4.8,
        "µA",
        "chip in deep sleep",
        "ESP-IDF guide, low-power mode, ESP32-C3 current summary",
        "data sheet",
    ),
    "board_ua": Figure(
        40.0,
        "µA",
        "the board's own regulator, idle; its power light is removed",
        "ME6211C33, 40 µA typical (time4ee.com, “Lolin Pico C3”); here it is fed from its output side, "
        "where nobody measured it; a like board drew 23 µA in all (wuxx/nanoESP32-C6, issue 10)",
        "assumption",
    ),
    "regulator_ua": Figure(4.0, "µA", "HT7833", "Holtek HT78xx data sheet rev. 1.10, p. 1", "data sheet"),
    "charger_ua": Figure(
        2.0, "µA", "TP4056 without input", "TP4056 data sheet, p. 1, Description: below 2 µA", "data sheet"
    ),
    "protection_ua": Figure(
        3.0,
        "µA",
        "DW01 protection",
        "Fortune DW01x data sheet rev. 1.7, p. 3, Features, at 3.9 V",
        "data sheet",
    ),
    "capacitor_ua": Figure(3.3, "µA", "leak of C2, 0.01·C·V", "usual limit for electrolytics", "from memory"),
    "divider_ua": Figure(
        3.7 / 940e3 * 1e6, "µA", "battery divider at 3.7 V", "Ohm's law, R2 + R3", "data sheet"
    ),
    "self_discharge_month": Figure(
        0.02,
        "of 3,000 mAh a month",
        "the cell by itself",
        "2 to 3 % a month in general references (daviddarling.info, “self-discharge”), 5 % in a year "
        "measured of one cell (candlepowerforums.com, thread 165998); the protection is counted apart",
        "secondary",
    ),
    "power_light_ma": Figure(
        0.45, "mA", "the board's power light, if left on", "nanoESP32-C6, issue 10", "measured"
    ),
}


class Signal(NamedTuple):
    """How well the probe hears the access point. Times and failures are our assumption."""

    name: str
    says: str
    times: float
    """radio time against the strong signal"""
    failing: float
    """share of sends that run until the time allowed for joining"""


SIGNALS = (
    Signal("strong", "−65 dBm or better", 1.0, 0.0),
    Signal("fair", "−65 to −78 dBm", 1.5, 0.02),
    Signal("weak", "below −78 dBm", 3.0, 0.15),
)
ALLOWED_S = sending.NETWORK_MS / 1000
"""Radio time of a send that fails to join [s]: what the firmware allows."""


class Use(NamedTuple):
    """How a probe is used."""

    read_every_s: float = 600.0
    send_every_s: float = 3_600.0
    signal: Signal = SIGNALS[0]
    heads: int = 1
    urgent_a_day: float = 2.0
    power_light: bool = False


class Cell(NamedTuple):
    """The cell and how much of it counts."""

    rated_mah: float = 3_000.0
    usable: float = 0.8
    self_discharge_month: float = FIGURES["self_discharge_month"].value


def read_mc(heads: int) -> float:
    """Charge of one wake that measures and does not send [mC]."""
    wait_s = FIGURES["read_wait_s"].value
    if heads > BOARDS["esp32-c3"].most_heads:
        wait_s += heads * BOARDS["esp32-c3-four"].mux_settle_ms / 1e3
    busy_s = sum(FIGURES[name].value for name in ("boot_s", "load_s", "compute_s"))
    sensors_ma = (
        heads * (FIGURES["soil_temp_ma"].value + FIGURES["moisture_ma"].value) + FIGURES["air_ma"].value
    )
    return busy_s * FIGURES["busy_ma"].value + wait_s * (FIGURES["wait_ma"].value + sensors_ma)


def send_mc(signal: Signal) -> float:
    """Charge that sending adds to a wake [mC]."""
    radio_s = (1 - signal.failing) * FIGURES["send_s"].value * signal.times + signal.failing * ALLOWED_S
    return radio_s * FIGURES["radio_ma"].value


def sleep_ua(*, power_light: bool = False) -> float:
    """What a sleeping probe draws from its cell [µA]."""
    names = (
        "chip_ua",
        "board_ua",
        "regulator_ua",
        "charger_ua",
        "protection_ua",
        "capacitor_ua",
        "divider_ua",
    )
    light_ua = FIGURES["power_light_ma"].value * 1e3 if power_light else 0.0
    return sum(FIGURES[name].value for name in names) + light_ua


def daily_mah(cycles: Iterable[tuple[float, float]], asleep_ua: float) -> float:
    """Charge of a day from (cycles a day, charge of one [mC]) and the current between them [mAh].

    The seconds awake are counted as asleep too: they add less than a thousandth.
    """
    return sum(count * charge_mc for count, charge_mc in cycles) * MAH_PER_MC + asleep_ua * 24 / 1e3


def use_mah(use: Use) -> dict[str, float]:
    """A day's charge by what it goes to [mAh]."""
    sends = DAY_S / max(use.send_every_s, use.read_every_s) + use.urgent_a_day
    return {
        "reading": daily_mah([(DAY_S / use.read_every_s, read_mc(use.heads))], 0.0),
        "sending": daily_mah([(sends, send_mc(use.signal))], 0.0),
        "sleep": daily_mah([], sleep_ua(power_light=use.power_light)),
    }


def self_discharge_mah(cell: Cell) -> float:
    """What the cell loses by itself in a day [mAh]."""
    return cell.rated_mah * cell.self_discharge_month * 12 / 365.25


CELL = Cell()


def life_days(use: Use, cell: Cell = CELL) -> float:
    """How long the cell lasts [days]."""
    return cell.rated_mah * cell.usable / (sum(use_mah(use).values()) + self_discharge_mah(cell))
