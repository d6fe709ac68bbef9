"""Everything of a garden as a data package: whole, described, readable by others, in bounded memory."""

import csv
import hashlib
import io
import json
import re
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.services.little_garden import (
    DAY_MS,
    NOW_MS,
    START_MS,
    STEP_MS,
    LittleGarden,
    bench_c,
    little_garden,
)
from traywarden.domain.flags import names
from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS, Reading
from traywarden.errors import UsageError
from traywarden.services.download import tables
from traywarden.services.download.package import DESCRIPTION, parts, span_asked, to_folder, to_zip, zipped
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import load
from traywarden.store import garden as garden_store
from traywarden.store import journal, readings
from traywarden.store.store import Store, Tx

ROOT = Path(__file__).parents[3]
Rows = list[dict[str, str]]


@pytest.fixture
def little(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path)
    yield made
    made.store.close()


def _ground(tx: Tx, home: Path, now_ms: int = NOW_MS) -> Ground:
    garden = garden_store.the_garden(tx)
    assert garden is not None
    return ground(tx, garden, load(home, environ={}), now_ms)


def _folder(little: LittleGarden, home: Path, first: date | None = None, last: date | None = None) -> Path:
    to = home / "package"
    with little.store.read() as tx:
        on = _ground(tx, home)
        to_folder(on, span_asked(on, first, last), to)
    return to


def _described(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / DESCRIPTION).read_text(encoding="utf-8"))
    return found


def _rows(folder: Path, path: str) -> Rows:
    with (folder / path).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASTS: dict[str, Callable[[str], object]] = {
    "string": str,
    "integer": int,
    "number": float,
    "boolean": lambda cell: {"true": True, "false": False}[cell],
    "date": date.fromisoformat,
    "datetime": lambda cell: datetime.strptime(cell, tables.INSTANT_FORMAT),  # noqa: DTZ007 - it ends in Z
    "object": lambda cell: dict(json.loads(cell)),
}


def _casts(cell: str, field: dict[str, Any]) -> object:
    """The cell as its type says, or an error: what another program would do with it."""
    assert field.get("format", tables.INSTANT_FORMAT) == tables.INSTANT_FORMAT
    return None if cell == "" else CASTS[field["type"]](cell)


def test_each_file_is_as_its_description_says(little: LittleGarden, tmp_path: Path) -> None:
    folder = _folder(little, tmp_path)
    described = _described(folder)
    assert described["profile"] == "tabular-data-package"
    files = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}
    assert files == {r["path"] for r in described["resources"]} | {DESCRIPTION}
    for resource in described["resources"]:
        assert re.fullmatch(r"[-a-z0-9._/]+", resource["name"])
        content = (folder / resource["path"]).read_bytes()
        assert len(content) == resource["bytes"]
        assert f"sha256:{hashlib.sha256(content).hexdigest()}" == resource["hash"]
        fields = resource["schema"]["fields"]
        heading, *rows = csv.reader(io.StringIO(content.decode("utf-8"), newline=""))
        assert heading == [field["name"] for field in fields]
        assert len(rows) == resource["rows"]
        keys = set()
        for row in rows:
            cells = [_casts(cell, field) for cell, field in zip(row, fields, strict=True)]
            keys.add(tuple(cells[heading.index(name)] for name in resource["schema"]["primaryKey"]))
        assert len(keys) == len(rows), f"{resource['path']}: its key does not tell rows apart"


def test_every_reading_is_in_it_as_it_was_stored(little: LittleGarden, tmp_path: Path) -> None:
    folder = _folder(little, tmp_path)
    with little.store.read() as tx:
        stored = readings.count(tx)
    found = [
        row
        for path in sorted((folder / "readings").iterdir())
        for row in _rows(folder, f"readings/{path.name}")
    ]
    assert len(found) == stored
    bench = [row for row in found if row["head"] == "bench/0"]
    at_ms = START_MS + STEP_MS * np.arange(len(bench))
    assert [float(row["air_temp_c"]) for row in bench] == bench_c(at_ms.astype(float)).tolist()
    times = [datetime.fromisoformat(row["time"]).timestamp() * 1000 for row in bench]
    assert times == at_ms.tolist()


