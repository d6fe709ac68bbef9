"""The wiring, drawn from the firmware's pin table.

`wires()` says which pin goes where; `drawing()` draws just that, so that neither can differ from the table.
"""

from typing import Literal, NamedTuple

import schemdraw
import schemdraw.elements as elm

from probe.boards import Board

INK = "#1d2a33"
POWERED = "#b3261e"
CELL = "#8a5a00"
SIGNAL = "#14532d"
PAPER = "#f4f1ea"
SENSORS = "sensor +"
CELL_PLUS = "cell +"
BOARD_PLUS = "3.3 V"
LEADS = ("+  (red)", "−  (black)")


class Wire(NamedTuple):
    """One pin of the board in use."""

    role: str
    gpio: int
    says: str
    """what the pin is for, in few words"""
    to: tuple[str, ...]
    """the parts it meets first, as they are called on the drawing"""


def wires(board: Board, heads: int) -> list[Wire]:
    """What is soldered to the board's pins for so many heads."""
    if not 1 <= heads <= board.most_heads:
        raise ValueError(f"{board.name} reads 1 to {board.most_heads} heads, not {heads}")
    switched = board.sensor_power_on == 0
    found = [
        Wire("sensor_power", board.sensor_power, "sensor power", ("Q1", "R7") if switched else (SENSORS,)),
        Wire("one_wire", board.one_wire, "soil temperature", ("R1", *_each("T", heads))),
    ]
    if board.mux_select:
        found.append(Wire("moisture_1", board.moisture[0], "soil moisture", ("R4", "R5", "C4", "U4")))
        found += [
            Wire(
                f"mux_select_{bit}",
                pin,
                f"choose, bit {bit}",
                ("R8", "U4") if pin in board.console else ("U4",),
            )
            for bit, pin in enumerate(board.mux_select)
        ]
    else:
        found += [
            Wire(
                f"moisture_{number}",
                board.moisture[number - 1],
                "soil moisture",
                ("R4", "R5", "C4", f"M{number}"),
            )
            for number in range(1, heads + 1)
        ]
    return [
        *found,
        Wire("i2c_sda", board.i2c_sda, "air, data", ("S1",)),
        Wire("i2c_scl", board.i2c_scl, "air, clock", ("S1",)),
        Wire("battery", board.battery, "cell voltage", ("R2", "R3", "C3")),
        Wire("led", board.led, "light", ("R6", "D1")),
    ]


def _each(letter: str, heads: int) -> tuple[str, ...]:
    return tuple(f"{letter}{number}" for number in range(1, heads + 1))


def _span(letter: str, heads: int) -> str:
    return f"{letter}1" if heads == 1 else f"{letter}1–{letter}{heads}"


def ohms(value_ohm: int) -> str:
    """A resistance as it is printed: 4.7 kΩ."""
    return f"{value_ohm / 1000:g} kΩ" if value_ohm >= 1000 else f"{value_ohm} Ω"


Pin = tuple[float, str, Literal["left", "right"]]
"""A pin of a box: how high, its name, on which side."""
ROW = 2.9
"""Height of one row of the drawing, in its own units."""
BOARD_WIDTH = 4.6
OUT = 1.6
"""How far a wire runs before the first part."""


class _Sheet:
    """A drawing in the making."""

    def __init__(self, board: Board, heads: int) -> None:
        self.board = board
        self.heads = heads
        self.wires = wires(board, heads)
        schemdraw.use("svg")
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(fontsize=12, font="sans-serif", color=INK, bgcolor="white", lw=1.6, margin=0.4)

    def line(self, start: tuple[float, float], end: tuple[float, float], color: str = SIGNAL) -> None:
        self.drawing += elm.Line().at(start).to(end).color(color)

    def text(self, at: tuple[float, float], words: str, color: str = INK, size: float = 12) -> None:
        self.drawing += elm.Label().theta(0).at(at).label(words, loc="center", fontsize=size, color=color)

    def ground(self, at: tuple[float, float]) -> None:
        self.drawing += elm.Ground().theta(0).at(at)

    def supply(self, at: tuple[float, float], name: str) -> None:
        color = CELL if name == CELL_PLUS else POWERED
        vdd: elm.Element = elm.Vdd()  # type: ignore[no-untyped-call]
        self.drawing += vdd.theta(0).at(at).label(name, color=color, fontsize=12).color(color)

    def part(
        self,
        kind: type[elm.Element2Term],
        start: tuple[float, float],
        end: tuple[float, float],
        words: str,
        loc: str,
    ) -> None:
        self.drawing += kind().at(start).to(end).label(words, loc=loc, fontsize=12)

    def box(
        self,
        at: tuple[float, float],
        size: tuple[float, float],
        words: str,
        pins: list[Pin],
    ) -> None:
        """A box with its lower left corner at `at`."""
        x, y = at
        width, height = size
        self.drawing += elm.Rect(corner1=(0, 0), corner2=size).theta(0).at(at).fill(PAPER)
        self.text((x + width / 2, y + height - 0.42), words)
        for up, name, side in pins:
            inside = x + 0.2 if side == "left" else x + width - 0.3
            label = elm.Label().theta(0).at((inside, y + up))
            self.drawing += label.label(name, loc="center", fontsize=11, halign=side)


