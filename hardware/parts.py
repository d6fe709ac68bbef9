"""The parts list: read, added up, and told as a table."""

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

PARTS_CSV = Path(__file__).parent / "parts.csv"
PRICED_ON = "November 2026"
"""When the costs were set down: our own estimate for one piece by mail order, not a quotation."""


class Part(NamedTuple):
    """One line of the parts list."""

    refs: tuple[str, ...]
    part: str
    generic_number: str
    one_head: int
    four_heads: int
    unit_cost_usd: float
    note: str


def _refs(text: str) -> tuple[str, ...]:
    """`R2-R3` as R2, R3; `-` (a part the drawing does not show) as none."""
    if text == "-":
        return ()
    span = re.fullmatch(r"([A-Z])(\d+)-\1(\d+)", text)
    if not span:
        return (text,)
    return tuple(f"{span[1]}{number}" for number in range(int(span[2]), int(span[3]) + 1))


def parts() -> list[Part]:
    """Every line of `parts.csv`."""
    with PARTS_CSV.open(encoding="utf-8", newline="") as file:
        return [
            Part(
                _refs(row["refs"]),
                row["part"],
                row["generic_number"],
                int(row["one_head"]),
                int(row["four_heads"]),
                float(row["unit_cost_usd"]),
                row["note"],
            )
            for row in csv.DictReader(file)
        ]


def total_usd(listed: Sequence[Part], heads: int) -> float:
    """What the parts of a probe with one or four heads cost together."""
    if heads not in {1, 4}:
        raise ValueError(f"the list has quantities for 1 and 4 heads, not {heads}")
    return sum((part.one_head if heads == 1 else part.four_heads) * part.unit_cost_usd for part in listed)


def table(listed: Sequence[Part]) -> str:
    """The parts as a Markdown table with its totals."""
    lines = [
        "| on the drawing | part | generic number | one head | four heads | each, US$ | note |",
        "|---|---|---|---:|---:|---:|---|",
    ]
    for part in listed:
        refs = "–".join(dict.fromkeys((part.refs[0], part.refs[-1]))) if part.refs else ""
        counts = " | ".join(str(count) if count else "" for count in (part.one_head, part.four_heads))
        what = f"{part.part} | {part.generic_number}"
        lines.append(f"| {refs} | {what} | {counts} | {part.unit_cost_usd:.2f} | {part.note} |")
    totals = " | ".join(f"**{total_usd(listed, heads):.2f}**" for heads in (1, 4))
    lines.append(f"| | **together, US$** | | {totals} | | |")
    return "\n".join(lines)