def test_a_faulty_reading_stays_and_says_what_is_wrong(little: LittleGarden, tmp_path: Path) -> None:
    at_ms = NOW_MS + 60_000
    with little.store.write() as tx:
        row = Reading("bench", 1, 1, 99_999, at_ms, at_ms, soil_temp_c=-127.0, extra='{"lux":5}')
        readings.insert(tx, [row])
    folder = tmp_path / "package"
    with little.store.read() as tx:
        on = _ground(tx, tmp_path, at_ms)
        to_folder(on, span_asked(on, None, None), folder)
    found = [r for p in (folder / "readings").iterdir() for r in _rows(folder, f"readings/{p.name}")]
    (faulty,) = (r for r in found if r["flags"])
    assert float(faulty["soil_temp_c"]) == -127.0
    assert "soil_temp_c: disconnected" in faulty["flags"]
    assert faulty["extra"] == '{"lux":5}'
    assert names(4) == ["disconnected"]


def test_days_agree_with_the_weather_the_garden_was_made_of(little: LittleGarden, tmp_path: Path) -> None:
    """Air swings by 5 °C about 10 °C on the bench and about 14 °C in the frame."""
    folder = _folder(little, tmp_path)
    days = [d for d in _rows(folder, "days-of-places.csv") if d["measured"] == "air" and d["mean_c"]]
    assert {d["place"] for d in days} == {"Open bench", "Cold frame"}
    for day in days:
        mean_c = 10.0 if day["place"] == "Open bench" else 14.0
        if day["date"] != "2026-03-16":  # not over
            assert float(day["mean_c"]) == pytest.approx(mean_c, abs=0.05)
            assert float(day["low_c"]) == pytest.approx(mean_c - 5, abs=0.01)
            assert float(day["high_c"]) == pytest.approx(mean_c + 5, abs=0.01)
    of_tray = {d["date"]: d for d in _rows(folder, "days-of-trays.csv") if d["tray"] == "tomatoes"}
    whole = [float(of_tray[str(date(2026, 3, 7) + timedelta(n))]["moisture_m3_m3"]) for n in range(3)]
    assert whole == sorted(whole, reverse=True), "it dries from one watering to the next"


def test_only_the_days_asked_for_but_the_whole_journal(little: LittleGarden, tmp_path: Path) -> None:
    folder = _folder(little, tmp_path, date(2026, 3, 5), date(2026, 3, 6))
    times = [
        r["time"][:10] for p in (folder / "readings").iterdir() for r in _rows(folder, f"readings/{p.name}")
    ]
    assert set(times) == {"2026-03-05", "2026-03-06"}
    assert len(times) == 5 * 2 * DAY_MS // STEP_MS
    assert {d["date"] for d in _rows(folder, "days-of-places.csv")} == {"2026-03-05", "2026-03-06"}
    with little.store.read() as tx:
        assert len(_rows(folder, "journal.csv")) == len(journal.entries(tx))


def test_hostile_texts_come_through_and_are_no_formulas(little: LittleGarden, tmp_path: Path) -> None:
    note = 'a "quoted", note\r\nin two lines 🍅 \u202e' + "x" * 10_000
    with little.store.write() as tx:
        tray = garden_store.add_tray(tx, '=HYPERLINK("http://elsewhere")', 1, 1.0)
        journal.write(tx, Kind.NOTED, NOW_MS, NOW_MS, tray_id=tray.tray_id, note=note)
        journal.write(tx, Kind.NOTED, NOW_MS, NOW_MS, tray_id=tray.tray_id, note="+1")
    folder = _folder(little, tmp_path)
    *_, long, short = _rows(folder, "journal.csv")
    assert long["note"] == note
    assert long["tray"] == '\'=HYPERLINK("http://elsewhere")'
    assert short["note"] == "'+1"


