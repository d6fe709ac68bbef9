"""The notebook gives pandas tables in the garden's zone, and the page about it runs as printed."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.services.little_garden import FRAME_WARMER_C, NOW_MS, START_MS, STEP_MS, little_garden
from traywarden.domain.flags import POLICY
from traywarden.domain.readings import Reading
from traywarden.errors import UnknownNameError, UsageError
from traywarden.notebook import NotebookGarden, open_garden
from traywarden.store import outside as outside_store
from traywarden.store import readings as reading_store

DOCS = Path(__file__).parents[1] / "docs"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home")
    made = little_garden(folder)
    with made.store.write() as tx:
        at_ms = START_MS + STEP_MS // 2
        reading_store.insert(tx, [Reading("frame", 1, 2, 1, at_ms, at_ms, soil_temp_c=-127.0)])
    made.store.close()
    (folder / "settings.toml").write_text('[host]\nclock = "readings"\n', encoding="utf-8")
    return folder


@pytest.fixture
def garden(home: Path) -> Iterator[NotebookGarden]:
    with open_garden(home) as opened:
        yield opened


def test_the_example_on_the_page_runs_as_printed(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    page = (DOCS / "notebook.md").read_text("utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    monkeypatch.setenv("TRAYWARDEN_HOME", str(home))
    exec(compile(code, "docs/notebook.md", "exec"), {})
    out = capsys.readouterr().out
    assert "Cold frame was 4.0 °C warmer than Open bench" in out
    assert "sensor and journal" in out


def test_readings_are_indexed_in_the_gardens_zone_from_start_up_to_end(garden: NotebookGarden) -> None:
    table = garden.readings("tomatoes", "2026-03-03", "2026-03-04")
    assert isinstance(table.index, pd.DatetimeIndex)
    assert str(table.index.tz) == "Europe/Lisbon"
    assert len(table) == 144
    assert table.index[0] == pd.Timestamp("2026-03-03", tz="Europe/Lisbon")
    assert set(table["head"]) == {"frame/1"}


def test_a_clock_time_that_comes_twice_or_never_is_still_a_moment(garden: NotebookGarden) -> None:
    """In Lisbon clocks jumped from 1:00 to 2:00 on 29 March 2026 and go back from 2:00 on 25 October."""
    jumped = garden._ms("2026-03-29 01:30")
    twice = garden._ms("2026-10-25 01:30")
    assert pd.Timestamp(jumped, unit="ms", tz="UTC") == pd.Timestamp("2026-03-29 01:00", tz="UTC")
    assert pd.Timestamp(twice, unit="ms", tz="UTC") == pd.Timestamp("2026-10-25 00:30", tz="UTC")
    for words in ("last full moon", ""):
        with pytest.raises(UsageError, match="cannot be read"):
            garden.readings("tomatoes", words)


def test_the_last_seven_days_are_the_default_and_another_zone_is_understood(garden: NotebookGarden) -> None:
    assert len(garden.readings("tomatoes")) == 7 * 144
    noon = pd.Timestamp("2026-03-03 12:00", tz="Asia/Tokyo")
    assert garden.readings("tomatoes", noon, "2026-03-04").index[0] == noon


def test_what_is_left_out_is_nan_unless_faults_are_asked_for(garden: NotebookGarden) -> None:
    clean = garden.readings("tomatoes", "2026-03-02", "2026-03-03")
    raw = garden.readings("tomatoes", "2026-03-02", "2026-03-03", faults=True)
    assert np.isnan(clean["soil_temp_c"].iloc[1])
    assert raw["soil_temp_c"].iloc[1] == -127.0
    assert raw["flags"].iloc[1] == "disconnected"
    assert (raw["flags"] != "").sum() == 1


def test_degree_days_and_waterings_and_dry_downs_are_tables_with_their_reasons(
    garden: NotebookGarden,
) -> None:
    warmth = garden.degree_days("tomatoes", base_c=0.0, start="2026-03-03", end="2026-03-05")
    assert warmth["degree_days"].tolist() == pytest.approx([14.0] * 3, abs=0.01)  # the frame's mean is 14 °C
    assert warmth.attrs["total"] == pytest.approx(42.0, abs=0.03)
    water = garden.waterings("tomatoes")
    assert len(water) == 3
    assert str(water.index.tz) == "Europe/Lisbon"  # type: ignore[attr-defined]
    drying = garden.dry_downs(mix="Peat mix")
    assert drying["tau_days"].dropna().tolist() == pytest.approx([3.0] * 3, rel=0.02)
    assert drying.loc[drying["tau_days"].isna(), "reason"].str.startswith("too short to say").all()


def test_moisture_is_a_table_of_heads_with_what_they_show(garden: NotebookGarden) -> None:
    table = garden.moisture()
    assert table.index.tolist() == ["tomatoes", "lettuce", "peppers"]
    assert table["moisture_m3_m3"].between(0.1, 0.6).all()
    assert table.loc["tomatoes", "level_name"] in {"dry", "medium-dry", "medium"}
    assert table.loc["tomatoes", "learned_plateaus"] == 3
    assert {mix["mix"] for mix in table.attrs["mixes"]} == {"Peat mix", "Bark mix"}


def test_mixes_are_compared_and_judged_in_tables(garden: NotebookGarden) -> None:
    table = garden.compare_mixes("Peat mix", "Bark mix")
    assert table.index.tolist() == ["Peat mix", "Bark mix"]
    assert table["trays"].tolist() == [1, 2]
    assert "in one tray alone" in table.attrs["sentence"]
    advice = garden.mix_advice("Bark mix")
    assert advice["weather"].tolist() == ["cool", "hot"]
    assert advice.attrs["sentence"]


def test_compare_gives_days_and_keeps_the_sentence(garden: NotebookGarden) -> None:
    week = garden.compare("Cold frame", "Open bench")
    assert week["mean_difference_c"].tolist()[:7] == pytest.approx([FRAME_WARMER_C] * 7, abs=0.01)
    assert np.isnan(week["mean_difference_c"].iloc[7])  # today is not over
    assert week.attrs["mean_difference_c"] == pytest.approx(FRAME_WARMER_C, abs=0.01)
    assert week.attrs["sentence"].startswith("2026-03-09 to 2026-03-16 (7 of 8 days count): Cold frame")


def test_a_garden_can_be_asked_as_of_another_instant(home: Path) -> None:
    (home / "settings.toml").rename(home / "aside")
    try:
        with open_garden(home, now="2026-03-05 08:00") as garden:
            assert garden.readings("tomatoes").index.max() <= pd.Timestamp(
                "2026-03-05 08:00", tz="Europe/Lisbon"
            )
    finally:
        (home / "aside").rename(home / "settings.toml")


def test_wrong_names_and_times_and_an_empty_folder_get_one_sentence(
    garden: NotebookGarden, tmp_path: Path
) -> None:
    with pytest.raises(UnknownNameError, match="did you mean “tomatoes”"):
        garden.readings("tomatos")
    with pytest.raises(UsageError, match="cannot be read"):
        garden.readings("tomatoes", "some day")
    with pytest.raises(UsageError, match="no garden"):
        open_garden(tmp_path)


def test_no_readings_in_a_span_is_an_empty_table(garden: NotebookGarden) -> None:
    assert len(garden.readings("tomatoes", "2025-01-01", "2025-01-02")) == 0
    assert garden.trays == ["tomatoes", "lettuce", "peppers"]
    assert garden.places == ["Cold frame", "Open bench", "Shade"]


def test_the_page_about_quality_states_every_flag_with_its_policy() -> None:
    page = (DOCS / "quality.md").read_text("utf-8")
    for flag, (left_out, reason) in POLICY.items():
        name = str(flag.name).lower().replace("_", " ")
        row = next(line for line in page.splitlines() if line.startswith(f"| {name} |"))
        assert row.endswith(f"| {'yes' if left_out else 'no'} | {reason} |"), name


def test_emergence_is_one_row_per_tray_with_bands_in_the_gardens_zone(garden: NotebookGarden) -> None:
    table = garden.emergence()
    assert set(table.index) == {"tomatoes", "lettuce", "peppers"}
    assert str(table["first_expected"].dt.tz) == "Europe/Lisbon"
    tomato = table.loc["tomatoes"]
    assert tomato["first_low"] < tomato["first_expected"] < tomato["half_expected"]
    assert 0.5 < tomato["done_expected"] < 1.0
    assert table.loc["lettuce", "state"] == "late"
    assert next(iter(table.attrs["causes"]["lettuce"]))[0] == "cold"


def test_learned_factors_are_a_table_by_crop_and_lot(garden: NotebookGarden) -> None:
    table = garden.learned("tomato")
    (row,) = table.to_dict("records")
    assert table.index.to_list() == [("Tomato", "")]
    assert row["before"] == row["factor"] == 1.0
    assert row["low"] < 1.0 < row["high"]
    assert row["taught_by"] == 0


def test_the_outlook_is_a_table_by_tray_with_times_in_the_gardens_zone(garden: NotebookGarden) -> None:
    table = garden.outlook()
    assert list(table.index) == ["tomatoes", "peppers", "lettuce"]
    assert table["state"].tolist() == ["dry", "dries", "dries"]
    for name in ("by", "earliest", "latest"):
        assert str(table[name].dt.tz) == "Europe/Lisbon"
    path = garden.outlook("lettuce").attrs["path"]
    assert path["at"].is_monotonic_increasing
    assert (path["earliest"] <= path["latest"]).all()


def test_a_forecast_drives_the_outlook_of_a_notebook_as_that_of_the_command_line(tmp_path: Path) -> None:
    """Two hot dry days are foretold: what dries comes sooner, and it says whose forecast it rests on."""
    made = little_garden(tmp_path)
    (tmp_path / "settings.toml").write_text('[host]\nclock = "readings"\n', encoding="utf-8")
    with open_garden(tmp_path) as opened:
        plain = opened.outlook()
    hours_ms = np.asarray(NOW_MS + 3_600_000 * np.arange(48), np.int64)
    with made.store.write() as tx:
        hot = {"air_temp_c": np.full(48, 30.0), "rh_pct": np.full(48, 25.0)}
        outside_store.put_forecast(tx, "invented", NOW_MS, hours_ms, hot)
    made.store.close()
    with open_garden(tmp_path) as opened:
        driven = opened.outlook()
    assert not plain["rests_on"].str.contains("invented").any()
    assert "forecast “invented”" in driven["rests_on"]["lettuce"]
    assert driven["in_s"]["lettuce"] < plain["in_s"]["lettuce"]


def test_the_back_test_is_a_table_with_all_trays_first(garden: NotebookGarden) -> None:
    table = garden.backtest(days=30)
    assert table.index[0] == "all trays"
    assert table.loc["all trays", "dry_downs"] == 8
    assert table.attrs["sentence"].startswith("In 8 dry-downs")
    assert table.attrs["day_before"].loc["peppers", "cases"] > 0


def test_tonight_and_the_coming_hours_are_tables_in_the_gardens_zone(garden: NotebookGarden) -> None:
    table = garden.tonight()
    assert set(table["what"]) == {"tonight's low", "tomorrow's high"}
    assert {"Cold frame", "Open bench"} == set(table["place"])
    assert (table["low_c"] <= table["estimate_c"]).all()
    assert table.attrs["sentence"].startswith("Tonight the coldest may be the ")
    hours = garden.coming_hours("cold frame")
    assert isinstance(hours.index, pd.DatetimeIndex)
    assert str(hours.index.tz) == "Europe/Lisbon"
    assert len(hours) == 48
    assert (hours["low_c"] <= hours["high_c"]).all()
    assert "reason" in garden.backtest_tonight()


def test_a_plan_is_a_table_by_sowing_day_and_says_why_it_rests_on_little(garden: NotebookGarden) -> None:
    table = garden.plan([("tomato", "Cold frame", "2026-06-01"), ("pepper", "Cold frame", "2026-06-01")])
    assert table["crop"].tolist() == ["Pepper", "Tomato"]
    assert table["sow"].is_monotonic_increasing
    assert table["years"].tolist() == [0, 0]
    assert table["reason"].str.contains("no past weather was imported").all()
