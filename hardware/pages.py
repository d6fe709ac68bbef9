"""The pages and pictures of this folder that code writes: `make hardware` writes them, a test compares.

`python -m hardware.pages` writes pages and drawings; with `--print` OpenSCAD builds the printed parts too.
"""

import sys
from collections.abc import Mapping
from pathlib import Path

import vl_convert

from hardware import housing, levels, placing, power, wiring
from hardware.parts import PRICED_ON, parts, table, total_usd
from probe.boards import BOARDS, Board

HERE = Path(__file__).parent
BUILD = HERE.parent / "build" / "hardware"
DRAWN = (("wiring-one-head.svg", "esp32-c3", 1), ("wiring-two-heads.svg", "esp32-c3", 2))
DRAWN_FOUR = ("wiring-four-heads.svg", "esp32-c3-four", 4)
READ_MIN = (5, 10, 20, 30)
SEND_MIN = (10, 30, 60, 180, 360)
GOAL_DAYS = 270


def pin_table() -> str:
    """Every board's pins, as a Markdown table."""
    named = list(BOARDS.values())
    roles = list(dict.fromkeys(role for board in named for role in board.roles()))
    lines = [
        "| pin for | " + " | ".join(f"`{board.name}`" for board in named) + " |",
        "|---" * (len(named) + 1) + "|",
    ]
    for role in roles:
        cells = (f"GPIO{board.roles()[role]}" if role in board.roles() else "" for board in named)
        lines.append(f"| {role.replace('_', ' ')} | " + " | ".join(cells) + " |")
    lines.append("| most heads | " + " | ".join(str(board.most_heads) for board in named) + " |")
    lines.append("| never used: strapping | " + " | ".join(_pins(board.strapping) for board in named) + " |")
    lines.append("| never measured: ADC2 | " + " | ".join(_pins(board.adc2) for board in named) + " |")
    return "\n".join(lines)


def _pins(numbers: tuple[int, ...]) -> str:
    return ", ".join(str(number) for number in numbers)


def levels_table() -> str:
    """What the pins see and feed, as a Markdown table."""
    rows = []
    for name, heads in (("esp32-c3", 1), ("esp32-c3", 2), ("esp32-c3-four", 4)):
        board = BOARDS[name]
        feed = "the pin itself" if board.sensor_power_on else "Q1"
        load_ma = levels.sensor_current_a(heads) * 1e3
        rows.append(f"| {heads} | {feed} | {load_ma:.1f} mA | {levels.sensor_supply_v(board, heads):.2f} V |")
    return "\n".join(
        ("| heads | fed by | draws at most | sensors get at least |", "|---:|---|---:|---:|", *rows)
    )


def divider_words(board: Board) -> str:
    """The two dividers in one paragraph."""
    moisture_v = levels.pin_v(levels.MOISTURE_SENSOR_MOST_V, board.moisture_divider_ohm)
    cell_v = levels.pin_v(levels.CELL_FULL_V, board.battery_divider_ohm)
    leak_ua = levels.divider_leak_ua(levels.CELL_FULL_V, board.battery_divider_ohm)
    return (
        f"The {board.chip} measures up to {board.adc_most_v:g} V. The moisture sensor gives up to "
        f"{levels.MOISTURE_SENSOR_MOST_V:g} V: {wiring.ohms(board.moisture_divider_ohm[0])} over "
        f"{wiring.ohms(board.moisture_divider_ohm[1])} make {moisture_v:.2f} V of it. A full cell of "
        f"{levels.CELL_FULL_V:g} V becomes {cell_v:.2f} V behind two resistors of "
        f"{wiring.ohms(board.battery_divider_ohm[0])}, which draw {leak_ua:.1f} µA day and night. "
        "The firmware "
        "multiplies back, so what it sends are volts at the sensor and at the cell."
    )


def headline_table() -> str:
    """Days on one cell at the default settings, for each signal, as a Markdown table."""
    lines = ["| signal | days with one head | days with four |", "|---|---:|---:|"]
    for signal in power.SIGNALS:
        days = (power.life_days(power.Use(heads=heads, signal=signal)) for heads in (1, 4))
        cells = " | ".join(f"**{day:.0f}**" if day >= GOAL_DAYS else f"{day:.0f}" for day in days)
        lines.append(f"| {signal.name} ({signal.says}) | {cells} |")
    return "\n".join(lines)


