"""`plan` on the command line: words, files and shorthand."""

from datetime import date
from pathlib import Path

from icalendar import Calendar, Event

from tests.cli.conftest import CommandLine


def test_a_crop_is_planned_without_its_group_being_named(garden: CommandLine, tmp_path: Path) -> None:
    """A garden without soil of past years: the published weeks, and why."""
    ics, svg = tmp_path / "t.ics", tmp_path / "t.svg"
    words = ("tomato", "--place", "south frame", "--plants-out", "2027-05-15")
    out = garden.ok("plan", *words, "--ics", str(ics), "--picture", str(svg))
    assert "Sow Tomato in “South frame” about Wed 7 Apr 2027 (3 to 10 Apr)" in out
    assert "5 to 6 weeks (Mid-Atlantic vegetable recommendations, Table A-4)" in out
    assert "no past weather was imported" in out.casefold()
    assert out == garden.ok("plan", "crop", *words, "--ics", str(ics), "--picture", str(svg))
    days = {
        str(part["summary"]): part.decoded("dtstart")
        for part in Calendar.from_ical(ics.read_bytes()).walk()
        if isinstance(part, Event)
    }
    assert days["Sow Tomato in South frame"] == date(2027, 4, 7)
    assert days["Plant out Tomato"] == date(2027, 5, 15)
    assert svg.read_text(encoding="utf-8").startswith("<svg")


def test_a_season_comes_from_a_file_or_from_crops(garden: CommandLine, tmp_path: Path) -> None:
    path = tmp_path / "spring.csv"
    path.write_text("crop,place,plants_out\nlettuce,Bench,2027-04-20\ntomato,,\n\n", encoding="utf-8")
    answer = garden.json("plan", "season", str(path), "--place", "South frame", "--plants-out", "2027-05-15")
    assert [(plan["crop"], plan["place"]) for plan in answer["plans"]] == [
        ("Lettuce", "Bench"),
        ("Tomato", "South frame"),
    ]
    listed = garden.ok(
        "plan", "season", "lettuce", "tomato", "--place", "Bench", "--plants-out", "2027-05-15"
    )
    assert "2 sowings; next is" in listed
    assert "needs a place and plants_out" in garden.refused("plan", "season", str(path), code=5)
    assert "needs a place and a day" in garden.refused("plan", "season", "lettuce")


def test_slips_are_refused_in_one_sentence(garden: CommandLine, tmp_path: Path) -> None:
    base = ("plan", "tomato", "--place", "Bench", "--plants-out")
    assert "write the day like 2026-05-15" in garden.refused(*base, "15 May")
    assert "end the name in .ics" in garden.refused(*base, "2027-05-15", "--ics", "plan.txt")
    assert "end the name in .svg or .png" in garden.refused(*base, "2027-05-15", "--picture", "plan.txt")
    assert "did you mean “Bench”" in garden.refused(
        "plan", "tomato", "--place", "Bensh", "--plants-out", "2027-05-15"
    )
    bare = tmp_path / "x.csv"
    bare.write_text("plant\ntomato\n", encoding="utf-8")
    assert "needs a header with crop" in garden.refused("plan", "season", str(bare), code=5)


def test_warm_days_without_any_year_say_what_to_do(garden: CommandLine) -> None:
    said = garden.refused("plan", "warm", "lettuce", "--place", "Bench", code=9)
    assert "traywarden weather import FILE" in said
