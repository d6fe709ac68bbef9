"""The question commands as a grower types them: words, JSON, °F, one sentence where there is no answer."""

import doctest
import json
from pathlib import Path

import pytest

import traywarden.cli.asking
from tests.cli.conftest import CommandLine
from tests.services.little_garden import NOW_MS
from traywarden.cli import context


def test_today_puts_the_dry_tray_first_with_number_threshold_and_what_to_do(little: CommandLine) -> None:
    out = little.ok("today")
    first = out.index("1. Water now: tomatoes (Cold frame)")
    assert first < out.index("2. Too cold to come up: peppers (Open bench)")
    assert "is below the dry line 0.280 m³/m³ of Peat mix" in out
    assert "Last watered: 5 days 1 h ago (sensor)" in out
    assert "→ Water it: about 1.0 l" in out
    assert "source: Harrington" in out
    assert "Within a day" in out
    assert "not calibrated in your mix: lettuce, peppers" in out


def test_today_draws_moisture_between_dry_line_and_capacity_and_soil_within_the_crops_limits(
    little: CommandLine,
) -> None:
    row = next(line for line in little.ok("today").splitlines() if line.startswith("  tomatoes  "))
    assert "▕◀░░░░░░░░░▏" in row  # under the dry line
    assert "├─●────────┤" in row  # 14 °C between 10 and 35 °C
    assert "41 %" in row


def test_what_cannot_be_judged_is_said_once_for_each_tray(
    little: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS + 6 * 86_400_000)
    out = little.ok("today")
    assert "No tray can be judged now." in out
    assert "Nothing needs you" not in out
    assert "  lettuce (Open bench), dry and cold: nothing usable was measured for 6 days." in out
    assert out.count("lettuce (Open bench)") == 1


def test_degree_days_lists_every_day_with_its_sum_and_why_a_day_is_blank(little: CommandLine) -> None:
    out = little.ok("degree-days", "tomatoes", "--base", "5")
    assert "126.0 °C·days above 5.0 °C, 2026-03-02 to 2026-03-16 (since sowing)" in out
    today = next(line for line in out.splitlines() if line.startswith("2026-03-16"))
    assert today.split() == ["2026-03-16", "–", "126.0", "–", "–", "–", "37", "%", "¹"]
    assert "¹ The day is not over: readings cover too little of the day; 80 % are needed." in out
    assert "1 day is blank and not in the sum" in out


def test_air_is_asked_of_a_place_and_not_silently_answered_with_the_soil_of_a_tray(
    little: CommandLine,
) -> None:
    assert "--place" in little.refused("degree-days", "tomatoes", "--air")


def test_a_sum_of_which_no_day_is_known_is_not_told_as_nothing(little: CommandLine) -> None:
    out = little.ok("degree-days", "tomatoes", "--base", "5", "--from", "2026-03-16")
    assert "0.0 °C·days" not in out
    assert out.startswith("tomatoes, soil: no day is covered enough to tell the degree-days above 5.0 °C")


