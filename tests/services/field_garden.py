"""A garden whose readings are a recorded field's: half a year of Bondville, told as if it were 2026."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.figures import hours
from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.domain.series import FloatArray
from traywarden.store import garden, journal, outside, probes, readings
from traywarden.store.store import Store

MOVED_S = 10_227 * 86_400  # 28 years: the same days of the week
PLACE, TRAY, FRAME = "Open field", "Bed", "Frame"


@dataclass(frozen=True)
class FieldGarden:
    store: Store
    field: hours.Field

    def at_ms(self, day: str, hour: int) -> int:
        """An instant of the field's year, such as “07-15”, as this garden tells it."""
        place = self.field.hours(day, day).start
        return round((float(self.field.time_s[place]) + hour * 3600 + MOVED_S) * 1000)


def field_garden(folder: Path, first: str = "03-01", end: str = "09-01") -> FieldGarden:
    """Open air and soil of the field, in a new SQLite store. Close `.store` when done."""
    field = hours.bondville()
    part = field.hours(first, end)
    time_ms = np.round((field.time_s[part] + MOVED_S) * 1000).astype(np.int64)
    start_ms = int(time_ms[0])
    store = Store.open(f"sqlite:///{folder / 'traywarden.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(
            tx, "Field", field.zone.key, field.latitude_deg, field.longitude_deg, now_ms=start_ms
        )
        place = garden.add_place(tx, PLACE, "open ground")
        garden.add_place(tx, FRAME, "cold frame")
        tray = garden.add_tray(tx, TRAY, 40, 3.0)
        values = {
            0: {"air_temp_c": field.air_c[part], "rh_pct": field.rh_pct[part]},
            1: {"soil_temp_c": field.soil_c["4 cm"][part]},
        }
        for head, columns in values.items():
            known = ~np.isnan(next(iter(columns.values())))
            readings.insert_columns(
                tx,
                "field",
                head,
                BOOT_IMPORTED,
                time_ms[known],
                int(time_ms[-1]),
                {name: column[known] for name, column in columns.items()},
            )
        heads = probes.ensure_heads(tx, [("field", 0), ("field", 1)], start_ms)
        before_ms = start_ms - 1
        journal.write(
            tx, Kind.HEAD_PLACED, before_ms, start_ms, head_id=heads["field", 0], place_id=place.place_id
        )
        journal.write(
            tx, Kind.HEAD_PLACED, before_ms, start_ms, head_id=heads["field", 1], tray_id=tray.tray_id
        )
        journal.write(tx, Kind.MOVED, before_ms, start_ms, tray_id=tray.tray_id, place_id=place.place_id)
    return FieldGarden(store, field)


def forecast_into(made: FieldGarden, day: str, hour: int, reach_h: int, error_c: FloatArray) -> None:
    """An invented forecast: the air that came, and an error of its own for each hour."""
    issued_ms = made.at_ms(day, hour)
    first = round((issued_ms / 1000 - MOVED_S - made.field.time_s[0]) / 3600)
    air = made.field.air_c[first : first + reach_h] + error_c[:reach_h]
    time_ms = np.asarray(issued_ms + 3_600_000 * np.arange(reach_h), np.int64)
    with made.store.write() as tx:
        values = {"air_temp_c": air, "rh_pct": made.field.rh_pct[first : first + reach_h]}
        outside.put_forecast(tx, "invented", issued_ms, time_ms, values)
