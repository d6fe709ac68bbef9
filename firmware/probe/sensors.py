"""The probe's sensors as the wake cycle takes them: start all, wait once, read each.

Each has `name`, `start()`, `ready_ms` and `read()`, which gives values by (head, wire name) or raises
SensorError: what one does not give costs that value only. `hardware` is `probe.board.Hardware` or what acts
like it.
"""

from drivers import SensorError, battery, bme280, capacitive, ds18b20, sensirion, sht3x, sht4x

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

WARM_MS = 10
"""From power on until a digital sensor answers."""
_UNITS = {"moisture_voltage": "V", "relative_humidity": "%", "battery": "V"}


class SoilBus:
    """The 1-Wire bus that the heads share: searched once and started once for each instant."""

    def __init__(self, hardware: "Any", heads: "list[dict[str, Any]]", pause: "Callable[[int], Any]") -> None:
        self.unclaimed: list[bytes] = []
        self._hardware = hardware
        self._claimed = [head["one_wire"] for head in heads if head.get("one_wire")]
        self._open_heads = len(heads) - len(self._claimed)
        self._pause = pause
        self._trouble: SensorError | None = None
        self._started = self._tried_again = False

    def start(self) -> None:
        """Find the sensors and have all measure, unless that was done for this instant. Never raises."""
        if self._started:
            return
        self._started, self._tried_again, self._trouble = True, False, None
        bus = self._hardware.one_wire
        self.unclaimed = []
        try:
            if self._open_heads:
                found = ds18b20.find(bus)
                self.unclaimed = [rom for rom in found if ds18b20.rom_text(rom) not in self._claimed]
            ds18b20.start(bus)
        except SensorError as error:
            self._trouble = error

    def read(self, one_wire: "str | None") -> float:
        """Temperature [°C] of the sensor with this number, or of the one that no other head has."""
        self._started = False
        if self._trouble is not None:
            raise self._trouble
        rom = self._only_one() if one_wire is None else ds18b20.rom_bytes(one_wire)
        bus = self._hardware.one_wire
        try:
            return ds18b20.read(bus, rom)
        except ds18b20.PowerUpError:
            if self._tried_again:
                raise
            self._tried_again = True  # the supply dipped: all measure once more
            ds18b20.start(bus)
            self._pause(ds18b20.CONVERSION_MS)
            return ds18b20.read(bus, rom)

    def _only_one(self) -> bytes:
        if not self.unclaimed:
            raise SensorError("DS18B20", "no sensor answers; is one connected?")
        if len(self.unclaimed) > 1 or self._open_heads > 1:
            raise SensorError("DS18B20", "several could be this one; name it in the settings' heads")
        return self.unclaimed[0]


class SoilTemperature:
    """Soil temperature of one head."""

    ready_ms = ds18b20.CONVERSION_MS

    def __init__(self, bus: SoilBus, head: "dict[str, Any]") -> None:
        self.number: int = head["number"]
        self.name = f"head {self.number} soil temperature"
        self.bus = bus
        self.start = bus.start
        self._one_wire = head.get("one_wire")

    def read(self) -> "dict[tuple[int, str], float]":
        """Temperature [°C]. Raises SensorError."""
        return {(self.number, "soil_temperature"): self.bus.read(self._one_wire)}


class Moisture:
    """Volts of the moisture sensor of one head."""

    ready_ms = capacitive.SETTLE_MS

    def __init__(self, hardware: "Any", head: "dict[str, Any]") -> None:
        self.number: int = head["number"]
        self.name = f"head {self.number} moisture"
        self._hardware = hardware
        self._place: int = head["moisture"]

    def start(self) -> None:
        """Nothing: it measures while it has power."""

    def read(self) -> "dict[tuple[int, str], float]":
        """Volts at the sensor's output. Raises SensorError."""
        hardware = self._hardware
        adc = hardware.moisture(self._place)
        volts = capacitive.read(adc, hardware.moisture_scale, hardware.moisture_most_v)
        return {(self.number, "moisture_voltage"): volts}