def _sensor(
    sheet: _Sheet, x: float, y: float, words: str, data: tuple[str, ...], supply: tuple[str, str]
) -> None:
    """A sensor whose first data wire comes in at height y: supply above, ground below."""
    step = 0.9
    height = 1.5 + step * (len(data) + 1)
    low = y - step * len(data) - 0.35
    pins: list[Pin] = [(y - low + step, supply[0], "left")]
    pins += [(y - low - step * place, name, "left") for place, name in enumerate(data)]
    pins += [(y - low - step * len(data), supply[1], "left")]
    sheet.box((x, low), (4.4, height), words, pins)
    sheet.line((x, y + step), (x - 0.8, y + step), POWERED)
    sheet.supply((x - 0.8, y + step), SENSORS)
    ground_y = y - step * len(data)
    sheet.line((x, ground_y), (x - 0.8, ground_y), INK)
    sheet.ground((x - 0.8, ground_y))


def _divider(
    sheet: _Sheet, x: float, y: float, names: tuple[str, str, str], values_ohm: tuple[int, int]
) -> float:
    """From a pin: capacitor and lower resistor to ground, then the upper resistor; ends at the x returned."""
    upper, lower, capacitor = names
    sheet.line((x, y), (x + 2.2, y))
    for at_x in (x, x + 1.5):
        sheet.drawing += elm.Dot().at((at_x, y)).color(SIGNAL)
    sheet.part(elm.Capacitor, (x, y), (x, y - 1.5), f"{capacitor}\n100 nF", "top")
    sheet.ground((x, y - 1.5))
    sheet.part(elm.ResistorIEC, (x + 1.5, y), (x + 1.5, y - 1.5), f"{lower}\n{ohms(values_ohm[1])}", "bottom")
    sheet.ground((x + 1.5, y - 1.5))
    sheet.part(elm.ResistorIEC, (x + 2.2, y), (x + 4.2, y), f"{upper}  {ohms(values_ohm[0])}", "top")
    return x + 4.2


def _heights(found: list[Wire]) -> dict[str, float]:
    """At which height each wire leaves the board, from the top down."""
    gap = {
        "sensor_power": 0.0,
        "one_wire": 1.25 * ROW,
        "moisture": 1.25 * ROW,
        "mux_select": 1.3,
        "i2c_sda": 1.3 * ROW,
        "i2c_scl": 0.9,
        "battery": 1.0 * ROW,
        "led": 1.1 * ROW,
    }
    y = 0.0
    heights = {}
    for wire in found:
        y -= gap[wire.role.rstrip("_0123456789")]
        if wire.role == "mux_select_0":
            y -= 1.6  # below the feet of the divider
        if wire.role == "i2c_sda" and "mux_select_0" in heights:
            y -= 1.6  # below the switch's own feet
        heights[wire.role] = y
    return heights


def _power_feed(sheet: _Sheet, y: float) -> None:
    """From the power pin to the sensors' supply."""
    x = OUT
    if sheet.board.sensor_power_on:
        sheet.line((0, y), (x + 1, y), POWERED)
        sheet.supply((x + 1, y), SENSORS)
        sheet.text((x + 5.2, y + 0.1), "the pin itself feeds the sensors", size=11)
        return
    sheet.line((0, y), (x + 2.0, y))
    sheet.drawing += elm.Dot().at((x + 0.6, y)).color(SIGNAL)
    sheet.part(elm.ResistorIEC, (x + 0.6, y), (x + 0.6, y + 1.7), "R7\n100 kΩ", "top")
    sheet.supply((x + 0.6, y + 1.7), BOARD_PLUS)
    sheet.box(
        (x + 2.0, y - 0.75), (3.4, 2.0), "Q1 AO3401", [(0.75, "gate", "left"), (0.75, "drain", "right")]
    )
    sheet.drawing += (
        elm.Label().theta(0).at((x + 3.7, y - 0.42)).label("source: 3.3 V", loc="center", fontsize=11)
    )
    sheet.line((x + 5.4, y), (x + 6.4, y), POWERED)
    sheet.supply((x + 6.4, y), SENSORS)


