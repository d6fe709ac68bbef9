"""`outlook` and `backtest` as a grower types them: a sentence first, times with an interval, or why not."""

from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine
from tests.services.little_garden import DAY_MS, NOW_MS
from traywarden.cli import context


def test_it_says_first_what_is_dry_and_what_comes_next_with_its_interval(little: CommandLine) -> None:
    first = little.ok("outlook").splitlines()[0]
    assert first.startswith("Water now: tomatoes (Cold frame). Next to dry: peppers (Open bench), by about ")
    assert "(four times in five between " in first


def test_today_and_outlook_name_the_same_half_hour(little: CommandLine) -> None:
    today = little.ok("today")
    half_hour = today.split("Water peppers (Open bench) by about ")[1].split(" today")[0]
    row = next(line for line in little.ok("outlook").splitlines() if line.startswith("peppers"))
    assert half_hour in row.split()


def test_a_table_gives_times_and_notes_what_they_rest_on(little: CommandLine) -> None:
    out = little.ok("outlook", "lettuce")
    assert out.startswith("First to dry: lettuce (Open bench), by about ")
    assert "It rests on its present drying and 2 earlier dry-downs" in out
    assert "the coming days are taken to be like the last three" in out
    assert "lettuce: its moisture is not calibrated in your mix." in out
    row = next(line for line in out.splitlines() if line.startswith("lettuce"))
    assert row.split()[1:5] == ["Open", "bench", "54", "51"]


def test_without_an_outlook_it_says_why(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS + 6 * DAY_MS)
    out = little.ok("outlook")
    assert out.startswith("There is no outlook for any tray.")
    assert "  lettuce (Open bench): nothing usable was measured for 6 days." in out


def test_json_has_the_times_and_the_way_there(little: CommandLine) -> None:
    [tray] = little.json("outlook", "lettuce")["trays"]
    assert tray["state"] == "dries"
    assert tray["low_s"] < tray["in_s"] < tray["high_s"]
    assert tray["path"][-1]["moisture_pct"] == pytest.approx(tray["dry_line_pct"], abs=0.1)
    assert tray["measured"]
    assert little.json("outlook")["trays"][0]["measured"] == []


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_a_picture_is_drawn_of_one_tray(little: CommandLine, tmp_path: Path, suffix: str) -> None:
    picture = tmp_path / f"lettuce.{suffix}"
    assert f"Drawn into {picture}." in little.ok("outlook", "lettuce", "--picture", str(picture))
    drawn = picture.read_bytes()
    assert drawn.startswith(b"\x89PNG" if suffix == "png" else b"<svg")
    if suffix == "svg":
        assert "dry line" in drawn.decode()


def test_a_picture_of_no_tray_or_of_a_dry_one_is_refused_in_one_sentence(
    little: CommandLine, tmp_path: Path
) -> None:
    assert "Name the tray" in little.refused("outlook", "--picture", str(tmp_path / "a.svg"))
    dry = little("outlook", "tomatoes", "--picture", str(tmp_path / "a.svg"))
    assert dry.code != 0
    assert "There is no outlook of “tomatoes” to draw: it is at its dry line already." in dry.err
    assert not (tmp_path / "a.svg").exists()


def test_the_back_test_prints_how_often_the_interval_held_in_all_and_for_each_tray(
    little: CommandLine,
) -> None:
    out = little.ok("backtest", "--days", "30")
    assert out.startswith("In 8 dry-downs the 80 % interval held ")
    assert "Asked one day before:" in out
    rows = [line.split() for line in out.splitlines() if line.startswith(("all trays", "tomatoes"))]
    assert rows[0][2] == "8"
    assert rows[1][1] == "3"
    answer = little.json("backtest", "--days", "30")
    assert 0 <= answer["rolling"]["coverage"] <= 1
    assert {tray["tray"] for tray in answer["trays"]} == {"tomatoes", "lettuce", "peppers"}


def test_a_span_of_nothing_and_an_unknown_tray_are_refused(little: CommandLine) -> None:
    assert "--days 120" in little.refused("backtest", "--days", "0")
    assert "radishes" in little.refused("outlook", "radishes")