def life_table() -> str:
    """Days on one cell for reading interval, send interval and signal, as a Markdown table."""
    signals = " | ".join(f"{signal.name} ({signal.says})" for signal in power.SIGNALS)
    lines = [f"| reading every | sending every | {signals} |", "|---:|---:|" + "---:|" * len(power.SIGNALS)]
    for read_min in READ_MIN:
        for send_min in SEND_MIN:
            if send_min % read_min:
                continue
            days = [
                power.life_days(power.Use(read_min * 60.0, send_min * 60.0, signal))
                for signal in power.SIGNALS
            ]
            cells = " | ".join(f"**{day:.0f}**" if day >= GOAL_DAYS else f"{day:.0f}" for day in days)
            lines.append(f"| {read_min} min | {_span(send_min)} | {cells} |")
    return "\n".join(lines)


def _span(minutes: int) -> str:
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h"


def figures_table() -> str:
    """Every figure of the power budget with its source."""
    lines = ["| what | value | how known | source |", "|---|---:|---|---|"]
    for figure in power.FIGURES.values():
        value = f"{figure.value:.3g} {figure.unit}"
        lines.append(f"| {figure.says} | {value} | {figure.kind} | {figure.source} |")
    return "\n".join(lines)


def power_page() -> str:
    """`power.md`."""
    use = power.Use()
    weak_days = power.life_days(power.Use(send_every_s=3 * 3600.0, signal=power.SIGNALS[-1]))
    lit_days = round(power.life_days(power.Use(power_light=True)))
    shares = "\n".join(f"| {name} | {mah:.2f} |" for name, mah in power.use_mah(use).items())
    signals = ", ".join(
        f"{signal.name} ×{signal.times:g} with {signal.failing:.0%} of sends failing"
        for signal in power.SIGNALS
    )
    return f"""# How long a cell lasts

Written by `make hardware` from `hardware/power.py`; nothing here is typed by hand.

A probe that reads every {use.read_every_s / 60:.0f} minutes, sends every {_span(int(use.send_every_s // 60))}
and, because water is needed, {use.urgent_a_day:.0f} times a day at once, on one 18650 of
{power.CELL.rated_mah:,.0f} mAh of which {power.CELL.usable:.0%} is used, its self-discharge counted:

{headline_table()}

**The goal of {GOAL_DAYS} days is for a strong signal.** With a fair one and one head it is just met on paper,
which is within the error of the figures below. With a weak one it does not hold: send every 3 h
({weak_days:.0f} days), or move the access point. With the board's power light left on, one head and a strong
signal: {lit_days} days, so remove it.

![Days on one cell against how often the probe sends, for four reading intervals and three signals](power.svg)

Bold: {GOAL_DAYS} days or more. The dashed line in the picture is the same.

{life_table()}

A weak signal costs more than anything else: move the access point or the probe before you send less often.

## What a day costs

| what | mAh a day |
|---|---:|
{shares}
| self-discharge of the cell | {power.self_discharge_mah(power.CELL):.2f} |

One reading takes {power.read_mc(use.heads):.0f} mC, one send {power.send_mc(use.signal):.0f} mC on top, sleep
{power.sleep_ua():.0f} µA.

## The figures, and how far to trust them

What says “assumption” or “from memory” has not been measured on a probe of this kind: a day with a current
meter is worth more than this page.

{figures_table()}

How the signal changes the time on air is our assumption: {signals}; a failed send costs
{power.ALLOWED_S:.0f} s of radio, the firmware's limit for joining. Cold is not in here: at 0 °C a cell gives
perhaps a tenth less (from memory).
"""


