"""All sensors of a probe, read at once: what one of them does not give costs that value only.

`hardware` is what `probe.board.Hardware` is: power(on), one_wire, i2c, moisture(place), moisture_scale,
moisture_most_v, battery, battery_scale. `heads` are the settings' heads: number, one_wire (sixteen hex digits,
or None for the only sensor on the bus) and moisture (which of the board's inputs, from 0; None without one).
"""

from drivers import SensorError, battery, bme280, capacitive, ds18b20, sensirion, sht3x, sht4x

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

POWER_UP_MS = 10
"""From power on until a digital sensor answers."""
MOST_MS = 2 * ds18b20.CONVERSION_MS + 500
"""Longest that reading takes: a conversion is tried a second time."""
UNITS = {
    "soil_temperature": "°C",
    "moisture_voltage": "V",
    "air_temperature": "°C",
    "relative_humidity": "%",
    "battery": "V",
}


class Sensed:
    """What was measured at one instant: values by (head, quantity), the battery's volts, and what failed."""

    def __init__(self) -> None:
        self.values: dict[tuple[int, str], float] = {}
        self.battery_v: float | None = None
        self.faults: list[str] = []
        self.unclaimed: list[str] = []


class Sensors:
    """Reads the sensors of all heads, the air sensor where one is expected, and the battery."""

    def __init__(
        self,
        hardware: "Any",
        heads: "list[dict[str, Any]]",
        wait_ms: "Callable[[int], Any]",
        air: bool = True,
    ) -> None:
        self._hardware = hardware
        self._heads = heads
        self._wait_ms = wait_ms
        self._air = air

    def read(self) -> Sensed:
        """Power the sensors, read them all, take the power away again. What fails is in `faults`."""
        sensed = Sensed()
        self._hardware.power(True)
        try:
            self._wait_ms(POWER_UP_MS)
            roms, trouble = self._start_soil(sensed)
            self._wait_ms(max(ds18b20.CONVERSION_MS, capacitive.SETTLE_MS))
            self._read_soil(sensed, roms, trouble)
            self._read_moisture(sensed)
            if self._air:
                self._read_air(sensed)
        finally:
            self._hardware.power(False)
        try:
            sensed.battery_v = battery.read(self._hardware.battery, self._hardware.battery_scale)
        except (SensorError, OSError) as error:
            _fault(sensed, None, "battery", error)
        return sensed

    def check(self) -> "list[dict[str, Any]]":
        """Each sensor and whether it answers, in plain words: {"sensor", "ok", "words"}."""
        sensed = self.read()
        found: list[dict[str, Any]] = []
        for (head, quantity), value in sorted(sensed.values.items()):
            found.append({"sensor": label(head, quantity), "ok": True, "words": _answer(quantity, value)})
        if sensed.battery_v is not None:
            found.append({"sensor": "battery", "ok": True, "words": _answer("battery", sensed.battery_v)})
        for fault in sensed.faults:
            sensor, words = fault.split(": ", 1)
            found.append({"sensor": sensor, "ok": False, "words": words})
        for rom in sensed.unclaimed:
            words = (
                f"a soil temperature sensor {rom} answers that no head has; name it in the settings' heads"
            )
            found.append({"sensor": rom, "ok": False, "words": words})
        return found

    def _start_soil(self, sensed: Sensed) -> "tuple[list[bytes], SensorError | None]":
        """Begin a conversion: the sensors on the bus where a head leaves open which is its own."""
        bus = self._hardware.one_wire
        roms: list[bytes] = []
        trouble: SensorError | None = None
        try:
            roms = ds18b20.find(bus)
        except SensorError as error:
            trouble = error
        claimed = [head["one_wire"] for head in self._heads if head["one_wire"]]
        open_heads = len(self._heads) - len(claimed)
        unclaimed = [rom for rom in roms if ds18b20.rom_text(rom) not in claimed]
        if len(unclaimed) > open_heads or open_heads > 1:
            sensed.unclaimed = [ds18b20.rom_text(rom) for rom in unclaimed]
        try:
            ds18b20.start(bus)
        except SensorError as error:
            trouble = error
        return unclaimed, trouble

    def _read_soil(self, sensed: Sensed, unclaimed: list[bytes], trouble: "SensorError | None") -> None:
        again = True
        for head in self._heads:
            try:
                rom = self._rom(head, unclaimed, trouble)
                try:
                    temp_c = ds18b20.read(self._hardware.one_wire, rom)
                except ds18b20.PowerUpError:
                    if not again:
                        raise
                    again = False
                    ds18b20.start(self._hardware.one_wire)
                    self._wait_ms(ds18b20.CONVERSION_MS)
                    temp_c = ds18b20.read(self._hardware.one_wire, rom)
                sensed.values[head["number"], "soil_temperature"] = temp_c
            except (SensorError, ValueError) as error:
                _fault(sensed, head["number"], "soil_temperature", error)

    def _rom(self, head: "dict[str, Any]", unclaimed: list[bytes], trouble: "SensorError | None") -> bytes:
        if head["one_wire"]:
            return ds18b20.rom_bytes(head["one_wire"])
        if trouble is not None:
            raise trouble
        open_heads = [other for other in self._heads if not other["one_wire"]]
        if not unclaimed:
            raise SensorError("DS18B20", "no sensor answers; is one connected?")
        if len(unclaimed) > 1 or len(open_heads) > 1:
            raise SensorError("DS18B20", "several could be this one; name it in the settings' heads")
        return unclaimed[0]

    def _read_moisture(self, sensed: Sensed) -> None:
        hardware = self._hardware
        for head in self._heads:
            if head["moisture"] is None:
                continue
            try:
                adc = hardware.moisture(head["moisture"])
                sensed.values[head["number"], "moisture_voltage"] = capacitive.read(
                    adc, hardware.moisture_scale, hardware.moisture_most_v
                )
            except (SensorError, OSError) as error:
                _fault(sensed, head["number"], "moisture_voltage", error)

    def _read_air(self, sensed: Sensed) -> None:
        """The first air sensor that gives values; else what one that is there but fails says."""
        i2c, trouble = self._hardware.i2c, None
        for driver, addresses in (
            (sht4x, sensirion.ADDRESSES),
            (sht3x, sensirion.ADDRESSES),
            (bme280, bme280.ADDRESSES),
        ):
            for address in addresses:
                try:
                    temp_c, rh_pct = driver.read(i2c, self._wait_ms, address)
                except SensorError as error:
                    if trouble is None or "no answer" in trouble.why:
                        trouble = error
                    continue
                sensed.values[0, "air_temperature"] = temp_c
                sensed.values[0, "relative_humidity"] = rh_pct
                return
        if trouble is not None:
            _fault(sensed, 0, "air_temperature", trouble)


def label(head: "int | None", quantity: str) -> str:
    """What a person calls a sensor."""
    if head is None:
        return quantity
    if head == 0:
        return "air sensor"
    return f"head {head} {'moisture' if quantity == 'moisture_voltage' else 'soil temperature'}"


def _answer(quantity: str, value: float) -> str:
    return f"answers: {value:.2f} {UNITS[quantity]}"


def _fault(sensed: Sensed, head: "int | None", quantity: str, error: Exception) -> None:
    why = error.why if isinstance(error, SensorError) else str(error)
    sensed.faults.append(f"{label(head, quantity)}: {why}")