def test_the_zip_file_holds_the_same_bytes(little: LittleGarden, tmp_path: Path) -> None:
    folder = _folder(little, tmp_path)
    with little.store.read() as tx:
        on = _ground(tx, tmp_path)
        to_zip(on, span_asked(on, None, None), tmp_path / "package.zip")
        streamed = b"".join(zipped(on, span_asked(on, None, None)))
    for file in (tmp_path / "package.zip", io.BytesIO(streamed)):
        with zipfile.ZipFile(file) as archive:
            assert archive.testzip() is None
            for name in archive.namelist():
                assert archive.read(name) == (folder / name).read_bytes()


def test_nothing_is_written_over(little: LittleGarden, tmp_path: Path) -> None:
    (tmp_path / "kept.zip").write_text("mine")
    with little.store.read() as tx:
        on = _ground(tx, tmp_path)
        span = span_asked(on, None, None)
        with pytest.raises(UsageError, match="already"):
            to_zip(on, span, tmp_path / "kept.zip")
        with pytest.raises(UsageError, match="already"):
            to_folder(on, span, tmp_path)
    assert (tmp_path / "kept.zip").read_text() == "mine"


def test_a_garden_without_a_reading_is_described_too(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    folder = _folder(made, tmp_path)
    made.store.close()
    assert _rows(folder, "days-of-places.csv") == []
    assert [r["tray"] for r in _rows(folder, "trays.csv")] == ["tomatoes", "lettuce", "peppers"]


def test_a_long_record_takes_no_more_memory_than_a_short_one(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path / 'traywarden.sqlite3'}") as store:
        with store.write() as tx:
            garden_store.set_garden(tx, "Long", "Europe/Lisbon", now_ms=START_MS)
            bench = garden_store.add_place(tx, "Bench", "open bench")
        days = 360
        time_ms = START_MS + np.arange(days * 144, dtype=np.int64) * STEP_MS
        with store.write() as tx:
            readings.insert_columns(
                tx, "bench", 0, BOOT_IMPORTED, time_ms, NOW_MS, {"air_temp_c": bench_c(time_ms.astype(float))}
            )
            head = next(iter(readings.newest(tx)))
            journal.write(tx, Kind.HEAD_PLACED, START_MS, START_MS, head_id=head, place_id=bench.place_id)
        first = date(2026, 3, 2)
        peaks = []
        for asked_days in (60, 60, days):
            with store.read() as tx:
                on = _ground(tx, tmp_path, int(time_ms[-1]))
                span = span_asked(on, first, first + timedelta(asked_days - 1))
                tracemalloc.start()
                size = sum(len(text) for _, _, text in parts(on, span))
                peaks.append(tracemalloc.get_traced_memory()[1])
                tracemalloc.stop()
        assert size > 60 * len(time_ms)
        assert peaks[2] < 1.3 * peaks[1]


def test_units_are_those_of_the_glossary() -> None:
    page = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    section = page.split("## Units in names")[1].split("\n## ")[0]
    units = dict(re.findall(r"^\| `(_[^`]+)` \| (.+) \|$", section, flags=re.MULTILINE))
    short = {"°C": "°C", "m³/m³": "volume fraction", "%": "percent", "V": "volts", "mm": "millimetres",
             "kPa": "kilopascal", "l": "litres", "°": "degrees"}  # fmt: skip
    every = [
        column
        for table in vars(tables).values()
        if isinstance(table, tables.Table)
        for column in table.columns
    ] + list(tables.READING)
    checked = 0
    for column in every:
        ending = max((e for e in units if f"_{column.name}".endswith(e)), key=len, default="")
        if column.unit:
            assert units[ending].startswith(short[column.unit]), column
            checked += 1
        elif ending and column.kind == "number" and column.name != "price":
            raise AssertionError(f"{column.name} has a unit in its name and none in its description")
    assert checked > 15
    assert set(VALUE_COLUMNS) <= {column.name for column in tables.READING}
