"""The mixes as pictures: every stretch and every watering by tray, and the median of each mix."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from traywarden.links.pictures import chart
from traywarden.services.questions.dry_down import DryDownAnswer
from traywarden.services.questions.mix_words import median_words, soaked_words
from traywarden.services.questions.soaked import SoakedAnswer

SIZES_KPA = (0.25, 0.5, 1.0, 2.0)
NEAR, LIFT = 0.012, 0.8
"""Dots nearer than this part of the largest value are moved apart by so much of half a row."""


def dry_down_picture(answer: DryDownAnswer) -> dict[str, Any]:
    """A Vega-Lite spec: % of container capacity a day, each stretch in the row of its tray.

    Stretches that cannot tell have no dot; of those whose air was not measured the dot is hollow.
    """
    told = [s for s in answer.stretches if s.rate_pct_per_day is not None]
    dots = [
        {
            "mix": s.mix,
            "tray": s.tray,
            "value": s.rate_pct_per_day,
            "air": s.mean_vpd_kpa,
            "from": _day(s.start),
            "days": s.days,
        }
        for s in told
    ]
    medians = [
        {
            "mix": m.mix,
            "median": m.rate_pct_per_day.median,
            "low": m.rate_pct_per_day.low,
            "high": m.rate_pct_per_day.high,
            "text": f"{median_words(m.rate_pct_per_day)} %",
        }
        for m in answer.mixes
        if m.rate_pct_per_day.median is not None
    ]
    blind = [dot for dot in dots if dot["air"] is None]
    spec = _strips(medians, [dot for dot in dots if dot["air"] is not None], blind)
    spec["title"]["text"] = "How fast the mixes dry"
    spec["title"]["subtitle"] = [
        f"{answer.garden}, {_day(answer.start)} to {_day(answer.end)}. Dots: every stretch, larger in "
        + ("thirstier air; rings: air not measured." if blind else "thirstier air."),
        "Diamond and bar: median of the mix and its 95 % interval.",
    ]
    spec["encoding"]["x"]["title"] = "lost in a day, % of container capacity"
    size = spec["layer"][2]["encoding"]["size"]
    airs = [s.mean_vpd_kpa for s in told if s.mean_vpd_kpa is not None]
    size["scale"]["domain"] = [0, max([*airs, 0.5])]
    size["legend"]["values"] = [v for v in SIZES_KPA if airs and v <= max(airs) * 1.1]
    more = (("days", "days long", "quantitative"), ("air", "air, kPa", "quantitative"))
    return _finished(spec, "lost a day, %", more)


def soaked_picture(answer: SoakedAnswer) -> dict[str, Any]:
    """A Vega-Lite spec: hours soaked after each watering, in the row of its tray; rings lasted longer."""
    dots = [
        {"mix": w.mix, "tray": w.tray, "value": w.soaked_h, "ended": w.ended, "from": _day(w.at)}
        for w in answer.waterings
    ]
    medians = [
        {
            "mix": m.mix,
            "median": m.soaked_h,
            "low": m.low_h,
            "high": m.high_h,
            "text": f"{soaked_words(m)} h",
        }
        for m in answer.mixes
        if m.soaked_h is not None
    ]
    still = [dot for dot in dots if not dot["ended"]]
    spec = _strips(medians, [dot for dot in dots if dot["ended"]], still)
    spec["title"]["text"] = "How long the mixes stay soaked after a watering"
    spec["title"]["subtitle"] = [
        f"{answer.garden}, {_day(answer.start)} to {_day(answer.end)}. Dots: every watering"
        + ("; rings: at least so long." if still else "."),
        "Diamond and bar: median of the mix and its 95 % interval.",
    ]
    spec["encoding"]["x"]["title"] = f"hours above {answer.above_pct:g} % of container capacity"
    spec["layer"][2]["encoding"]["size"] = {"value": 80}
    return _finished(spec, "hours", ())


def _strips(
    medians: list[dict[str, Any]], known: list[dict[str, Any]], rings: list[dict[str, Any]]
) -> dict[str, Any]:
    """The chart with its rows: each mix, and below it its trays."""
    spec = chart("mix_strips")
    trays: dict[str, dict[str, None]] = {}
    for row in [*known, *rings]:
        trays.setdefault(row["mix"], {})[row["tray"]] = None
    for row in medians:
        trays.setdefault(row["mix"], {})
    most = max((row["value"] for row in [*known, *rings]), default=1.0)
    ends = [row[end] for row in medians for end in ("high", "median") if row[end] is not None]
    spec["encoding"]["x"]["scale"]["domain"] = [0, max([most, *ends])]
    mixes = {mix: n for n, mix in enumerate(sorted(trays))}
    spec["encoding"]["y"]["scale"]["domain"] = [
        row
        for mix, n in mixes.items()
        for row in (_mix_row(mix, n), *(_tray_row(tray, n) for tray in sorted(trays[mix])))
    ]
    spec["datasets"] = {
        "medians": [{**row, "row": _mix_row(row["mix"], mixes[row["mix"]])} for row in medians],
        "known": _placed(known, mixes),
        "open": _placed(rings, mixes),
    }
    return spec


def _placed(rows: Sequence[dict[str, Any]], mixes: Mapping[str, int]) -> list[dict[str, Any]]:
    """The dots in their rows; those that would lie on one another are moved apart up and down."""
    near = max((row["value"] for row in rows), default=0.0) * NEAR
    lines: dict[str, list[dict[str, Any]]] = {}
    for row in sorted(rows, key=lambda each: each["value"]):
        lines.setdefault(_tray_row(row["tray"], mixes[row["mix"]]), []).append(row)
    placed = []
    for name, line in lines.items():
        groups: list[list[dict[str, Any]]] = []
        for row in line:
            if groups and row["value"] - groups[-1][-1]["value"] <= near:
                groups[-1].append(row)
            else:
                groups.append([row])
        for group in groups:
            step = min(LIFT, 2.0 / max(len(group) - 1, 1))
            for n, row in enumerate(group):
                placed.append({**row, "row": name, "lift": round((n - (len(group) - 1) / 2) * step, 3)})
    return placed


def _mix_row(mix: str, number: int) -> str:
    """What stands before the stroke tells rows apart, for a tray may have had two mixes; it is not shown."""
    return f"mix{number}|{mix}"


def _tray_row(tray: str, number: int) -> str:
    return f"tray{number}|{tray}"


def _finished(spec: dict[str, Any], value: str, more: Iterable[tuple[str, str, str]]) -> dict[str, Any]:
    """With tooltips, and without layers in which nothing stands: they would be marks that say nothing."""
    shown = [
        ("tray", "tray", "nominal"),
        ("from", "from", "nominal"),
        ("value", value, "quantitative"),
        *more,
    ]
    fields = [{"field": field, "title": title, "type": kind} for field, title, kind in shown]
    for layer in (2, 3):
        spec["layer"][layer]["encoding"]["tooltip"] = fields
    told = [layer for layer in spec["layer"] if spec["datasets"][layer["data"]["name"]]]
    spec["layer"] = told or spec["layer"]
    return spec


def _day(at: datetime) -> str:
    return f"{at.day} {at:%b}"