def test_fahrenheit_is_taken_in_and_given_out(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    """Base 41 °F is 5 °C; 126 °C·days are 226.8 °F·days."""
    monkeypatch.setenv("TRAYWARDEN_DISPLAY_TEMPERATURE", "F")
    out = little.ok("degree-days", "tomatoes", "--base", "41")
    assert "226.8 °F·days above 41.0 °F" in out
    assert "7.2 °F warmer" in little.ok("compare", "cold frame", "open bench")
    assert "57.2 °F" in little.ok("today")


def test_waterings_tell_when_how_and_how_known(little: CommandLine) -> None:
    out = little.ok("waterings", "tomatoes", "--days", "15")
    assert "tomatoes (Cold frame, Peat mix): last watered 5 days 1 h ago, Wed 11 Mar 07:50." in out
    assert "by hand from above (1 l)" in out
    row = next(line for line in out.splitlines() if "(1 l)" in line)
    assert " both " in row


def test_dry_down_tells_by_mix_and_by_stretch_and_what_is_too_short(little: CommandLine) -> None:
    out = little.ok("dry-down")
    assert "Too few trays for an interval" in out
    assert "¹ Too short to say: 8 h of the 12 h it takes." in out
    first = next(line for line in out.splitlines() if line.startswith("tomatoes"))
    # From the first watering, 8 h in, to the next: τ = 3 days, so half-way is 3 · ln 2 = 2.1 days.
    # Before it, 24 to 31.8 h after the one before: (0.15 + 0.4 · exp(−1/3)) / 0.55 is 79 % of capacity.
    assert first.split()[:11] == ["tomatoes", "2", "Mar", "00:00", "0.3", "79", "→", "74", "–", "–", "–"]
    assert first.split()[-1] == "¹"
    second = out.splitlines()[out.splitlines().index(first) + 1].split()
    assert second[8] == "2.1"
    assert "Bark mix: not calibrated in your mix" in out


def test_compare_says_it_in_one_sentence_and_draws_it(little: CommandLine, tmp_path: Path) -> None:
    picture = tmp_path / "week.png"
    out = little.ok("compare", "Cold frame", "Open bench", "--crop", "tomato", "--picture", str(picture))
    assert out.startswith(
        "2026-03-09 to 2026-03-16 (7 of 8 days count): Cold frame was 4.0 °C warmer than Open bench"
    )
    assert "Crop: Tomato (asked for)" in out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_record_tells_what_was_done_in_order_and_draws_it(little: CommandLine, tmp_path: Path) -> None:
    picture = tmp_path / "tomatoes.svg"
    out = little.ok("record", "tomatoes", "--days", "14", "--picture", str(picture))
    assert out.startswith("tomatoes in the last 14 days: moisture from")
    # Watered at eight, four and nine days after the start; the last reading before the rise is at 7:50.
    rows = [line.split()[:4] for line in out.splitlines() if "known from" in line]
    assert rows == [["Fri", "6", "Mar", "07:50"], ["Wed", "11", "Mar", "07:50"]]
    assert "Tomato comes up best at 16 to 29 °C" in out
    text = picture.read_text(encoding="utf-8")
    assert text.startswith("<svg")
    assert "dry line" in text


@pytest.mark.parametrize(
    "words",
    [
        ("today",),
        ("waterings",),
        ("degree-days", "lettuce"),
        ("degree-days", "--place", "cold frame", "--air", "--crop", "pepper", "--from", "7 days ago"),
        ("dry-down", "--mix", "peat mix"),
        ("outlook", "peppers"),
        ("record", "peppers", "--days", "3"),
        ("backtest", "--days", "10"),
        ("compare", "cold frame", "open bench", "--from", "2026-03-03", "--to", "2026-03-09"),
    ],
)
def test_every_question_answers_in_json(little: CommandLine, words: tuple[str, ...]) -> None:
    assert json.loads(little.ok(*words, "--json"))["garden"] == "Little garden"


def test_wrong_words_get_one_sentence(little: CommandLine) -> None:
    assert "did you mean “Open bench”" in little.refused("compare", "Cold frame", "opn bench")
    assert "end the name in .svg or .png" in little.refused(
        "compare", "Cold frame", "Open bench", "--picture", "week.pdf"
    )
    assert "did you mean “peppers”" in little.refused("waterings", "pepers")
    assert "did you mean" in little.refused("degree-days", "peppers", "--crop", "tomatoe seed")
    assert "cannot be read" in little.refused("degree-days", "peppers", "--from", "last full moon")
    assert "air from 2026-03-02" in little.refused(
        "compare", "Cold frame", "Open bench", "--to", "2026-02-01", code=9
    )


@pytest.mark.parametrize(
    "words",
    [
        ("today",),
        ("waterings",),
        ("degree-days", "A1", "--base", "5"),
        ("dry-down",),
        ("outlook", "A1"),
        ("record", "A1"),
        ("backtest",),
        ("compare", "South frame", "Bench"),
    ],
)
def test_a_garden_without_readings_is_told_how_to_begin(garden: CommandLine, words: tuple[str, ...]) -> None:
    assert "traywarden run" in garden.refused(*words, code=9)


@pytest.mark.parametrize("words", [("today",), ("outlook",), ("waterings",), ("dry-down",), ("backtest",)])
def test_no_garden_yet_says_how_to_make_one(run: CommandLine, words: tuple[str, ...]) -> None:
    assert "traywarden garden set" in run.refused(*words)


def test_help_of_every_question_carries_an_example(run: CommandLine) -> None:
    for word in (
        "today",
        "outlook",
        "degree-days",
        "waterings",
        "dry-down",
        "compare",
        "record",
        "backtest",
        "doctor",
    ):
        out = run.ok(word, "--help")
        assert "Example" in out, word
        assert f"traywarden {word}" in out, word


def test_the_examples_in_the_docstrings_run() -> None:
    ran = doctest.testmod(traywarden.cli.asking)
    assert ran.attempted
    assert ran.failed == 0


def test_quality_says_that_all_is_well_and_what_was_not_judged(little: CommandLine) -> None:
    out = little.ok("quality")
    assert out.startswith("All 5 heads measured without trouble")
    assert "5 heads: all of " in out
    assert "Not judged of Cold frame: whether the sun shines on it" in out
    answer = json.loads(little.ok("quality", "--json"))
    assert {head["head"]: head["bad"] for head in answer["heads"]}["frame/1"] == 0