def _switch(sheet: _Sheet, x: float, heights: dict[str, float]) -> None:
    """The analogue switch and the moisture sensors behind it."""
    top = heights["moisture_1"]
    selects = [(role, y) for role, y in heights.items() if role.startswith("mux_select")]
    low = selects[-1][1] - 0.8
    height = top - low + 1.4
    names: list[Pin] = [(top - low, "13  X", "left")]
    names += [(y - low, f"{10 - bit}  S{bit}", "left") for bit, (_, y) in enumerate(selects)]
    outputs = ((0, "X0  12"), (1, "X1  14"), (2, "X2  15"), (3, "X3  11"))
    sensor_ys = [top + 0.1 - place * 1.15 for place in range(sheet.heads)]
    names += [(sensor_ys[place] - low, name, "right") for place, name in outputs[: sheet.heads]]
    sheet.box((x, low), (4.6, height), "U4  74HC4052", names)
    for wire in sheet.wires:
        if wire.role.startswith("mux_select"):
            y = heights[wire.role]
            if "R8" in wire.to:
                sheet.line((0, y), (OUT, y))
                sheet.part(elm.ResistorIEC, (OUT, y), (OUT + 2, y), "R8  10 kΩ", "top")
                sheet.line((OUT + 2, y), (x, y))
            else:
                sheet.line((0, y), (x, y))
    for place, y in enumerate(sensor_ys):
        sheet.line((x + 4.6, y), (x + 5.4, y))
        sheet.drawing += elm.Rect(corner1=(0, -0.4), corner2=(4.2, 0.4)).theta(0).at((x + 5.4, y)).fill(PAPER)
        sheet.text((x + 7.5, y), f"M{place + 1}  soil moisture")
    notes = (
        ("each also: red → sensor +", POWERED),
        ("and black → ground", INK),
    )
    for line, (words, color) in enumerate(notes):
        sheet.text((x + 7.5, sensor_ys[-1] - 0.8 - 0.5 * line), words, color, 11)
    sheet.line((x + 0.6, low), (x + 0.6, low - 0.3), INK)
    sheet.ground((x + 0.6, low - 0.3))
    sheet.text((x + 2.6, low - 0.5), "ground: 6, 7, 8", size=11)
    sheet.text((x + 3.9, low - 1.1), "16 → sensor +, and C5 100 nF to ground", POWERED, 11)


def _supply_strip(sheet: _Sheet, y: float) -> None:
    """Below the board, from left to right: cell and charger, regulator, the board's 3.3 V."""
    charger_x = -BOARD_WIDTH + 3.6
    in_x = charger_x + 4.4
    out_x = in_x + 3.6
    low = y - 5.6
    sheet.box(
        (charger_x - 3.6, low),
        (3.6, 7.0),
        "U2  TP4056",
        [(5.6, "OUT+", "right"), (4.4, "OUT−", "right"), (2.4, "B+", "right"), (0.9, "B−", "right")],
    )
    sheet.text((charger_x - 1.8, low + 0.3), "charge by its own USB", size=10)
    sheet.line((charger_x, low + 4.4), (charger_x + 0.6, low + 4.4), INK)
    sheet.ground((charger_x + 0.6, low + 4.4))
    cell_x = charger_x + 2.3
    sheet.line((charger_x, low + 2.4), (cell_x, low + 2.4), CELL)
    sheet.line((charger_x, low + 0.9), (cell_x, low + 0.9), INK)
    sheet.part(elm.BatteryCell, (cell_x, low + 2.4), (cell_x, low + 0.9), "B1\n18650", "bottom")
    sheet.line((charger_x, y), (in_x, y), CELL)
    sheet.drawing += elm.Dot().at((charger_x + 0.9, y)).color(CELL)
    sheet.supply((charger_x + 0.9, y), CELL_PLUS)
    sheet.drawing += elm.Dot().at((cell_x, y)).color(CELL)
    sheet.part(elm.Capacitor, (cell_x, y), (cell_x, y - 1.7), "C1\n10 µF", "bottom")
    sheet.ground((cell_x, y - 1.7))
    sheet.box((in_x, y - 1.4), (3.6, 2.6), "U3  HT7833", [(1.4, "in", "left"), (1.4, "out", "right")])
    sheet.line((in_x + 1.8, y - 1.4), (in_x + 1.8, y - 1.7), INK)
    sheet.ground((in_x + 1.8, y - 1.7))
    sheet.line((out_x, y), (out_x + 3.0, y), POWERED)
    sheet.drawing += elm.Dot().at((out_x + 1.2, y)).color(POWERED)
    sheet.part(elm.Capacitor2, (out_x + 1.2, y), (out_x + 1.2, y - 1.7), "C2\n100 µF", "bottom")
    sheet.ground((out_x + 1.2, y - 1.7))
    sheet.supply((out_x + 3.0, y), BOARD_PLUS)


