"""The chart of one tray, and the numbers that are drawn."""

from collections.abc import Sequence
from typing import Any

from traywarden.errors import UsageError
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.tray_picture import tray_picture
from traywarden.services.questions.tray_record import Line, TrayRecord, ask_tray_record
from traywarden.web.charts import Chart, Params

COLUMNS = ("when", "what", "of", "value", "unit", "remark")


def tray_chart(on: Ground, params: Params) -> Chart:
    """`tray` is its number, `days` how far back; `as-of` only tells one picture from an older one."""
    number, days = params.get("tray", ""), params.get("days", "7")
    tray = on.trays.get(int(number)) if number.isascii() and number.isdigit() else None
    if tray is None:
        raise UsageError("There is no such tray here.")
    if not (days.isascii() and days.isdigit()):
        raise UsageError(f"“{days[:20]}” is no number of days.")
    record = ask_tray_record(on, tray.name, int(days))
    return Chart(tray_picture(record, on.display), record.says, COLUMNS, _rows(record))


def _rows(record: TrayRecord) -> Sequence[Sequence[Any]]:
    rows = [
        *_of_lines("moisture", record.moisture, "% of container capacity"),
        *_of_lines("soil temperature", record.soil, "°C"),
        *_of_lines("air temperature", record.air, "°C"),
        *(
            (event.at, "watering", event.kind, event.rise_pct, "% of container capacity", event.reason)
            for event in record.waterings
        ),
        *((mark.at, "journal", mark.kind, None, "", mark.says) for mark in record.journal),
    ]
    return sorted(((at.isoformat(), *rest) for at, *rest in rows), key=lambda row: row[0])


def _of_lines(what: str, lines: Sequence[Line], unit: str) -> list[tuple[Any, ...]]:
    return [
        (point.at, what, line.of, point.value, unit, "")
        for line in lines
        for stretch in line.stretches
        for point in stretch
    ]
