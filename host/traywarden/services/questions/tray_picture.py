"""One tray's record as a picture: the packaged chart, filled with the numbers of one answer."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from traywarden.domain.units import Display, f_from_c
from traywarden.links.pictures import chart
from traywarden.services.questions.tray_record import Limits, Line, Point, TrayRecord

FEW_DAYS = 14
"""Rates are written beside dry-downs over so many days at most: beyond that they would lie on each other."""
SHORTEST_TOLD = 1 / 10
"""… and only beside those that are this part of the span long."""


def tray_picture(answer: TrayRecord, display: Display) -> dict[str, Any]:
    """A Vega-Lite spec of the record, in the grower's degrees and the garden's own time of day."""
    spec = chart("tray")
    spec["datasets"] = {
        "nights": [{"start": _clock(n.start), "end": _clock(n.end)} for n in answer.nights],
        "held": _held(answer),
        "moisture": [row for line in answer.moisture for row in _rows(line, {"of": line.of})],
        "drying": _drying(answer),
        "rates": _rates(answer),
        "waterings": [
            {
                "at": _clock(event.at),
                "clock": f"{event.at:%a} {event.at.day} {event.at:%b %H:%M}",
                "kind": event.kind,
                "rise": event.rise_pct,
                "litres": event.litres,
                "from": event.known_from,
                "why": event.reason,
            }
            for event in answer.waterings
        ],
        **_outlook(answer),
        "temps": [
            _warm(row, display)
            for what, lines in (("soil", answer.soil), ("air", answer.air))
            for line in lines
            for row in _rows(line, {"what": what, "of": line.of})
        ],
        "limits": [
            _span(limit)
            | {
                "low": _temp(limit.best_low_c, display),
                "high": _temp(limit.best_high_c, display),
                "crop": limit.crop,
                "source": limit.source,
            }
            for limit in answer.limits
            if limit.best_low_c is not None and limit.best_high_c is not None
        ],
        "edges": [row for limit in answer.limits for row in _edges(limit, display)],
        **_texts(answer, display),
        "journal": [
            {
                "at": _clock(mark.at),
                "clock": f"{mark.at:%a} {mark.at.day} {mark.at:%b %H:%M}",
                "kind": mark.kind,
                "says": mark.says,
                "note": mark.note,
            }
            for mark in answer.journal
        ],
        "now": [{"at": _clock(answer.end), "text": "now"}],
    }
    spec["title"]["text"] = answer.tray
    spec["title"]["subtitle"] = f"{answer.garden}, {_day(answer.start)} to {_day(answer.end)}"
    moisture, warmth, written = spec["vconcat"]
    warmth["encoding"]["y"]["title"] = f"soil and air, °{display.temperature}"
    heads = list(dict.fromkeys(line.of for line in answer.moisture))
    dashes = _layer(moisture, "moisture")["encoding"]["strokeDash"]
    dashes["scale"]["domain"] = heads
    if len(heads) < 2:
        dashes["legend"] = None
    spec["vconcat"] = [
        panel
        for panel, shown in ((moisture, answer.moisture), (warmth, True), (written, answer.journal))
        if shown
    ]
    few = (answer.end - answer.start) <= timedelta(days=4)
    for panel in spec["vconcat"]:
        # A layer without data would have no say in the scale, and a browser warns of that.
        panel["layer"] = [layer for layer in panel["layer"] if spec["datasets"][layer["data"]["name"]]]
        _layer(panel, "now")["encoding"]["x"]["scale"]["domain"] = [
            _clock(answer.start),
            _clock(answer.until),
        ]
        panel["encoding"]["x"]["axis"]["format"] = "%a %H:%M" if few else "%-d %b"
    return spec


def _layer(panel: dict[str, Any], data: str) -> dict[str, Any]:
    """The first layer that draws a set of data."""
    found: dict[str, Any] = next(layer for layer in panel["layer"] if layer["data"]["name"] == data)
    return found


def _held(answer: TrayRecord) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for held in answer.held:
        same = bool(rows) and rows[-1]["value"] == held.dry_line_pct
        end = answer.until if held.end >= answer.end else held.end
        rows.append(
            {
                "start": _clock(held.start),
                "end": _clock(end),
                "value": held.dry_line_pct,
                "mix": held.mix,
                "text": "" if same else "dry line",
            }
        )
    return rows


def _rows(line: Line, named: dict[str, Any]) -> list[dict[str, Any]]:
    """One row a point; `part` keeps unbroken stretches apart, so that no line crosses a gap."""
    return [
        {"at": _clock(point.at), "value": point.value, "part": f"{line.of} {n}", **named}
        for n, stretch in enumerate(line.stretches)
        for point in stretch
    ]


def _points(lines: Sequence[Line], head: str, start: datetime, end: datetime) -> list[Point]:
    return [
        p
        for line in lines
        if line.of == head
        for part in line.stretches
        for p in part
        if start <= p.at <= end
    ]


def _drying(answer: TrayRecord) -> list[dict[str, Any]]:
    return [
        {"at": _clock(point.at), "value": point.value, "stretch": n}
        for n, stretch in enumerate(answer.dry_downs)
        for point in _points(answer.moisture, stretch.head, stretch.start, stretch.end)
    ]


def _rates(answer: TrayRecord) -> list[dict[str, Any]]:
    span = answer.end - answer.start
    if span > timedelta(days=FEW_DAYS):
        return []
    rows = []
    for stretch in answer.dry_downs:
        if stretch.rate_pct_per_day is None or stretch.end - stretch.start < span * SHORTEST_TOLD:
            continue
        points = _points(answer.moisture, stretch.head, stretch.start, stretch.end)
        if points:
            middle = points[len(points) // 2]
            text = f"−{stretch.rate_pct_per_day:.0f} %/day"
            rows.append({"at": _clock(middle.at), "value": middle.value, "text": text})
    return rows


def _outlook(answer: TrayRecord) -> dict[str, Any]:
    tray = answer.outlook
    if not tray.path or tray.moisture_pct is None:
        return {"foreseen": [], "band": []}
    now = _clock(answer.end)
    return {
        "foreseen": [
            {"at": now, "value": tray.moisture_pct},
            *({"at": _clock(p.at), "value": p.moisture_pct} for p in tray.path),
        ],
        "band": [
            {"early": now, "late": now, "value": tray.moisture_pct},
            *(
                {"early": _clock(p.earliest), "late": _clock(p.latest), "value": p.moisture_pct}
                for p in tray.path
            ),
        ],
    }


def _span(limit: Limits) -> dict[str, Any]:
    return {"start": _clock(limit.start), "end": _clock(limit.end)}


def _edges(limit: Limits, display: Display) -> list[dict[str, Any]]:
    told = (("low", limit.floor_c, limit.floor_kind), ("high", limit.max_c, "published maximum"))
    return [
        _span(limit)
        | {
            "edge": edge,
            "value": _temp(temp_c, display),
            "text": f"{limit.crop}: {words} {display.limit(temp_c)}",
            "source": limit.source,
        }
        for edge, temp_c, words in told
        if temp_c is not None
    ]


def _texts(answer: TrayRecord, display: Display) -> dict[str, list[dict[str, Any]]]:
    """The words of each limit: from where it begins to the right, or from where it ends to the left."""
    found: dict[str, list[dict[str, Any]]] = {
        f"{edge} {side}": [] for edge in ("low", "high") for side in ("left", "right")
    }
    for limit in answer.limits:
        left = limit.start - answer.start <= (answer.until - answer.start) / 3
        at, side = (limit.start, "left") if left else (limit.end, "right")
        for row in _edges(limit, display):
            found[f"{row['edge']} {side}"].append(row | {"at": _clock(at)})
    return found


def _warm(row: dict[str, Any], display: Display) -> dict[str, Any]:
    return row | {"value": _temp(row["value"], display)}


def _temp(temp_c: float | None, display: Display) -> float | None:
    if temp_c is None:
        return None
    return round(f_from_c(temp_c) if display.temperature == "F" else temp_c, 2)


def _day(at: datetime) -> str:
    return f"{at.day} {at:%b %Y}"


def _clock(at: datetime) -> str:
    """The garden's own time of day, whatever zone the picture is drawn in."""
    return at.replace(tzinfo=None).isoformat(timespec="seconds")
