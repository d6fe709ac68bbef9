"""Forecast and weather files: guessed, mapped, read by the hour and by the day, with their faults counted."""

import json
import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.shared_data import shared_file
from traywarden.errors import ImportFileError, UsageError
from traywarden.services.findings import Findings
from traywarden.services.outside_files import by_day, by_hour, read_outside
from traywarden.services.outside_import import import_forecast, import_weather
from traywarden.services.outside_mapping import (
    OutsideMapping,
    guess_outside,
    load_outside_mapping,
    outside_mapping_from,
    outside_toml,
)
from traywarden.store import outside as outside_store
from traywarden.store.store import Store

LISBON = ZoneInfo("Europe/Lisbon")


def csv(folder: Path, text: str, name: str = "forecast.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def guessed(path: Path, zone: str = "Europe/Lisbon") -> OutsideMapping:
    found = guess_outside(path, zone=zone)
    assert not found.doubts
    return found.mapping


def columns(mapping: OutsideMapping) -> dict[str, tuple[str, str]]:
    return {column.quantity: (column.name, column.unit) for column in mapping.columns}


HOURLY = (
    "time,temperature_2m (°F),dew_point (°F),relative_humidity (%),precipitation (inch),wind_speed (km/h)\n"
)


def test_a_forecasts_columns_are_guessed_and_its_units_turned(tmp_path: Path) -> None:
    path = csv(tmp_path, HOURLY + "2026-06-01T00:00,50,41,80,0.1,36\n2026-06-01T01:00,59,41,75,,18\n")
    mapping = guessed(path)
    assert columns(mapping) == {
        "air_temp_c": ("temperature_2m (°F)", "°F"),
        "rh_pct": ("relative_humidity (%)", "%"),
        "rain_mm": ("precipitation (inch)", "in"),
        "wind_m_s": ("wind_speed (km/h)", "km/h"),
    }
    time_ms, values = by_hour(read_outside(path, mapping, Findings()))
    # Midnight of Lisbon's summer is 23:00 UTC.
    assert time_ms.tolist() == [1_780_268_400_000, 1_780_272_000_000]
    np.testing.assert_allclose(values["air_temp_c"], [10.0, 15.0])
    np.testing.assert_allclose(values["rain_mm"], [2.54, np.nan])
    np.testing.assert_allclose(values["wind_m_s"], [10.0, 5.0])


def test_json_of_lists_and_json_of_objects_read_the_same(tmp_path: Path) -> None:
    times = [f"2026-06-01T{h:02}:00" for h in range(4)]
    lists = {"hourly": {"time": times, "temperature_c": [1.0, 2.0, None, 4.0]}}
    objects = [{"time": t, "temperature_c": v} for t, v in zip(times, [1.0, 2.0, None, 4.0], strict=True)]
    found = []
    for number, tree in enumerate((lists, objects)):
        path = csv(tmp_path, json.dumps(tree), f"{number}.json")
        time_ms, values = by_hour(read_outside(path, guessed(path), Findings()))
        found.append((time_ms.tolist(), values["air_temp_c"].tolist()))
    np.testing.assert_equal(found[0], found[1])
    assert found[0][1][:2] == [1.0, 2.0]


def test_temperatures_without_a_unit_are_fahrenheit_where_no_air_is_that_warm(tmp_path: Path) -> None:
    path = csv(tmp_path, "date,tmax,tmin\n" + "".join(f"2020-05-{d:02},72,50\n" for d in range(1, 29)))
    mapping = guessed(path)
    assert columns(mapping) == {"air_max_c": ("tmax", "°F"), "air_min_c": ("tmin", "°F")}
    assert any("taken as °F" in note for note in mapping.notes)


def test_rows_in_between_hours_are_averaged_and_rain_summed(tmp_path: Path) -> None:
    path = csv(
        tmp_path,
        "time,temp_c,rain_mm\n2026-06-01 00:00,10,1\n2026-06-01 00:30,12,2\n2026-06-01 01:00,9,0\n",
    )
    _, values = by_hour(read_outside(path, guessed(path), Findings()))
    assert values["air_temp_c"].tolist() == [11.0, 9.0]
    assert values["rain_mm"].tolist() == [3.0, 0.0]


def test_what_cannot_be_taken_is_counted_and_the_rest_is_read(tmp_path: Path) -> None:
    lines = ("00:00,10", "later,11", "02:00,warm", "03:00,999", "04:00")
    path = csv(tmp_path, "time,temp_c\n" + "".join(f"2026-06-01 {line}\n" for line in lines))
    mapping = outside_mapping_from(
        tomllib.loads(
            """
            [time]
            columns = ["time"]
            zone = "Europe/Lisbon"
            [[column]]
            name = "temp_c"
            quantity = "air_temp_c"
            unit = "°C"
            """
        ),
        "here",
    )
    findings = Findings()
    rows = read_outside(path, mapping, findings)
    assert findings.counts == {
        "row with a wrong number of cells": 1,
        "stamp that cannot be read": 1,
        "cell that cannot be read": 1,
        "value no sensor can give": 1,
    }
    assert int(np.isfinite(rows.values["air_temp_c"]).sum()) == 1


def test_hours_make_days_of_the_garden_and_a_short_day_has_no_extremes(tmp_path: Path) -> None:
    hours = [f"2026-06-{1 + h // 24:02}T{h % 24:02}:00Z,{10 + h % 24}\n" for h in range(24 * 3)]
    path = csv(tmp_path, "time,temp_c\n" + "".join(hours))
    day, values = by_day(read_outside(path, guessed(path), Findings()), LISBON)
    # A Lisbon day of summer begins at 23:00 UTC the day before; the first and the last are cut short.
    assert day.tolist() == [20_605, 20_606, 20_607, 20_608]
    np.testing.assert_array_equal(values["air_min_c"], [10.0, 10.0, 10.0, np.nan])
    np.testing.assert_array_equal(values["air_max_c"], [32.0, 33.0, 33.0, np.nan])


def test_a_mapping_survives_being_written_and_names_every_mistake(tmp_path: Path) -> None:
    path = csv(tmp_path, HOURLY + "2026-06-01T00:00,50,41,80,0.1,36\n2026-06-01T01:00,59,41,75,,18\n")
    mapping = guessed(path)
    written = csv(tmp_path, outside_toml(mapping), "map.toml")
    again = load_outside_mapping(written)
    assert (again.shape, again.time, again.columns, again.missing) == (
        mapping.shape,
        mapping.time,
        mapping.columns,
        mapping.missing,
    )
    wrong = csv(
        tmp_path,
        """
        [time]
        columns = ["t"]
        zone = "Europe/Atlantis"
        [[column]]
        name = "x"
        quantity = "air_tmp_c"
        unit = "°C"
        [[column]]
        name = "y"
        quantity = "wind_m_s"
        unit = "°C"
        """,
        "wrong.toml",
    )
    with pytest.raises(UsageError) as caught:
        load_outside_mapping(wrong)
    assert all(word in str(caught.value) for word in ("Atlantis", "did you mean “air_temp_c”", "m/s, km/h"))


def test_a_forecast_goes_in_and_again_adds_nothing(tmp_path: Path, sqlite_store: Store) -> None:
    rows = "".join(f"2026-06-01T{h:02}:00,{10 + h}\n" for h in range(24))
    path = csv(tmp_path, "time,temp_c\n" + rows)
    mapping = guessed(path)
    for _ in range(2):
        found = import_forecast(sqlite_store, path, mapping, "office", 1_780_311_600_000)
        assert (found.hours, found.hours_ahead) == (24, 12)
    with sqlite_store.read() as tx:
        (kept,) = outside_store.forecasts_issued(tx, 0, 2_000_000_000_000)
    assert kept.air_temp_c.tolist() == [10.0 + h for h in range(24)]


def test_days_are_no_forecast_and_a_file_without_lows_is_no_past_weather(
    tmp_path: Path, sqlite_store: Store
) -> None:
    days = csv(tmp_path, "date,temp\n" + "".join(f"2026-06-{d:02},{d}\n" for d in range(1, 20)))
    with pytest.raises(ImportFileError, match="row a day"):
        import_forecast(sqlite_store, days, guessed(days), "office", 1)
    with pytest.raises(ImportFileError, match="lowest and highest"):
        import_weather(sqlite_store, days, guessed(days), "office", LISBON)


@pytest.mark.data
def test_four_years_of_recorded_days_are_read_whole(sqlite_store: Store) -> None:
    path = shared_file("weather_seattle_daily.csv")
    zone = ZoneInfo("America/Los_Angeles")
    found = import_weather(sqlite_store, path, guessed(path, zone.key), "seattle", zone)
    assert (found.days, found.days_new, found.made_of) == (1461, 1461, "days")
    assert (str(found.first), str(found.last)) == ("2012-01-01", "2015-12-31")
    with sqlite_store.read() as tx:
        (kept,) = outside_store.weather_days(tx)
    assert (kept.air_min_c[0], kept.air_max_c[0], kept.rain_mm[1]) == (5.0, 12.8, 10.9)
    assert import_weather(sqlite_store, path, guessed(path, zone.key), "seattle", zone).days_new == 0
