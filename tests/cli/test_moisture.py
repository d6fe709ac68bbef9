"""`moisture` and `mix accept`, `compare` and `advice` as a grower types them, in a simulated season."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine
from tests.services.season import kept_season
from traywarden.cli import context


@pytest.fixture(scope="module")
def _made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    home = tmp_path_factory.mktemp("home")
    made = kept_season(home, capacity_off=-0.08)
    made.store.close()
    return home, made.stored.now_ms


@pytest.fixture
def season(_made: tuple[Path, int], run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    home, now_ms = _made
    monkeypatch.setattr(context, "now_ms", lambda: now_ms)
    monkeypatch.setattr(run, "home", home)
    return run


def test_all_trays_come_in_one_sentence_and_a_table(season: CommandLine) -> None:
    out = season.ok("moisture")
    assert out.startswith("Medium: Tray 5. Wet: ")
    rows = [line for line in out.splitlines() if line.startswith("Tray ")]
    assert len(rows) == 9
    assert all("[" in row and "%" in row for row in rows)
    assert "no published source maps the levels to % of volume" in out


def test_one_tray_says_level_signs_dry_end_capacity_drift_and_warmth(season: CommandLine) -> None:
    out = season.ok("moisture", "tray 6", "--days", "60")
    assert out.startswith("Tray 6: level ")
    for words in ("by hand:", "dry point of its calibration", "waterings.", "Drift: ", "10 °C more read"):
        assert words in out


def test_per_degree_is_per_degree_shown(season: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    def effect(degree: str) -> float:
        (line,) = (x for x in season.ok("moisture", "tray 6", "-d", "60").splitlines() if "more read" in x)
        assert f"10 °{degree} more read" in line
        return float(line.split("more read ")[1].split(" ")[0])

    celsius = effect("C")
    monkeypatch.setenv("TRAYWARDEN_DISPLAY_TEMPERATURE", "F")
    assert effect("F") == pytest.approx(celsius / 1.8, abs=0.0001)


def test_what_is_shown_can_be_accepted_is_seen_in_the_journal_and_taken_back(season: CommandLine) -> None:
    out = season.ok("moisture")
    assert 'To let that hold from now on: traywarden mix accept "Heavy mix"' in out
    said = season.ok("mix", "accept", "Heavy mix")
    assert "is taken to hold 0.63" in said
    assert "instead of 0.58." in said
    number = said.split("journal undo ")[1].rstrip(".\n")
    assert 'mix accept "Heavy mix"' not in season.ok("moisture")
    assert "0.63" in next(line for line in season.ok("mix", "list").splitlines() if "Heavy" in line)
    assert "container capacity of Heavy mix is 0.63" in season.ok("journal", "list")
    assert "learned from" in season.ok("journal", "list")
    changed = season.ok("mix", "change", "Heavy mix", "--container-capacity", "0.6")
    assert "accepted since holds instead of 0.6" in changed
    season.ok("mix", "change", "Heavy mix", "--container-capacity", "0.5796")
    season.ok("journal", "undo", number)
    assert 'mix accept "Heavy mix"' in season.ok("moisture")


def test_for_one_tray_and_by_value_and_with_a_date(season: CommandLine) -> None:
    made = season.json(
        "mix", "accept", "Open mix", "--tray", "Tray 1", "--value", "0.47", "--at", "2 days ago"
    )
    assert made["entries"][0]["tray"] == "Tray 1"
    assert made["entries"][0]["data"] == {"container_capacity_m3_m3": 0.47}
    number = str(made["entries"][0]["entry"])
    corrected = season.json("journal", "correct", number, "--container-capacity", "0.48")
    assert corrected["entries"][0]["data"] == {"container_capacity_m3_m3": 0.48}
    assert "in tray Tray 1" not in season.ok("journal", "list", "--tray", "Tray 2")
    season.ok("journal", "undo", str(corrected["entries"][0]["entry"]))
    season.ok("journal", "undo", number)


def test_what_cannot_be_is_refused_in_one_sentence(season: CommandLine) -> None:
    assert "Nothing shows the container capacity" in season.refused(
        "mix", "accept", "Open mix", "--tray", "Tray 2", code=9
    )
    assert "dry line of “Open mix”" in season.refused("mix", "accept", "Open mix", "--value", "0.2")
    assert "cannot be; give" in season.refused("mix", "accept", "Open mix", "--value", "1.2")
    assert "did you mean “Tray 1" in season.refused("moisture", "Trai 1")


def test_it_answers_in_json(season: CommandLine) -> None:
    found = json.loads(season.ok("moisture", "Tray 1", "--json"))
    assert found["garden"] == "Season"
    assert found["trays"][0]["heads"][0]["learned"]["waterings"] > 3


def test_two_mixes_are_compared_in_one_sentence_with_the_numbers_behind_it(season: CommandLine) -> None:
    out = season.ok("mix", "compare", "Open mix", "heavy mix")
    first = out.splitlines()[0]
    assert first.startswith(("Open mix dries ", "Cannot tell yet whether Open mix or Heavy mix"))
    assert "stretches" in first
    for mix in ("Open mix", "Heavy mix"):
        assert any(line.startswith(mix) for line in out.splitlines()[1:])
    assert "both in the same places" in out
    assert "Side by side on " in out
    found = season.json("mix", "compare", "Open mix", "Heavy mix")
    assert found["comparison"]["low"] < found["comparison"]["ratio"] < found["comparison"]["high"]
    assert "with itself" in season.refused("mix", "compare", "Open mix", "open mix")


def test_advice_on_mixes_names_its_limits_and_where_they_are_from(season: CommandLine) -> None:
    out = season.ok("mix", "advice", "--days", "60")
    for words in ("Cannot be told yet", "of Open mix", "Limits: common practice, no source"):
        assert words in out
    lines = season.json("mix", "advice", "Heavy mix")["lines"]
    assert [line["weather"] for line in lines] == ["cool", "hot"]