def drawing(board: Board, heads: int) -> str:
    """The wiring of a probe as SVG."""
    sheet = _Sheet(board, heads)
    heights = _heights(sheet.wires)
    bottom = min(heights.values()) - 1.2
    pins: list[Pin] = [(heights[wire.role] - bottom, f"GPIO{wire.gpio}", "right") for wire in sheet.wires]
    top_y = 0.0
    pins += [(top_y - bottom, "3V3", "left"), (top_y - 4.0 - bottom, "GND", "left")]
    sheet.box((-BOARD_WIDTH, bottom), (BOARD_WIDTH, -bottom + 1.6), f"U1  {board.chip}", pins)
    for wire in sheet.wires:
        sheet.drawing += (
            elm.Label()
            .theta(0)
            .at((-0.3, heights[wire.role] - 0.38))
            .label(wire.says, loc="center", fontsize=10, halign="right")
        )
    edge = -BOARD_WIDTH
    sheet.line((edge, top_y), (edge - 0.8, top_y), POWERED)
    sheet.supply((edge - 0.8, top_y), BOARD_PLUS)
    sheet.line((edge, top_y - 4.0), (edge - 0.8, top_y - 4.0), INK)
    sheet.ground((edge - 0.8, top_y - 4.0))
    _supply_strip(sheet, bottom - 2.4)
    _power_feed(sheet, heights["sensor_power"])

    far = OUT + 6.8
    y = heights["one_wire"]
    sheet.line((0, y), (far, y))
    sheet.drawing += elm.Dot().at((OUT + 2.2, y)).color(SIGNAL)
    sheet.part(
        elm.ResistorIEC,
        (OUT + 2.2, y),
        (OUT + 2.2, y + 1.6),
        f"R1\n{ohms(board.one_wire_pull_up_ohm)}",
        "top",
    )
    sheet.supply((OUT + 2.2, y + 1.6), SENSORS)
    joined = "" if heads == 1 else (", both joined" if heads == 2 else f", all {heads} joined")
    _sensor(sheet, far, y, f"{_span('T', heads)}  DS18B20", (f"data  (yellow){joined}",), LEADS)

    for wire in sheet.wires:
        if wire.role.startswith("moisture"):
            y = heights[wire.role]
            sheet.line((0, y), (OUT, y))
            end = _divider(sheet, OUT, y, ("R4", "R5", "C4"), board.moisture_divider_ohm)
            sheet.line((end, y), (far, y))
            if board.mux_select:
                _switch(sheet, far, heights)
            else:
                _sensor(sheet, far, y, f"{wire.to[-1]}  soil moisture", ("out  (yellow)",), LEADS)
    y = heights["i2c_sda"]
    sheet.line((0, y), (far, y))
    sheet.line((0, heights["i2c_scl"]), (far, heights["i2c_scl"]))
    _sensor(sheet, far, y, "S1  SHT40 air", ("SDA", "SCL"), ("VIN", "GND"))
    y = heights["battery"]
    sheet.line((0, y), (OUT, y))
    end = _divider(sheet, OUT, y, ("R2", "R3", "C3"), board.battery_divider_ohm)
    sheet.line((end, y), (end + 0.8, y), CELL)
    sheet.supply((end + 0.8, y), CELL_PLUS)
    y = heights["led"]
    sheet.line((0, y), (OUT, y))
    sheet.part(elm.ResistorIEC, (OUT, y), (OUT + 2, y), "R6  1 kΩ", "top")
    sheet.part(elm.LED, (OUT + 2, y), (OUT + 4, y), "D1", "top")
    sheet.ground((OUT + 4, y))
    image: bytes = sheet.drawing.get_imagedata("svg")
    return image.decode().replace('font-family="sans"', 'font-family="sans-serif"')
