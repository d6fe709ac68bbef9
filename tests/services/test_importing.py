"""Logger files reach the store whole: every row is there or is accounted for."""

import csv
import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pytest

from tests.shared_data import shared_file
from traywarden.domain.series import HeadColumns
from traywarden.errors import ImportFileError, UsageError
from traywarden.services import feeds
from traywarden.services.findings import Findings, Kind
from traywarden.services.importing import ImportResult, import_file
from traywarden.services.mapping import Mapping, load_mapping, mapping_from
from traywarden.store import probes, readings
from traywarden.store.store import Store

MAPPINGS = Path(__file__).parent / "mappings"
SOIL = {"name": "soil", "head": 1, "quantity": "soil_temp_c", "unit": "°C"}
ALL_MS = 2**53


def mapping(*columns: dict[str, Any], time: dict[str, Any] | None = None, **more: Any) -> Mapping:
    chosen = {"columns": "time", "offset": "+00:00"} if time is None else {"columns": "time", **time}
    return mapping_from({"time": chosen, "column": list(columns) or [SOIL], **more}, "test")


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode(encoding))
    return path


def imported(store: Store, path: Path, chosen: Mapping, **more: Any) -> ImportResult:
    return import_file(store, path, chosen, "log", received_ms=7, **more)


def stored(store: Store, head: int, logger: str = "log") -> HeadColumns:
    with store.read() as tx:
        return readings.columns(tx, probes.head_labelled(tx, f"{logger}/{head}").head_id, -ALL_MS, ALL_MS)


def rows(store: Store, head: int = 1, column: str = "soil_temp_c") -> list[tuple[str, float]]:
    found = stored(store, head)
    return [
        (f"{datetime.fromtimestamp(time_ms / 1000, UTC):%m-%d %H:%M}", value)
        for time_ms, value in zip(found.time_ms.tolist(), found.values[column].tolist(), strict=True)
    ]


def test_rows_are_stored_once_known_by_their_time(store: Store, tmp_path: Path) -> None:
    path = written(tmp_path, "time,soil\n2024-05-01 00:00,10.5\n2024-05-01 00:30,10.25\n")
    first = imported(store, path, mapping(time={"offset": "-06:00"}))
    again = imported(store, path, mapping(time={"offset": "-06:00"}))
    assert (first.readings_new, again.readings_new, again.readings_known) == (2, 0, 2)
    assert rows(store) == [("05-01 06:00", 10.5), ("05-01 06:30", 10.25)]
    found = stored(store, 1)
    assert found.boot.tolist() == [-2, -2]
    assert found.sequence.tolist() == found.time_ms.tolist()


def test_an_extended_file_adds_only_its_new_rows(sqlite_store: Store, tmp_path: Path) -> None:
    text = "time,soil\n2024-05-01 00:00,10.5\n"
    imported(sqlite_store, written(tmp_path, text), mapping())
    result = imported(sqlite_store, written(tmp_path, text + "2024-05-01 00:30,10.25\n"), mapping())
    assert (result.readings, result.readings_new) == (2, 1)


def test_every_fault_is_counted_and_listed_by_its_line(sqlite_store: Store, tmp_path: Path) -> None:
    text = (
        "time,soil\n"
        "2024-05-01 00:00,10.0\n"
        "not a time,11.0\n"  # 3
        "2024-05-01 00:30,abc\n"  # 4
        "2024-05-01 01:00,200\n"  # 5
        "2024-05-01 01:30\n"  # 6
        "\n"
        "2024-05-01 02:00,12.0\n"
        "2024-05-01 01:45,11.9\n"  # 9
        "2024-05-01 02:00,12.0\n"  # 10
        "2024-05-01 02:00,13.0\n"  # 11
        "2024-05-01 02:30,1,5\n"  # 12
        "2024-05-01 03:00,14.0,\n"
    )
    listed: list[tuple[int, str, str]] = []
    findings = Findings(1, lambda finding: listed.append((finding.line, finding.kind, finding.column)))
    result = imported(sqlite_store, written(tmp_path, text), mapping(), findings=findings)
    assert sorted(listed) == sorted(
        [
            (3, Kind.UNREADABLE_TIME, ""),
            (4, Kind.UNREADABLE_CELL, "soil"),
            (5, Kind.OUT_OF_LIMITS, "soil"),
            (6, Kind.UNEVEN_ROW, ""),
            (9, Kind.BACKWARD, ""),
            (10, Kind.DUPLICATE_SAME, ""),
            (11, Kind.DUPLICATE_OTHER, ""),
            (12, Kind.UNEVEN_ROW, ""),
        ]
    )
    assert result.counts[Kind.UNEVEN_ROW] == 2
    assert len([f for f in result.listed if f.kind == Kind.UNEVEN_ROW]) == 1
    assert result.rows == 11
    assert rows(sqlite_store) == [
        ("05-01 00:00", 10.0),
        ("05-01 01:45", 11.9),
        ("05-01 02:00", 12.0),
        ("05-01 03:00", 14.0),
    ]