class Air:
    """Air temperature and humidity from whichever of the known sensors answers."""

    ready_ms = 0
    name = "air sensor"

    def __init__(self, hardware: "Any", pause: "Callable[[int], Any]") -> None:
        self._hardware = hardware
        self._pause = pause

    def start(self) -> None:
        """Nothing: it measures in a few milliseconds when asked."""

    def read(self) -> "dict[tuple[int, str], float]":
        """Temperature [°C] and relative humidity [%]. Raises SensorError."""
        trouble: SensorError | None = None
        for measure, addresses in (
            (sht4x.read, sensirion.ADDRESSES),
            (sht3x.read, sensirion.ADDRESSES),
            (bme280.read, bme280.ADDRESSES),
        ):
            for address in addresses:
                try:
                    temp_c, rh_pct = measure(self._hardware.i2c, self._pause, address)
                except SensorError as error:
                    if trouble is None or trouble.why.startswith("no answer"):
                        trouble = error
                    continue
                return {(0, "air_temperature"): temp_c, (0, "relative_humidity"): rh_pct}
        raise trouble or SensorError(self.name, "no answer; is it connected?")


class Battery:
    """Volts of the battery."""

    ready_ms = 0
    name = "battery"

    def __init__(self, hardware: "Any") -> None:
        self._hardware = hardware

    def start(self) -> None:
        """Nothing: its divider is always connected."""

    def read(self) -> "dict[tuple[int, str], float]":
        """Volts. Raises SensorError."""
        return {(0, "battery"): battery.read(self._hardware.battery, self._hardware.battery_scale)}


def sensors(hardware: "Any", heads: "list[dict[str, Any]]", pause: "Callable[[int], Any]") -> "list[Any]":
    """The sensors of these heads (settings), the air sensor and the battery."""
    bus = SoilBus(hardware, heads, pause)
    made: list[Any] = [SoilTemperature(bus, head) for head in heads]
    made += [Moisture(hardware, head) for head in heads if head.get("moisture") is not None]
    made += [Air(hardware, pause), Battery(hardware)]
    return made


def read_all(
    made: "list[Any]", power: "Callable[[bool], Any]", pause: "Callable[[int], Any]"
) -> "tuple[dict[tuple[int, str], float], list[tuple[str, str]]]":
    """Every sensor once: values by (head, wire name), and (sensor, why) of those that gave none."""
    values: dict[tuple[int, str], float] = {}
    faults: list[tuple[str, str]] = []
    power(True)
    try:
        pause(WARM_MS)
        for sensor in made:
            sensor.start()
        pause(max([sensor.ready_ms for sensor in made], default=0))
        for sensor in made:
            try:
                values.update(sensor.read())
            except Exception as error:
                faults.append((sensor.name, error.why if isinstance(error, SensorError) else repr(error)))
    finally:
        power(False)
    return values, faults


def check(
    made: "list[Any]", power: "Callable[[bool], Any]", pause: "Callable[[int], Any]"
) -> "list[dict[str, Any]]":
    """Every sensor and whether it answers, in plain words: {"sensor", "ok", "words"}."""
    values, faults = read_all(made, power, pause)
    found: list[dict[str, Any]] = []
    for (head, quantity), value in sorted(values.items()):
        where = f"head {head} " if head else ""
        words = f"answers: {value:.2f} {_UNITS.get(quantity, '°C')}"
        found.append({"sensor": where + quantity.replace("_", " "), "ok": True, "words": words})
    found += [{"sensor": sensor, "ok": False, "words": why} for sensor, why in faults]
    for bus in [sensor.bus for sensor in made if isinstance(sensor, SoilTemperature)][:1]:
        if len(bus.unclaimed) > 1:
            for rom in bus.unclaimed:
                words = "answers, and no head has it yet; name it in the settings' heads"
                found.append({"sensor": "soil sensor " + ds18b20.rom_text(rom), "ok": False, "words": words})
    return found
