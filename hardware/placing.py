"""Where the sensors go, drawn: in a cell of mix, and the air sensor out of the sun."""

from collections.abc import Iterable

INK = "#1d2a33"
QUIET = "#5b6770"
MIX = "#7a5a3c"
PLASTIC = "#3f4a52"
STEEL = "#c9d1d6"
BOARD = "#2f6b46"
WATERPROOF = "#20262b"
SUN = "#c98a00"
WHITE = "#fbfaf6"


def _text(
    x: float, y: float, lines: Iterable[str], size: int = 15, color: str = INK, anchor: str = "start"
) -> str:
    spans = "".join(
        f'<tspan x="{x}" dy="{size * 1.3 if n else 0}">{line}</tspan>' for n, line in enumerate(lines)
    )
    return f'<text x="{x}" y="{y}" font-size="{size}" fill="{color}" text-anchor="{anchor}">{spans}</text>'


def _lead(x1: float, y1: float, x2: float, y2: float) -> str:
    """A thin line from words to what they are about."""
    return (
        f'<path d="M{x1} {y1} L{x2} {y2}" stroke="{QUIET}" stroke-width="1.2"/>'
        f'<circle cx="{x2}" cy="{y2}" r="3" fill="{QUIET}"/>'
    )


def _stroke(path: str, color: str, width: float, more: str = "") -> str:
    """A line along a path."""
    return f'<path d="{path}" fill="none" stroke="{color}" stroke-width="{width}" {more}/>'


def _block(x: float, y: float, width: float, height: float, radius: float, color: str) -> str:
    """A rectangle with round corners."""
    return f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="{radius}" fill="{color}"/>'


def _cell() -> str:
    """A cell cut open, with both sensors of a head."""
    return "".join(
        (
            _text(30, 40, ["In the cell"], 20),
            # the cell, its mix, a seedling
            _stroke("M120 170 L150 400 L330 400 L360 170", PLASTIC, 6),
            f'<path d="M126 192 L153 396 L327 396 L354 192 Z" fill="{MIX}" fill-opacity="0.85"/>',
            '<path d="M196 192 L196 150 M196 152 C182 150 176 140 176 134 C188 134 196 142 196 152 ',
            'M196 152 C210 150 216 140 216 134 C204 134 196 142 196 152" fill="#5d8f45" stroke="#3c6b2a"/>',
            # moisture sensor: blade in the mix, electronics above in heat-shrink
            '<g transform="translate(278 118) rotate(8)">',
            _block(-16, 40, 32, 186, 3, BOARD),
            f'<path d="M-16 222 L0 246 L16 222 Z" fill="{BOARD}"/>',
            _block(-19, -10, 38, 66, 6, WATERPROOF),
            _stroke("M0 -10 C0 -60 70 -60 84 -20 C96 16 120 -30 190 -40", WATERPROOF, 5),
            _stroke("M-20 76 L20 76", WHITE, 2.5, 'stroke-dasharray="5 3"'),
            "</g>",
            # temperature sensor, slanting to the middle of the cell
            '<g transform="translate(222 296) rotate(-38)">',
            _block(-62, -7, 62, 14, 6, STEEL),
            _stroke("M0 0 L10 0", WATERPROOF, 6),
            "</g>",
            _stroke("M229 289 C250 262 236 200 244 172 C250 150 266 152 272 164", WATERPROOF, 5),
            _lead(404, 170, 290, 140),
            _text(
                410,
                166,
                ["electronics above the mix, in glue-lined", "heat-shrink; both sensors' wires meet in it"],
            ),
            _lead(404, 236, 272, 250),
            _text(
                410,
                232,
                [
                    "moisture sensor: a third in from",
                    "the wall, pressed firm; mix up to",
                    "its line, no higher",
                ],
            ),
            _lead(404, 330, 187, 322),
            _text(
                410,
                326,
                [
                    "temperature sensor: its tip at half",
                    "depth in the middle of the cell, not",
                    "against the wall, not on the heat mat",
                ],
            ),
            _lead(404, 84, 362, 106),
            _text(410, 78, ["a loop that hangs lower than where", "the cable goes in: water drips off"]),
            _text(
                30,
                440,
                ["An average cell of the tray: not a corner, not the edge that the sun meets first."],
                15,
                QUIET,
            ),
        )
    )


def _air() -> str:
    """The air sensor under its plates, shaded, at leaf height."""
    plates = "".join(
        f'<path d="M{930 - 62} {y + 14} L{930 - 46} {y} L{930 + 46} {y} L{930 + 62} {y + 14}" fill="{WHITE}" '
        f'stroke="{INK}" stroke-width="2"/>'
        for y in (206, 232, 258, 284)
    )
    return "".join(
        (
            _text(740, 40, ["The air sensor, out of the sun"], 20),
            f'<circle cx="1130" cy="92" r="26" fill="{SUN}" fill-opacity="0.85"/>',
            _stroke(
                "M1098 112 L1010 178 M1108 124 L1026 196 M1086 98 L984 168", SUN, 3, 'stroke-dasharray="9 6"'
            ),
            f'<path d="M930 150 L930 300" stroke="{QUIET}" stroke-width="3"/>',
            f'<rect x="919" y="240" width="22" height="30" rx="2" fill="{BOARD}"/>',
            plates,
            f'<rect x="919" y="240" width="22" height="30" rx="2" fill="{BOARD}" fill-opacity="0.55"/>',
            _stroke("M930 300 C930 350 820 352 800 372", WATERPROOF, 5),
            # bench with trays
            _stroke("M740 400 L1180 400 M770 400 L770 440 M1150 400 L1150 440", INK, 5),
            f'<path d="M1010 398 L1016 372 L1140 372 L1146 398 Z" fill="{MIX}"/>',
            f'<path d="M740 398 L746 372 L850 372 L856 398 Z" fill="{MIX}"/>',
            _lead(1008, 214, 986, 214),
            _text(1014, 212, ["white plates, open below:", "air passes, sun does not"]),
            _lead(1008, 284, 942, 258),
            _text(1014, 280, ["sensor in the middle,", "at the height of the leaves"]),
            _text(
                740,
                88,
                [
                    "On the side away from the noon sun;",
                    "a hand's breadth off glass, wall and lid;",
                    "never inside the probe's housing.",
                ],
                15,
            ),
        )
    )


def _sheet(left: int, width: int, inside: str) -> str:
    """A drawing that shows what stands from `left` on, so wide."""
    size = f'viewBox="{left} 0 {width} 460" width="{width}" height="460"'
    paper = f'<rect x="{left}" width="{width}" height="460" fill="#ffffff"/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="sans-serif">{paper}{inside}</svg>\n'


def drawings() -> dict[str, str]:
    """Both pictures as SVG, by file name."""
    return {"placing-cell.svg": _sheet(10, 680, _cell()), "placing-air.svg": _sheet(720, 490, _air())}