def test_of_a_double_stamp_the_first_stands_however_far_apart(
    sqlite_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(feeds, "CHUNK_ROWS", 10)
    lines = [f"2024-05-01 {n // 60:02}:{n % 60:02},{n / 10}" for n in range(100)]
    once_more = [*lines, *lines[:50], "2024-05-01 00:05,99", "2024-05-01 01:40,10"]
    result = imported(sqlite_store, written(tmp_path, "\n".join(["time,soil", *once_more])), mapping())
    assert result.counts == {Kind.BACKWARD: 2, Kind.DUPLICATE_SAME: 50, Kind.DUPLICATE_OTHER: 1}
    assert [value for _, value in rows(sqlite_store)] == [n / 10 for n in range(101)]


def test_a_second_row_that_fills_a_blank_of_the_first_is_kept(sqlite_store: Store, tmp_path: Path) -> None:
    text = "time,soil,moist\n2024-05-01 00:00,10,\n2024-05-01 00:00,,0.3\n2024-05-01 00:00,11,0.3\n"
    moist = {"name": "moist", "head": 1, "quantity": "moisture_m3_m3", "unit": "fraction"}
    result = imported(sqlite_store, written(tmp_path, text), mapping(SOIL, moist))
    assert result.counts == {Kind.DUPLICATE_OTHER: 1}
    assert rows(sqlite_store) == [("05-01 00:00", 10.0)]
    assert rows(sqlite_store, column="moisture_m3_m3") == [("05-01 00:00", 0.3)]


def test_newest_first_is_no_backward_clock(sqlite_store: Store, tmp_path: Path) -> None:
    text = "time,soil\n2024-05-01 02:00,3\n2024-05-01 01:00,2\n2024-05-01 01:30,9\n2024-05-01 00:00,1\n"
    result = imported(
        sqlite_store, written(tmp_path, text), mapping(time={"newest_first": True, "offset": "Z"})
    )
    assert result.counts == {Kind.BACKWARD: 1}
    assert result.readings_new == 4


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "America/Chicago"])
def test_a_year_of_wall_clock_time_comes_back_whole(sqlite_store: Store, tmp_path: Path, zone: str) -> None:
    start = datetime(2022, 1, 1, tzinfo=UTC)
    moments = [start + timedelta(minutes=30) * n for n in range(365 * 48)]
    lines = [
        f"{moment.astimezone(ZoneInfo(zone)):%d.%m.%Y %H:%M};{n / 100}" for n, moment in enumerate(moments)
    ]
    chosen = mapping(time={"format": "%d.%m.%Y %H:%M", "zone": zone}, file={"delimiter": ";"})
    path = written(tmp_path, "\n".join(["time;soil", *lines[:9000]]))
    result = imported(sqlite_store, path, chosen)
    assert (
        result.counts == {}
    )  # by row 9,000 only spring has passed, and no logger ever writes a skipped hour
    result = imported(sqlite_store, written(tmp_path, "\n".join(["time;soil", *lines[9000:10000]])), chosen)
    assert result.readings_new == 1000
    assert stored(sqlite_store, 1).time_ms.tolist() == [
        round(moment.timestamp() * 1000) for moment in moments[:10000]
    ]


def test_the_repeated_hour_and_the_skipped_one_are_listed(sqlite_store: Store, tmp_path: Path) -> None:
    text = "time,soil\n" + "".join(
        f"{stamp},1\n"
        for stamp in (
            "2022-03-13 02:15",  # skipped in Chicago
            "2022-11-06 00:30",
            "2022-11-06 01:00",
            "2022-11-06 01:30",
            "2022-11-06 01:00",
            "2022-11-06 01:30",
            "2022-11-06 02:00",
        )
    )
    result = imported(sqlite_store, written(tmp_path, text), mapping(time={"zone": "America/Chicago"}))
    assert result.counts == {Kind.HOLE: 1, Kind.FOLD: 4}
    assert [f.line for f in result.listed] == [2, 4, 5, 6, 7]
    assert [when for when, _ in rows(sqlite_store)] == [
        f"11-06 {clock}" for clock in ("05:30", "06:00", "06:30", "07:00", "07:30", "08:00")
    ]