def power_chart() -> str:
    """`power.svg`: days against send interval, a line for each reading interval, a panel for each signal."""
    rows = [
        {
            "signal": f"{signal.name}: {signal.says}",
            "send": _span(send_min),
            "read": f"{read_min} min",
            "days": round(power.life_days(power.Use(read_min * 60.0, send_min * 60.0, signal)), 1),
        }
        for signal in power.SIGNALS
        for read_min in READ_MIN
        for send_min in SEND_MIN
        if send_min % read_min == 0
    ]
    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "background": "#ffffff",
        "padding": 12,
        "data": {"values": rows},
        "facet": {
            "column": {
                "field": "signal",
                "sort": [f"{signal.name}: {signal.says}" for signal in power.SIGNALS],
                "header": {"title": None, "labelFontSize": 14, "labelFontWeight": "bold"},
            }
        },
        "spec": {
            "width": 220,
            "height": 260,
            "layer": [
                {
                    "mark": {"type": "line", "point": {"size": 55}, "strokeWidth": 2.5},
                    "encoding": {
                        "x": {
                            "field": "send",
                            "type": "ordinal",
                            "sort": [_span(send_min) for send_min in SEND_MIN],
                            "title": "sending every",
                            "axis": {"labelAngle": 0},
                        },
                        "y": {"field": "days", "type": "quantitative", "title": "days on one 18650"},
                        "color": {
                            "field": "read",
                            "type": "nominal",
                            "sort": [f"{read_min} min" for read_min in READ_MIN],
                            "title": "reading every",
                            "scale": {"range": ["#b3261e", "#1d2a33", "#2b7a78", "#c98a00"]},
                        },
                    },
                },
                {
                    "mark": {"type": "rule", "strokeDash": [6, 4], "color": "#5b6770"},
                    "encoding": {"y": {"datum": GOAL_DAYS}},
                },
            ],
        },
        "config": {
            "axis": {"labelFontSize": 13, "titleFontSize": 14, "gridColor": "#eceef0"},
            "legend": {"labelFontSize": 13, "titleFontSize": 13, "orient": "bottom"},
        },
    }
    drawn: str = vl_convert.vegalite_to_svg(spec)
    return drawn


def filled(text: str, blocks: Mapping[str, str]) -> str:
    """A page with what stands between `<!-- name -->` and `<!-- /name -->` replaced."""
    for name, block in blocks.items():
        opening, closing = f"<!-- {name} -->\n", f"<!-- /{name} -->"
        if text.count(opening) != 1 or text.count(closing) != 1:
            raise ValueError(f"the page needs one block {name}, from {opening.strip()} to {closing}")
        before, rest = text.split(opening)
        text = f"{before}{opening}\n{block}\n\n{closing}{rest.split(closing)[1]}"
    return text


def readme(text: str) -> str:
    """`README.md` with its tables written again."""
    listed = parts()
    said = f"Costs: {PRICED_ON}, our estimate for single pieces by mail order, not a quotation."
    cost = f"{table(listed)}\n\n{said}"
    one_usd, four_usd = (total_usd(listed, heads) for heads in (1, 4))
    total = (
        f"Parts for one head: about US$ {one_usd:.0f}; for four heads: about US$ {four_usd:.0f} "
        f"({PRICED_ON}). The cell costs most."
    )
    blocks = {
        "total": total,
        "pins": pin_table(),
        "parts": cost,
        "levels": f"{levels_table()}\n\n{divider_words(BOARDS['esp32-c3'])}",
    }
    return filled(text, blocks)


def written() -> dict[str, str]:
    """Every page and drawing by file name, as it should stand in this folder."""
    drawn = {name: wiring.drawing(BOARDS[board], heads) for name, board, heads in (*DRAWN, DRAWN_FOUR)}
    return {
        **drawn,
        **placing.drawings(),
        "power.svg": power_chart(),
        "power.md": power_page(),
        "README.md": readme((HERE / "README.md").read_text(encoding="utf-8")),
    }


def print_parts() -> None:
    """The printed parts into `build/hardware`, and the picture of the housing taken apart."""
    for part in housing.PRINTED:
        housing.build(part, BUILD / f"{part}.stl")
    for part in ("hood", "base"):  # wider for more glands
        housing.build(part, BUILD / f"{part}-four-heads.stl", heads=4)
    housing.build("apart", BUILD / "apart.stl")
    picture = housing.picture(housing.triangles(BUILD / "apart.stl"))
    (HERE / "housing.png").write_bytes(housing.png(picture))


def main() -> None:
    """Write everything that is written by code."""
    for name, text in written().items():
        (HERE / name).write_text(text, encoding="utf-8")
        print(f"hardware/{name}")
    if "--print" in sys.argv[1:]:
        try:
            print_parts()
        except housing.HousingError as error:
            sys.exit(str(error))
        print("build/hardware/*.stl, hardware/housing.png")


if __name__ == "__main__":
    main()
