"""Places and levels by command: words, JSON, pictures, one sentence where there is no answer."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine
from tests.services.place_garden import NOW_MS, place_garden
from traywarden.cli import context
from traywarden.store import probes


@pytest.fixture(scope="module")
def _home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("home")
    place_garden(home).store.close()
    return home


@pytest.fixture
def made(_home: Path, run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    """The command line in the garden of three places, at the moment of its last reading."""
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS)
    monkeypatch.setattr(run, "home", _home)
    return run


def test_places_alone_compares_them_all(made: CommandLine) -> None:
    out = made.ok("places")
    assert out == made.ok("places", "compare")
    assert out.startswith("Against Open bench (air): Cold frame had warmer nights (4.0 °C)")
    row = next(line for line in out.splitlines() if line.startswith("Open bench"))
    assert row.split()[:3] == ["Open", "bench", "30"]
    assert row.split()[3].startswith("9:0")  # a cosine that is lowest at 3 o’clock is half-way up at 9
    assert "Not measured (air): Empty corner." in out


def test_places_now_are_a_row_each_with_why_one_is_not_known(made: CommandLine) -> None:
    out = made.ok("places", "now")
    assert out.startswith("The air now: ")
    row = next(line for line in out.splitlines() if line.startswith("Open bench"))
    assert "bench a" in row
    assert "air: no head hangs here" in out.casefold()


def test_two_places_are_set_against_each_other_with_the_warmth_of_both(made: CommandLine) -> None:
    out = made.ok("compare", "Cold frame", "Open bench", "--from", "2026-04-10", "--crop", "tomato")
    answer = json.loads(
        made.ok("compare", "Cold frame", "Open bench", "--from", "2026-04-10", "--crop", "tomato", "--json")
    )
    found = answer["comparison"]
    row = next(line for line in out.splitlines() if line.startswith("°C·days above"))
    assert row.split()[-2:] == [f"{found['a_c_days']:.1f}", f"{found['b_c_days']:.1f}"]
    row = next(line for line in out.splitlines() if line.startswith("hours too cold, below 10 °C"))
    assert row.split()[-2:] == [f"{found['hours']['a_below_h']:.1f}", f"{found['hours']['b_below_h']:.1f}"]


def test_mixes_say_how_long_they_stay_soaked_and_are_drawn(made: CommandLine, tmp_path: Path) -> None:
    soaked, dry = tmp_path / "soaked.svg", tmp_path / "dry.png"
    out = made.ok("mix", "soaked", "--picture", str(soaked))
    answer = json.loads(made.ok("mix", "soaked", "--json"))
    assert out.startswith(answer["sentence"])
    for mix in answer["mixes"]:
        assert mix["mix"] in soaked.read_text("utf-8")
    assert made.ok("dry-down", "--picture", str(dry)).endswith(f"Drawn into {dry}.\n")
    assert dry.read_bytes().startswith(b"\x89PNG")
    assert "end the name in .svg or .png" in made.refused("mix", "soaked", "--picture", "x.pdf")


def test_a_picture_is_drawn_and_said(made: CommandLine, tmp_path: Path) -> None:
    day, months = tmp_path / "day.png", tmp_path / "months.svg"
    assert made.ok("places", "compare", "--picture", str(day)).endswith(f"Drawn into {day}.\n")
    assert day.read_bytes().startswith(b"\x89PNG")
    out = made.ok("places", "hours", "tomato", "--picture", str(months))
    assert "Tomato, 10 °C to 35 °C ¹" in out
    assert "¹ Published minimum to published maximum, Harrington" in out
    assert "<svg" in months.read_text("utf-8")
    assert "end the name in .svg or .png" in made.refused("places", "hours", "--picture", "x.pdf")


@pytest.mark.parametrize("month", ["4", "April", "apr"])
def test_places_are_ranked_for_a_crop_and_a_month_however_it_is_written(
    made: CommandLine, month: str
) -> None:
    out = made.ok("places", "rank", "tomato", "--month", month)
    assert out.startswith("Tomato, April, soil: Cold frame first, ")
    assert "over 30 common days" in out
    assert "Cold frame over Open bench" in out


def test_a_frame_is_told_with_its_openings(made: CommandLine) -> None:
    out = made.ok("places", "frame", "Cold frame")
    assert out.startswith("Cold frame was 4.3 °C warmer (")
    assert "As published (" in out
    assert "Opened on 7 of 9 days that were hot or had an opening" in out
    row = next(line for line in out.splitlines() if line.startswith("Tue 7 Apr"))
    assert "record and journal" in row
    assert row.rstrip().endswith("lid up")


def test_hardening_is_told_day_by_day(made: CommandLine) -> None:
    out = made.ok("places", "harden", "frame a")
    assert out.startswith("frame a still needs hardening off")
    assert "nights in Open bench were below 18.3 °C: hardening minimum" in out
    assert out.count("warmer night") == 14
    assert "It stood 14 days in Cold frame." in out


def test_level_names_the_high_end(made: CommandLine) -> None:
    out = made.ok("level", "long")
    assert out.startswith("long stands out of level, high towards north")
    assert "south drier 0 times, north drier 11 times" in out
    assert out.count("from below") >= 11


def test_fahrenheit_is_given_out(made: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAYWARDEN_DISPLAY_TEMPERATURE", "F")
    assert "warmer nights (7.2 °F)" in made.ok("places")
    assert "bove 80.6 °F" in made.ok("places", "frame", "Cold frame")
    assert "below 64.9 °F: hardening minimum" in made.ok("places", "harden", "frame a") or (
        "below 65.0 °F: hardening minimum" in made.ok("places", "harden", "frame a")
    )


@pytest.mark.parametrize(
    "words",
    [
        ("places",),
        ("places", "compare"),
        ("places", "now"),
        ("places", "rank", "tomato", "--month", "4"),
        ("places", "hours"),
        ("places", "frame", "cold frame"),
        ("places", "harden", "frame a"),
        ("level",),
    ],
)
def test_every_question_answers_in_json(made: CommandLine, words: tuple[str, ...]) -> None:
    assert json.loads(made.ok(*words, "--json"))["garden"] == "Three places"


def test_wrong_words_get_one_sentence(made: CommandLine) -> None:
    assert "is no month" in made.refused("places", "rank", "tomato", "--month", "Brumaire")
    assert "no month 13" in made.refused("places", "rank", "tomato", "--month", "13")
    assert "did you mean “Tomato”" in made.refused("places", "rank", "tomatoo")
    assert "is not covered" in made.refused("places", "frame", "shade")
    assert "tray or place called" in made.refused("places", "harden", "fram a")


@pytest.mark.parametrize("words", [("places",), ("places", "rank", "tomato"), ("places", "hours", "tomato"),
                                   ("places", "frame", "South frame"), ("places", "harden", "A1"),
                                   ("level",)])  # fmt: skip
def test_a_garden_without_readings_is_told_how_to_begin(garden: CommandLine, words: tuple[str, ...]) -> None:
    assert "traywarden run" in garden.refused(*words, code=9)


def test_trays_are_put_on_a_base_and_apart_again(garden: CommandLine) -> None:
    for name in ("B1", "B2"):
        garden.ok("tray", "add", name, "--mix", "Seed mix", "--place", "Bench", "--at", "5 days ago")
    out = garden.ok("tray", "base", "A1", "B1", "B2", "--ends", "west, east", "--at", "2 days ago")
    assert "Trays “A1”, “B1”, “B2” stand on base “A1 + B1 + B2” since 2026-06-08 15:00." in out
    says = [line["says"] for line in garden.json("journal", "list", "--limit", "3")]
    assert says == [
        "tray A1: stands on base A1 + B1 + B2 (west end)",
        "tray B1: stands on base A1 + B1 + B2",
        "tray B2: stands on base A1 + B1 + B2 (east end)",
    ]
    assert "already" in garden.refused("tray", "base", "A1", "B1", "B2", "--ends", "west, east")
    assert "stand alone since" in garden.ok("tray", "base", "A1", "--alone")
    assert "stands alone already" in garden.refused("tray", "base", "A1", "--alone")
    assert "two trays or more" in garden.refused("tray", "base", "A1")
    assert "write two" in garden.refused("tray", "base", "A1", "B1", "--ends", "west")


def test_the_end_a_head_is_at_is_written_down_and_can_be_corrected(garden: CommandLine) -> None:
    store = garden.store()
    with store.write() as tx:
        probes.ensure_heads(tx, [("bench-1", 1)], 0)
    store.close()
    out = garden.ok("probe", "place", "bench-1/1", "--tray", "A1", "--end", "north", "--at", "today 9:00")
    assert "Head bench-1/1 is in tray “A1” (north end) since 2026-06-10 09:00." in out
    entry = garden.json("journal", "list", "--limit", "1")[0]["entry"]
    out = garden.ok("journal", "correct", str(entry), "--end", "south")
    assert "head bench-1/1 placed in tray A1 (south end)" in out
    garden.ok("journal", "undo", str(entry + 1))
    assert "(north end)" in garden.json("journal", "list", "--limit", "1")[0]["says"]
