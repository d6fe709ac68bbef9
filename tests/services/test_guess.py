"""A mapping is guessed where the file leaves no doubt, and a doubt is asked about."""

from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from tests.shared_data import shared_file
from traywarden.errors import ImportFileError
from traywarden.services.guess import Guess, guess
from traywarden.services.guess_columns import words_of
from traywarden.services.mapping import Mapping


def guessed(tmp_path: Path, text: str, encoding: str = "utf-8", **said: str) -> Guess[Mapping]:
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode(encoding))
    return guess(path, **({"offset": "+00:00"} | said))


def columns(found: Guess[Mapping]) -> list[tuple[str, int, str, str]]:
    return [(c.name, c.head, c.quantity, c.unit) for c in found.mapping.columns]


def log(header: str, row: str, stamps: list[str]) -> str:
    return "\n".join([header, *(row.format(stamp) for stamp in stamps)]) + "\n"


ISO = [f"2024-05-{day:02} 06:00" for day in range(1, 9)]


@pytest.mark.parametrize(
    ("name", "quantity", "unit"),
    [
        ("Temp (°C)", "air_temp_c", "°C"),
        ("SoilT_F", "soil_temp_c", "°F"),
        ("Soil Temperature [degF]", "soil_temp_c", "°F"),
        ("soil_temp_2cm_c", "soil_temp_c", "°C"),
        ("Air Temp. °F", "air_temp_c", "°F"),
        ("VWC %", "moisture_m3_m3", "%"),
        ("Soil moisture (m3/m3)", "moisture_m3_m3", "m³/m³"),
        ("Moisture_mV", "moisture_v", "mV"),
        ("RH", "rh_pct", "%"),
        ("Rel. humidity (%)", "rh_pct", "%"),
        ("Rain_mm", "rain_mm", "mm"),
        ("Precip (in)", "rain_mm", "in"),
        ("Batt_V", "battery_v", "V"),
    ],
)
def test_quantity_and_unit_are_read_from_the_header(
    tmp_path: Path, name: str, quantity: str, unit: str
) -> None:
    found = guessed(tmp_path, log(f"Timestamp,{name}", "{},0.5", ISO))
    assert [(c.quantity, c.unit) for c in found.mapping.columns] == [(quantity, unit)]
    assert found.doubts == ()


def test_what_is_not_understood_is_named_not_taken(tmp_path: Path) -> None:
    found = guessed(tmp_path, log("time,wind speed,dew temp,soil temp", "{},1,2,3", ISO))
    assert columns(found) == [("soil temp", 1, "soil_temp_c", "°C")]
    assert any("wind speed, dew temp" in note for note in found.mapping.notes)
    assert any("“soil temp” says no unit" in note for note in found.mapping.notes)


def test_sensors_of_one_depth_share_a_head(tmp_path: Path) -> None:
    header = "time,soil_temp_5cm_c,soil_temp_10cm_c,vwc_10cm_m3_m3,vwc_5cm_m3_m3,air_temp_c"
    found = guessed(tmp_path, log(header, "{},1,2,0.3,0.2,5", ISO))
    assert [(c.name, c.head) for c in found.mapping.columns] == [
        ("soil_temp_5cm_c", 1),
        ("soil_temp_10cm_c", 2),
        ("vwc_10cm_m3_m3", 2),
        ("vwc_5cm_m3_m3", 1),
        ("air_temp_c", 0),
    ]


def test_a_table_in_the_european_way(tmp_path: Path) -> None:
    stamps = [f"{day:02}.05.2024 06:00" for day in range(10, 16)]
    text = 'Logger "Nord"\nGerät;4711\nDatum;Bodenfeuchte VWC (%);Soil temp °C\n'
    found = guessed(tmp_path, text + "\n".join(f"{s};31,5;12,25" for s in stamps) + "\n", "latin-1")
    shape = found.mapping.shape
    assert (shape.delimiter, shape.decimal, shape.encoding, shape.skip_rows) == (";", ",", "latin-1", 2)
    assert found.mapping.time.format == "%d.%m.%Y %H:%M"


@pytest.mark.parametrize(
    ("stamps", "pattern"),
    [
        ([f"5/{day}/2024 6:00" for day in range(1, 20)], "%m/%d/%Y %H:%M"),
        ([f"{day}/5/2024 6:00:30" for day in range(1, 20)], "%d/%m/%Y %H:%M:%S"),
        ([f"{day}-05-24 6:00 PM" for day in range(10, 20)], "%d-%m-%y %I:%M %p"),
        ([f"2024/05/{day:02} 06:00" for day in range(1, 9)], "%Y/%m/%d %H:%M"),
        (ISO, "iso"),
        ([f"{text}Z" for text in ISO], "iso"),
        ([str(1_714_543_200 + 60 * n) for n in range(5)], "epoch s"),
        ([str(1_714_543_200_000 + 60 * n) for n in range(5)], "epoch ms"),
    ],
)
def test_stamps_that_read_one_way_only(tmp_path: Path, stamps: list[str], pattern: str) -> None:
    found = guessed(tmp_path, log("time,soil temp (°C)", "{},1", stamps))
    assert (found.mapping.time.format, found.doubts) == (pattern, ())


