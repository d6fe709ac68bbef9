"""A probe's hardware on CPython: the interpreter's bus fakes behind what `probe.board.Hardware` offers."""

from tests.firmware.waiting import Ticks
from tests.interpreter.fakes.buses import Ds18b20, I2cBus, OneWireLine, Registers, Sht


class Adc:
    """An input at a steady voltage."""

    def __init__(self, uv: int) -> None:
        self.uv = uv

    def read_uv(self) -> int:
        return self.uv


class Hardware:
    """Sensors that answer only while they have power; counts how often they were powered."""

    moisture_scale, moisture_most_v, battery_scale = 430 / 330, 2.5, 2.0

    def __init__(
        self,
        ticks: Ticks,
        *,
        soil: tuple[Ds18b20, ...] = (),
        air: dict[int, Sht | Registers] | None = None,
        moisture_uv: tuple[int, ...] = (1_500_000, 1_200_000),
        battery_uv: int = 1_955_000,
        shorted: bool = False,
    ) -> None:
        self.on, self.powered = False, 0
        self.one_wire = OneWireLine(list(soil), lambda: ticks.passed_ms, lambda: self.on, shorted)
        self.i2c = I2cBus(air or {}, lambda: ticks.passed_ms, lambda: self.on)
        self.battery = Adc(battery_uv)
        self._moisture_uv = moisture_uv

    def power(self, on: bool) -> None:
        self.powered += on and not self.on
        self.on = on

    def moisture(self, place: int) -> Adc:
        return Adc(self._moisture_uv[place] if self.on else 0)