def test_decimal_comma_semicolon_thousands_and_latin_1(sqlite_store: Store, tmp_path: Path) -> None:
    column = {"name": "Größe °C", "head": 1, "quantity": "soil_temp_c", "unit": "°C"}
    battery = {"name": "mV", "head": 0, "quantity": "battery_v", "unit": "mV"}
    text = "time;Größe °C;mV\n01.05.2024 00:00;10,5;1.234,5\n"
    chosen = mapping(
        column,
        battery,
        time={"format": "%d.%m.%Y %H:%M", "offset": "Z"},
        file={"delimiter": ";", "decimal": ",", "thousands": ".", "encoding": "latin-1"},
    )
    assert imported(sqlite_store, written(tmp_path, text, "latin-1"), chosen).counts == {}
    assert rows(sqlite_store) == [("05-01 00:00", 10.5)]
    assert rows(sqlite_store, 0, "battery_v") == [("05-01 00:00", 1.2345)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings_and_lines_before_the_header(sqlite_store: Store, tmp_path: Path, encoding: str) -> None:
    text = 'Serial "12°\nexported\ntime\tsoil\n2024-05-01 00:00\t10.5\n'
    chosen = mapping(file={"delimiter": "\t", "skip_rows": 2, "encoding": encoding})
    result = imported(sqlite_store, written(tmp_path, text + "x\t1\n", encoding), chosen)
    assert rows(sqlite_store) == [("05-01 00:00", 10.5)]
    assert [f.line for f in result.listed] == [5]


def test_a_file_without_header_goes_by_column_number(sqlite_store: Store, tmp_path: Path) -> None:
    chosen = mapping(SOIL | {"name": "#3"}, time={"columns": "#1", "offset": "Z"}, file={"header": False})
    imported(sqlite_store, written(tmp_path, "2024-05-01 00:00,x,10.5\n2024-05-01 00:30,x,11\n"), chosen)
    assert rows(sqlite_store) == [("05-01 00:00", 10.5), ("05-01 00:30", 11.0)]


def test_a_workbook_gives_the_same_rows_as_its_csv_file(sqlite_store: Store, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.create_sheet("notes").append(["nothing"])
    sheet = book.create_sheet("Log")
    sheet.append(["Logger 5"])
    sheet.append(["Date", "Time", "Soil", "Mixed"])
    for n in range(6):
        moment = datetime(2024, 5, 1, 8, 30) + timedelta(hours=3 * n)  # noqa: DTZ001  workbooks have no zones
        sheet.append([moment.date(), moment.time(), 10 + n / 10, "NA" if n == 2 else n])
    sheet.append([None, None, None, None])
    path = tmp_path / "log.xlsx"
    book.save(path)
    book.close()
    chosen = mapping(
        SOIL | {"name": "Soil"},
        SOIL | {"name": "Mixed", "head": 2},
        time={"columns": ["Date", "Time"], "offset": "+02:00"},
        file={"sheet": "Log", "skip_rows": 1, "decimal": ","},
    )
    result = imported(sqlite_store, path, chosen)
    assert result.counts == {}
    assert rows(sqlite_store)[:3] == [("05-01 06:30", 10.0), ("05-01 09:30", 10.1), ("05-01 12:30", 10.2)]
    assert [value for _, value in rows(sqlite_store, 2)] == [0, 1, 3, 4, 5]


def test_a_workbooks_stamps_may_be_date_cells(sqlite_store: Store, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["time", "soil"])
    for n in range(4):
        sheet.append([datetime(2024, 5, 1) + timedelta(hours=12 * n), 10.5])  # noqa: DTZ001
    book.save(tmp_path / "log.xlsx")
    book.close()
    imported(sqlite_store, tmp_path / "log.xlsx", mapping())
    assert [when for when, _ in rows(sqlite_store)] == [
        "05-01 00:00",
        "05-01 12:00",
        "05-02 00:00",
        "05-02 12:00",
    ]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b" \r\n\n", "is empty"),
        (b"\x7fELF\0\0\0\0\1\2\3" * 50, "is not a text file"),
        (b"PK\x03\x04 not a zip", "is not a text file"),
        ("time,soil\n2024-05-01 00:00,10 °C\n".encode("latin-1"), "is not utf-8 text"),
        (
            b'time,soil\n"2024-05-01 00:00,10\n' + b"2024-05-01 00:00,10\n" * 20_000,
            "cannot be split into cells",
        ),
        (b"stamp,soil\n2024-05-01 00:00,10\n", "has no column “time”"),
        (b"time,soil,soil\n2024-05-01 00:00,10,11\n", "Several columns are called “soil”"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_sentence(
    sqlite_store: Store, tmp_path: Path, content: bytes, sentence: str
) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises((ImportFileError, UsageError), match=sentence) as caught:
        imported(sqlite_store, path, mapping())
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_folder_are_one_sentence(sqlite_store: Store, tmp_path: Path) -> None:
    with pytest.raises(ImportFileError, match="There is no file"):
        imported(sqlite_store, tmp_path / "none.csv", mapping())
    with pytest.raises(ImportFileError, match="is a folder"):
        imported(sqlite_store, tmp_path, mapping())


def test_a_stamp_without_any_zone_is_refused_not_guessed(sqlite_store: Store, tmp_path: Path) -> None:
    path = written(tmp_path, "time,soil\n2024-05-01 00:00,10\n")
    with pytest.raises(UsageError, match="has no offset; set time"):
        imported(sqlite_store, path, mapping(time={"offset": ""}))


def test_a_killed_import_is_finished_by_running_it_again(sqlite_store: Store, tmp_path: Path) -> None:
    lines = "\n".join(f"{1_700_000_000 + 60 * n},{n % 50}" for n in range(50_000))
    path, chosen = written(tmp_path, "time,soil\n" + lines), mapping(time={"format": "epoch s"})

    def die(tally: feeds.Tally) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        imported(sqlite_store, path, chosen, progress=die)
    with sqlite_store.read() as tx:
        before = readings.count(tx)
    assert 0 < before < 50_000
    assert imported(sqlite_store, path, chosen).readings_new == 50_000 - before


# Real files ----------------------------------------------------------------------------------------------


def plain(name: str) -> Iterator[dict[str, str]]:
    with shared_file(name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def expected(
    name: str, column: str, moment: Any, missing: str = "", factor: float = 1.0
) -> tuple[list[int], list[float]]:
    """Stamps and values of one column, read the plain way; the first of a double stamp."""
    found: dict[int, float] = {}
    for row in plain(name):
        if row[column] not in ("", missing):
            found.setdefault(round(moment(row).timestamp() * 1000), float(row[column]) * factor)
    return sorted(found), [found[time_ms] for time_ms in sorted(found)]


def same(store: Store, head: int, column: str, wanted: tuple[list[int], list[float]]) -> None:
    found = stored(store, head)
    kept = ~np.isnan(found.values[column])
    assert found.time_ms[kept].tolist() == wanted[0]
    # 1e-9: a value is rounded to ten decimals after its unit is converted.
    assert found.values[column][kept] == pytest.approx(wanted[1], abs=1e-9)


@pytest.mark.data
def test_bondville_with_sentinels_half_hours_and_inches(sqlite_store: Store) -> None:
    name, chosen = "field_bondville_1998.csv", load_mapping(MAPPINGS / "bondville.toml")
    result = imported(sqlite_store, shared_file(name), chosen)
    assert (result.rows, result.counts) == (17_520, {})
    west = timezone(timedelta(hours=-6))

    def moment(row: dict[str, str]) -> datetime:
        return datetime.strptime(row["time_lst"], "%Y-%m-%d %H:%M").replace(tzinfo=west)

    for column, head, quantity, factor in (
        ("air_temp_c", 0, "air_temp_c", 1.0),
        ("rain_in", 0, "rain_mm", 25.4),
        ("soil_temp_2cm_c", 1, "soil_temp_c", 1.0),
        ("soil_moisture_5cm_m3_m3", 1, "moisture_m3_m3", 1.0),
    ):
        same(sqlite_store, head, quantity, expected(name, column, moment, "-6999", factor))
    # The data's own note: about 50 soil temperatures are missing.
    assert 40 < int(np.isnan(stored(sqlite_store, 1).values["soil_temp_c"]).sum()) < 60
    assert imported(sqlite_store, shared_file(name), chosen).readings_new == 0


@pytest.mark.data
def test_ford_dry_lake_with_date_and_time_apart(sqlite_store: Store) -> None:
    name = "field_ford_dry_lake_2015.csv"
    result = imported(sqlite_store, shared_file(name), load_mapping(MAPPINGS / "ford_dry_lake.toml"))
    assert (result.rows, result.counts) == (8_760, {})
    west = timezone(timedelta(hours=-8))

    def moment(row: dict[str, str]) -> datetime:
        return datetime.strptime(f"{row['Date']} {row['Time']}", "%Y-%m-%d %H:%M").replace(tzinfo=west)

    same(sqlite_store, 1, "moisture_m3_m3", expected(name, "SMS.I_2", moment, factor=0.01))
    same(sqlite_store, 2, "soil_temp_c", expected(name, "STO.I_4", moment))
    same(sqlite_store, 0, "rain_mm", expected(name, "PRCP.H", moment, factor=25.4))
    # The data's own note: 241 scattered gaps in STO.I_2.
    lacking = sum(row["STO.I_2"] == "" for row in plain(name))
    assert lacking == 241
    assert int((~np.isnan(stored(sqlite_store, 1).values["soil_temp_c"])).sum()) == 8_760 - 241


@pytest.mark.data
@pytest.mark.parametrize(
    ("file", "toml", "column", "quantity"),
    [
        ("dry_season_soil_moisture_2022_06.csv", "dry_season_moisture.toml", "vwc_m3_m3", "moisture_m3_m3"),
        ("dry_season_soil_temp_2022_06.csv", "dry_season_temp.toml", "soil_temp_c", "soil_temp_c"),
    ],
)
def test_the_dry_season_plots_become_heads(
    sqlite_store: Store, file: str, toml: str, column: str, quantity: str
) -> None:
    result = imported(sqlite_store, shared_file(file), load_mapping(MAPPINGS / toml))
    assert result.counts == {}
    flagged = sum(row["final_qf"] != "0" for row in plain(file))
    assert (result.rows, result.rows_elsewhere) == (7_200, flagged)
    for plot in range(1, 6):
        wanted = [
            (round(datetime.fromisoformat(row["start_utc"]).timestamp() * 1000), float(row[column]))
            for row in plain(file)
            if row["plot"] == str(plot) and row["final_qf"] == "0" and row[column]
        ]
        if wanted:
            same(sqlite_store, plot, quantity, ([t for t, _ in wanted], [v for _, v in wanted]))


@pytest.mark.data
@pytest.mark.parametrize(
    ("place", "column", "head", "quantity"),
    [
        ("inside", "Tair", 0, "air_temp_c"),
        ("inside", "Rhair_second", 1, "rh_pct"),
        ("outside", "Tout", 0, "air_temp_c"),
    ],
)
def test_the_glasshouse_with_american_dates(
    sqlite_store: Store, place: str, column: str, head: int, quantity: str
) -> None:
    name = f"glasshouse_{place}_2022.csv"
    imported(sqlite_store, shared_file(name), load_mapping(MAPPINGS / f"glasshouse_{place}.toml"))

    def moment(row: dict[str, str]) -> datetime:
        return datetime.strptime(row["Date"], "%m/%d/%Y %H:%M").replace(tzinfo=timezone(timedelta(hours=1)))

    wanted = {
        round(moment(row).timestamp() * 1000): float(row[column])
        for row in plain(name)
        if row[column] and math.isfinite(float(row[column]))
    }
    same(sqlite_store, head, quantity, (sorted(wanted), [wanted[t] for t in sorted(wanted)]))


@pytest.mark.data
def test_daily_weather_in_a_zone_with_daylight_saving(sqlite_store: Store) -> None:
    name = "weather_seattle_daily.csv"
    result = imported(sqlite_store, shared_file(name), load_mapping(MAPPINGS / "seattle.toml"))
    assert (result.rows, result.counts, result.readings) == (1_461, {}, 2 * 1_461)

    def moment(row: dict[str, str]) -> datetime:
        return datetime.strptime(row["date"], "%Y/%m/%d").replace(tzinfo=ZoneInfo("America/Los_Angeles"))

    same(sqlite_store, 0, "rain_mm", expected(name, "precipitation", moment))
    same(sqlite_store, 1, "air_temp_c", expected(name, "temp_min", moment))


@pytest.mark.data
@pytest.mark.parametrize("name", ["germination_thermogradient.csv", "moisture_sensor_vs_sample.csv"])
def test_a_table_without_stamps_is_refused_in_a_sentence(sqlite_store: Store, name: str) -> None:
    with pytest.raises(UsageError, match="has no column “time”"):
        imported(sqlite_store, shared_file(name), mapping())