def test_day_and_month_that_could_be_either_are_asked_about(tmp_path: Path) -> None:
    text = log("time,soil temp (°C)", "{},1", ["2/1/2024 0:00", "2/1/2024 0:30", "3/1/2024 0:00"])
    asked = guessed(tmp_path, text)
    assert [doubt.key for doubt in asked.doubts] == ["date_order"]
    assert "2/1/2024 0:00" in asked.doubts[0].question
    for order, pattern in (("dmy", "%d/%m/%Y %H:%M"), ("mdy", "%m/%d/%Y %H:%M")):
        told = guessed(tmp_path, text, date_order=order)
        assert (told.mapping.time.format, told.doubts) == (pattern, ())


def test_one_telling_date_anywhere_in_the_file_settles_it(tmp_path: Path) -> None:
    stamps = [f"2/1/2024 {n // 60 % 24}:{n % 60:02}" for n in range(2500)] + ["2/13/2024 0:00"]
    found = guessed(tmp_path, log("time,soil temp (°C)", "{},1", stamps))
    assert (found.mapping.time.format, found.doubts) == ("%m/%d/%Y %H:%M", ())


def test_stamps_without_a_zone_are_asked_about_unless_they_carry_it(tmp_path: Path) -> None:
    bare = log("time,soil temp (°C)", "{},1", ISO)
    assert [doubt.key for doubt in guessed(tmp_path, bare, offset="").doubts] == ["zone"]
    assert guessed(tmp_path, bare, offset="", zone="Europe/Lisbon").mapping.time.zone == "Europe/Lisbon"
    aware = log("time,soil temp (°C)", "{}+01:00,1", ISO)
    assert guessed(tmp_path, aware, offset="").doubts == ()


def test_newest_first_and_sentinels_are_noticed(tmp_path: Path) -> None:
    found = guessed(tmp_path, log("time,soil temp (°C)", "{},-9999", ISO[::-1]) + "2024-04-01 00:00,3\n")
    assert found.mapping.time.newest_first
    assert "-9999" in found.mapping.missing


def test_a_long_table_gets_a_head_for_each_of_its_plots(tmp_path: Path) -> None:
    rows = "".join(f"{plot},{stamp},1\n" for plot in ("north", "south") for stamp in ISO)
    found = guessed(tmp_path, "plot,time,soil temp (°C)\n" + rows)
    assert [(c.head, c.where) for c in found.mapping.columns] == [
        (1, (("plot", ("north",)),)),
        (2, (("plot", ("south",)),)),
    ]


def test_a_workbook_is_guessed_like_a_file(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Date", "Time", "Soil temp (°F)"])
    for n in range(5):
        moment = datetime(2024, 5, 1, 8) + timedelta(hours=n)  # noqa: DTZ001
        sheet.append([moment.date(), moment.time(), 50.5])
    book.save(tmp_path / "log.xlsx")
    book.close()
    found = guess(tmp_path / "log.xlsx", offset="+00:00")
    assert found.mapping.time.columns == ("Date", "Time")
    assert columns(found) == [("Soil temp (°F)", 1, "soil_temp_c", "°F")]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("just words\nand more\n", "is not a table"),
        ("a,b\n1,2\n3,4\n", "no column holds dates"),
        ("time,wind\n2024-05-01 00:00,4\n", "no column's name says what it measures"),
        ("time,soil temp\n", "nothing to import"),
    ],
)
def test_a_file_that_cannot_be_guessed_is_one_sentence(tmp_path: Path, text: str, sentence: str) -> None:
    with pytest.raises(ImportFileError, match=sentence):
        guessed(tmp_path, text)


def test_headers_part_into_words() -> None:
    assert words_of("SoilT_F") == "soil t f"
    assert words_of("Air Temp. (°C)") == "air temp"
    assert words_of("STO.I_2") == "sto i 2"


@pytest.mark.data
@pytest.mark.parametrize(
    ("name", "pattern", "wanted"),
    [
        (
            "field_bondville_1998.csv",
            "iso",
            {
                ("rain_in", 0, "rain_mm", "in"),
                ("soil_temp_2cm_c", 1, "soil_temp_c", "°C"),
                ("soil_moisture_5cm_m3_m3", 1, "moisture_m3_m3", "m³/m³"),
            },
        ),
        (
            "field_ford_dry_lake_2015.csv",
            "iso",
            {
                ("SMS.I_2", 1, "moisture_m3_m3", "volume %"),
                ("STO.I_2", 1, "soil_temp_c", "°C"),
                ("BATT.I", 0, "battery_v", "V"),
            },
        ),
        ("glasshouse_outside_2022.csv", "%m/%d/%Y %H:%M", {("Tout", 0, "air_temp_c", "°C")}),
        ("weather_seattle_daily.csv", "%Y/%m/%d", {("precipitation", 0, "rain_mm", "mm")}),
    ],
)
def test_real_files_are_guessed(name: str, pattern: str, wanted: set[tuple[str, int, str, str]]) -> None:
    found = guess(shared_file(name), offset="+00:00")
    assert found.mapping.time.format == pattern
    assert wanted <= set(columns(found))
