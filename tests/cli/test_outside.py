"""`forecast` and `weather` on the command line."""

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.cli.conftest import NOW_MS, CommandLine

NOW = datetime.fromtimestamp(NOW_MS / 1000, UTC)


def forecast_file(folder: Path, start: datetime, hours: int = 60) -> Path:
    rows = [
        (start + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%MZ") + f",{15 + h % 24 / 2}" for h in range(hours)
    ]
    path = folder / "office.csv"
    path.write_text("time,temperature (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    os.utime(path, (start.timestamp(), start.timestamp()))
    return path


def test_a_forecast_is_shown_by_day_while_it_reaches_ahead(garden: CommandLine, tmp_path: Path) -> None:
    path = forecast_file(tmp_path, NOW.replace(minute=0) - timedelta(hours=2))
    out = garden.ok("forecast", "import", str(path), "--yes", "--source", "weather office")
    assert "60 hours of “weather office”" in out
    shown = garden.ok("forecast", "show")
    assert "still reaches 2 days 10 h ahead" in shown
    assert "assumed as its error" in shown
    answer = garden.json("forecast", "show")
    assert answer["history"] is False
    assert [day["hours"] for day in answer["days"]] == [11, 24, 24, 1]


def test_a_forecast_older_than_its_hours_is_history(garden: CommandLine, tmp_path: Path) -> None:
    path = forecast_file(tmp_path, NOW - timedelta(days=4))
    garden.ok("forecast", "import", str(path), "--yes")
    assert "it is history and drives no outlook" in garden.ok("forecast", "show")
    assert garden.json("forecast", "show")["history"] is True


def test_a_guessed_mapping_is_shown_and_nothing_taken_without_yes(
    garden: CommandLine, tmp_path: Path
) -> None:
    path = forecast_file(tmp_path, NOW)
    answer = garden("forecast", "import", str(path))
    assert answer.code == 2
    assert 'quantity = "air_temp_c"' in answer.out
    assert "Nothing was imported" in answer.err
    assert "There is no forecast yet" in garden.refused("forecast", "show", code=9)


def test_a_saved_mapping_is_taken_without_asking(garden: CommandLine, tmp_path: Path) -> None:
    path, mapping = forecast_file(tmp_path, NOW), tmp_path / "map.toml"
    garden.ok("forecast", "import", str(path), "--yes", "--write-map", str(mapping))
    garden.ok("forecast", "import", str(path), "--map", str(mapping))
    assert "There is no mapping file" in garden.refused("forecast", "import", str(path), "--map", "none.toml")


def test_past_weather_is_read_shown_and_forgotten(garden: CommandLine, tmp_path: Path) -> None:
    first = datetime(2024, 1, 1, tzinfo=UTC)
    days = [
        (first + timedelta(days=d)).strftime("%Y-%m-%d") + f",{5 + d % 7},{15 + d % 9}" for d in range(700)
    ]
    path = tmp_path / "airfield.csv"
    path.write_text("date,tmin (°C),tmax (°C)\n" + "\n".join(days) + "\n", encoding="utf-8")
    assert "700 are new" in garden.ok("weather", "import", str(path), "--yes")
    assert "0 are new" in garden.ok("weather", "import", str(path), "--yes")
    (shown,) = garden.json("weather", "show")
    assert (shown["source"], shown["days"], shown["lacking"], shown["whole_years"]) == ("airfield", 700, 0, 1)
    assert "airfield" in garden.ok("weather", "show")
    assert "There is no source called “x”; there is “airfield”." in garden.refused("weather", "forget", "x")
    assert "700 days" in garden.ok("weather", "forget", "airfield")
    assert json.loads(garden.ok("weather", "show", "--json")) == []
