"""What one head measured at one instant, and the quantities a reading may hold."""

from dataclasses import dataclass
from typing import NamedTuple

BOOT_UNNUMBERED = -1
"""Boot of a sensor that sends no sequence: its readings are known by their time."""
BOOT_IMPORTED = -2
"""Boot of readings that came from a file: known by their time."""


class Reading(NamedTuple):
    """One wide row: everything one head measured at one instant; None where it measured nothing.

    A reading is identified by (probe, boot, sequence, head). Times are milliseconds since
    1970-01-01T00:00Z. `extra` is a JSON object (text) of numbers the host has no column for.
    """

    probe: str
    head: int
    boot: int
    sequence: int
    time_ms: int
    received_ms: int
    soil_temp_c: float | None = None
    moisture_v: float | None = None
    moisture_m3_m3: float | None = None
    air_temp_c: float | None = None
    rh_pct: float | None = None
    battery_v: float | None = None
    rain_mm: float | None = None
    extra: str | None = None


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measurable quantity: its column, its name and unit on the wire, and where it can lie."""

    column: str
    wire_name: str
    wire_unit: str
    lowest: float
    highest: float
    says: str


# Lowest/highest: the sensors' own limits (DS18B20 −55…125 °C; SHT4x −40…125 °C, 0…100 %RH),
# wide enough that nothing real is refused; `quality` draws the tighter lines.
QUANTITIES: tuple[Quantity, ...] = (
    Quantity("soil_temp_c", "soil_temperature", "Cel", -127.0, 125.0, "soil temperature"),
    Quantity("moisture_v", "moisture_voltage", "V", -0.5, 6.0, "raw moisture volts"),
    Quantity("moisture_m3_m3", "moisture", "/", -0.5, 1.5, "soil moisture"),
    Quantity("air_temp_c", "air_temperature", "Cel", -127.0, 125.0, "air temperature"),
    Quantity("rh_pct", "relative_humidity", "%RH", -10.0, 130.0, "relative humidity"),
    Quantity("battery_v", "battery", "V", -0.5, 60.0, "battery voltage"),
    Quantity("rain_mm", "rainfall", "mm", 0.0, 1000.0, "rain since the reading before"),
)
VALUE_COLUMNS: tuple[str, ...] = tuple(q.column for q in QUANTITIES)
BY_WIRE_NAME: dict[str, Quantity] = {q.wire_name: q for q in QUANTITIES}
BY_COLUMN: dict[str, Quantity] = {q.column: q for q in QUANTITIES}
