"""Real records asked through the store: flags and calibration must not cost what the detector finds."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from tests.domain.heads import bondville, dry_season, ford_dry_lake
from tests.services.questions.conftest import grounded
from traywarden.domain.flags import Flag
from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.domain.series import HeadColumns
from traywarden.domain.waterings import find_wettings
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.waterings import ask_waterings
from traywarden.services.wettings import tray_wettings
from traywarden.store import garden, journal, probes, readings
from traywarden.store.store import Store

pytestmark = pytest.mark.data


@contextmanager
def _field(folder: Path, record: HeadColumns, time_zone: str) -> Iterator[Ground]:
    """The record as the head of a tray out in the field, asked as of its last reading."""
    now_ms = int(record.time_ms[-1])
    with Store.open(f"sqlite:///{folder / 'field.sqlite3'}") as store:
        with store.write() as tx:
            garden.set_garden(tx, "Field", time_zone, now_ms=now_ms)
            place = garden.add_place(tx, "Field", "open ground")
            soil = garden.add_mix(tx, "Field soil", {"soil": 1}, 0.42, 0.15)
            tray = garden.add_tray(tx, "field").tray_id
            heads = probes.ensure_heads(tx, [("field", 0), ("field", 1)], now_ms)
            journal.write(tx, Kind.HEAD_PLACED, 0, 0, head_id=heads["field", 1], tray_id=tray)
            journal.write(tx, Kind.HEAD_PLACED, 0, 0, head_id=heads["field", 0], place_id=place.place_id)
            journal.write(tx, Kind.MOVED, 0, 0, tray_id=tray, place_id=place.place_id)
            journal.write(tx, Kind.FILLED, 0, 0, tray_id=tray, mix_id=soil.mix_id)
            rows = []
            for number, names in enumerate(
                (("air_temp_c", "rh_pct", "rain_mm"), ("soil_temp_c", "moisture_m3_m3"))
            ):
                columns = [(name, record.values[name].tolist()) for name in names]
                for n, at in enumerate(record.time_ms.tolist()):
                    values = {name: None if np.isnan(column[n]) else column[n] for name, column in columns}
                    rows.append(Reading("field", number, BOOT_IMPORTED, at, at, now_ms, **values))
            readings.insert(tx, rows)
        with grounded(store, now_ms) as ground:
            yield ground


@pytest.mark.parametrize("record", ["bondville 4 cm", "bondville 2 cm", "ford"])
def test_what_is_left_out_costs_no_watering_outside_frost_and_adds_none(record: str, tmp_path: Path) -> None:
    """The detector on the bare arrays is held to the recorded rains elsewhere; through the store, with flags,
    it must find the very same."""
    columns = {
        "bondville 4 cm": bondville,
        "bondville 2 cm": lambda: bondville("soil_temp_2cm_c"),
        "ford": ford_dry_lake,
    }[record]()
    bare = find_wettings(
        columns.time_ms / 1000, columns.values["moisture_m3_m3"], columns.values["soil_temp_c"]
    )
    with _field(tmp_path, columns, "America/Chicago") as ground:
        series = ground.tray_series(1, 0, ground.now_ms + 1)
        found = tray_wettings(series)
    assert [w.onset_s for w in found] == [w.onset_s for w in bare]
    icy = series[0].time_s[(series[0].flags["moisture_m3_m3"] & Flag.FROZEN) > 0]
    assert not np.isin([w.onset_s for w in found], icy).any()


@pytest.mark.parametrize("plot", range(1, 6))
def test_a_rainless_june_has_no_watering_and_says_so(plot: int, tmp_path: Path) -> None:
    with _field(tmp_path, dry_season(plot), "America/Los_Angeles") as ground:
        (answer,) = ask_waterings(ground, days=40).trays
    assert answer.events == ()
    assert answer.last is None


def test_the_gauge_beside_the_tray_names_the_summers_wettings_rain(tmp_path: Path) -> None:
    """Nobody watered that field: from May to September, when nothing freezes, the water was rain."""
    with _field(tmp_path, bondville(), "America/Chicago") as ground:
        events = [e for e in ask_waterings(ground, days=366).trays[0].events if 5 <= e.at.month <= 9]
    rained = [e for e in events if e.kind == "rain"]
    assert len(events) >= 10
    assert len(rained) >= 0.9 * len(events)
    assert all("the rain gauge recorded" in e.reason for e in rained)


def test_the_longest_dry_down_of_bondville_is_late_summer(tmp_path: Path) -> None:
    """README of the records: the longest true dry-down is mid-August to mid-September, 0.39 → 0.22."""
    with _field(tmp_path, bondville(), "America/Chicago") as ground:
        stretches = ask_dry_down(ground, days=366).stretches
    told = [s for s in stretches if s.tau_days is not None]
    driest = min(told, key=lambda s: s.last_pct)
    assert driest.end.month == 9
    assert driest.last_pct == pytest.approx(0.22 / 0.42 * 100, abs=3)
    assert not [s for s in told if s.start.month == 1 and 13 <= s.start.day <= 21]
