"""The one pin table: what firmware, drawing, parts list and text know of a board.

The moisture sensors' output reaches a pin through `moisture_divider_ohm` (upper, lower), because an ESP32-C3
measures no more than 2.5 V; multiply what the pin shows by `moisture_scale` to have the sensor's own volts.
The battery likewise, by `battery_scale`.

Sensors get power from `sensor_power`. Where `sensor_power_on` is 1 the pin itself feeds them (one or two
heads): set it with `drive=Pin.DRIVE_3`, the strongest, else the voltage sags. Where it is 0 the pin pulls the
gate of a P-channel MOSFET low; a resistor holds the gate high, so sleep and reset mean off.

Heads 1, 2 … are read from `moisture[0]`, `moisture[1]` …, one pin a head. A board with `mux_select` has one
pin for all of them behind a 74HC4052: head n is channel n - 1, `mux_select[0]` the lower bit. Power the
sensors first, then select, wait `mux_settle_ms`, read; leave the select pins low before power goes off.

Which pins may be used for what is from Espressif's documents: ESP-IDF Programming Guide, "GPIO & RTC GPIO"
(one table per chip), and the data sheets of the ESP32-C3, ESP32-S3 and ESP32 series, "Strapping Pins".
"""


class Board:
    """A board's pins (GPIO numbers) and what its chip can do with them."""

    def __init__(
        self,
        *,
        name: str,
        chip: str,
        says: str,
        one_wire: int,
        sensor_power: int,
        sensor_power_on: int,
        moisture: tuple[int, ...],
        battery: int,
        i2c_sda: int,
        i2c_scl: int,
        led: int,
        strapping: tuple[int, ...],
        flash: tuple[int, ...],
        usb: tuple[int, ...],
        console: tuple[int, ...],
        input_only: tuple[int, ...],
        adc1: tuple[int, ...],
        adc2: tuple[int, ...],
        wake_capable: tuple[int, ...],
        mux_select: tuple[int, ...] = (),
        adc_most_v: float = 2.5,
    ) -> None:
        self.name = name
        self.chip = chip
        self.says = says
        self.one_wire = one_wire
        self.sensor_power = sensor_power
        self.sensor_power_on = sensor_power_on
        self.moisture = moisture
        self.mux_select = mux_select
        self.battery = battery
        self.i2c_sda = i2c_sda
        self.i2c_scl = i2c_scl
        self.led = led
        self.strapping = strapping
        self.flash = flash
        self.usb = usb
        self.console = console
        self.input_only = input_only
        self.adc1 = adc1
        self.adc2 = adc2
        self.wake_capable = wake_capable
        self.adc_most_v = adc_most_v
        self.led_on = 1
        self.mux_settle_ms = 60
        self.one_wire_pull_up_ohm = 4_700
        self.moisture_divider_ohm = (100_000, 330_000)
        self.battery_divider_ohm = (470_000, 470_000)

    @property
    def most_heads(self) -> int:
        """How many heads the board can read."""
        return 2 ** len(self.mux_select) if self.mux_select else len(self.moisture)

    @property
    def moisture_scale(self) -> float:
        """Volts at the sensor's output for one volt at the pin."""
        upper_ohm, lower_ohm = self.moisture_divider_ohm
        return (upper_ohm + lower_ohm) / lower_ohm

    @property
    def battery_scale(self) -> float:
        """Volts at the cell for one volt at the pin."""
        upper_ohm, lower_ohm = self.battery_divider_ohm
        return (upper_ohm + lower_ohm) / lower_ohm

    def roles(self) -> dict[str, int]:
        """What each pin in use is for, by a name that drawing and text share."""
        named = {
            "one_wire": self.one_wire,
            "sensor_power": self.sensor_power,
            "battery": self.battery,
            "i2c_sda": self.i2c_sda,
            "i2c_scl": self.i2c_scl,
            "led": self.led,
        }
        for place, pin in enumerate(self.moisture):
            named["moisture_%d" % (place + 1)] = pin
        for place, pin in enumerate(self.mux_select):
            named["mux_select_%d" % place] = pin
        return named


# GPIO5 is ADC2 on this chip, which does not work beside Wi-Fi: it drives the light, and is never measured.
# GPIO2, GPIO8 (the light on many boards) and GPIO9 (the boot button) decide how the chip starts: unused.
_C3 = {
    "chip": "ESP32-C3",
    "one_wire": 4,
    "sensor_power": 10,
    "battery": 3,
    "i2c_sda": 6,
    "i2c_scl": 7,
    "led": 5,
    "strapping": (2, 8, 9),
    "flash": (11, 12, 13, 14, 15, 16, 17),
    "usb": (18, 19),
    "console": (20, 21),
    "input_only": (),
    "adc1": (0, 1, 2, 3, 4),
    "adc2": (5,),
    "wake_capable": (0, 1, 2, 3, 4, 5),
}

BOARDS = {
    board.name: board
    for board in (
        Board(
            name="esp32-c3",
            says="small ESP32-C3 board or bare module; one or two heads",
            sensor_power_on=1,
            moisture=(0, 1),
            **_C3,  # type: ignore[arg-type]
        ),
        Board(
            name="esp32-c3-four",
            says="the same with a 74HC4052 switch in front of one pin; up to four heads",
            sensor_power_on=0,
            moisture=(0,),
            mux_select=(1, 21),
            **_C3,  # type: ignore[arg-type]
        ),
        Board(
            name="esp32-s3",
            chip="ESP32-S3",
            says="ESP32-S3 board; up to four heads",
            one_wire=7,
            sensor_power=10,
            sensor_power_on=0,
            moisture=(1, 2, 4, 5),
            battery=6,
            i2c_sda=8,
            i2c_scl=9,
            led=21,
            strapping=(0, 3, 45, 46),
            flash=(26, 27, 28, 29, 30, 31, 32, 33, 34, 35, 36, 37),
            usb=(19, 20),
            console=(43, 44),
            input_only=(),
            adc1=(1, 2, 3, 4, 5, 6, 7, 8, 9, 10),
            adc2=(11, 12, 13, 14, 15, 16, 17, 18, 19, 20),
            wake_capable=tuple(range(22)),
        ),
        Board(
            name="esp32",
            chip="ESP32",
            says="classic ESP32 board; up to four heads",
            one_wire=18,
            sensor_power=23,
            sensor_power_on=0,
            moisture=(32, 33, 34, 35),
            battery=36,
            i2c_sda=21,
            i2c_scl=22,
            led=19,
            strapping=(0, 2, 5, 12, 15),
            flash=(6, 7, 8, 9, 10, 11, 16, 17),
            usb=(),
            console=(1, 3),
            input_only=(34, 35, 36, 37, 38, 39),
            adc1=(32, 33, 34, 35, 36, 37, 38, 39),
            adc2=(0, 2, 4, 12, 13, 14, 15, 25, 26, 27),
            wake_capable=(0, 2, 4, 12, 13, 14, 15, 25, 26, 27, 32, 33, 34, 35, 36, 37, 38, 39),
            adc_most_v=2.45,
        ),
    )
}

DEFAULT = "esp32-c3"
"""The board a probe has until its settings say otherwise."""
