"""`traywarden compare`: one place against another."""

import re
from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, bare, covered, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.place_words import mean_and_ends
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.comparison import DayPair
from traywarden.domain.units import Display
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.picture import compare_picture

COVERED = re.compile(r"both sides cover \d+ % of the day")


def register(app: typer.Typer) -> None:
    app.command("compare", rich_help_panel=PANEL)(compare)


def compare(
    place_a: str = typer.Argument(..., help="The place.", autocompletion=completion.places),
    place_b: str = typer.Argument(
        ..., help="The place it is held against.", autocompletion=completion.places
    ),
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    crop: str = typer.Option(
        "", "--crop", "-c", help="Limits and base of this crop.", autocompletion=completion.crops
    ),
    air: bool | None = typer.Option(
        None, "--air/--soil", help="Air, or the soil of the trays; default air where both have it."
    ),
    picture: Path | None = typer.Option(None, "--picture", help="Draw it into this .svg or .png file."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Did the frame earn its place? One place against another, by default over the last seven days.

    Paired daily minimum, mean and maximum with intervals, gain by night and by day, degree-days gained, and
    hours below and above the crop's limits, over the time that both were measured.

    Example: `traywarden compare "Cold frame" "Open bench" --crop tomato --picture week.svg`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        display = on.display
        first, last = days_of(on, start, end)
        measured = "" if air is None else "air" if air else "soil"
        answer = ask_compare(on, CompareAsked(place_a, place_b, first, last, crop, measured))
    if picture is not None:
        draw(compare_picture(answer, display), picture)
    emit(answer, lambda a: _print(a, display, picture), as_json=as_json)


def _print(answer: CompareAnswer, display: Display, picture: Path | None) -> None:
    found = answer.comparison
    say(answer.sentence)
    say(f"\n{found.a} − {found.b}, {answer.measured} temperature:")
    print_table(
        ("", "on average", "95 % interval"),
        [
            (name, *mean_and_ends(interval, display.temp_difference))
            for name, interval in (
                ("daily minimum", found.min_difference_c),
                ("mean", found.mean_difference_c),
                ("daily maximum", found.max_difference_c),
                ("by night", found.night_difference_c),
                ("by day", found.day_difference_c),
            )
        ],
    )
    say(f"{found.night_rule[:1].upper()}{found.night_rule[1:]}.")
    say("")
    notes = Notes()
    degree = f"°{display.temperature}"
    print_table(
        ("day", f"{found.a}, {degree}", f"{found.b}, {degree}", f"difference, {degree}", "covered", ""),
        [
            (
                f"{day.day}",
                _range(day.a_min_c, day.a_mean_c, day.a_max_c, display),
                _range(day.b_min_c, day.b_mean_c, day.b_max_c, display),
                "–"
                if day.mean_difference_c is None
                else bare(display.temp_difference(day.mean_difference_c)),
                covered(day.coverage),
                notes.mark(_why_blank(day)),
            )
            for day in found.days
        ],
        right=(f"difference, {degree}", "covered"),
    )
    say("Of each day: minimum, mean, maximum.")
    notes.say()
    if answer.crop:
        say(f"Crop: {answer.crop} ({answer.crop_why}); limits: {answer.limits_source}.")
        say(f"Base of the degree-days: {answer.base_source}.")
    if picture is not None:
        say(f"Drawn into {picture}.")


def _why_blank(day: DayPair) -> str:
    """How much was covered stands in the row, so that the remark is the same for every such day."""
    return COVERED.sub("both sides cover too little of the day", day.reason)


def _range(low: float | None, mean: float | None, high: float | None, display: Display) -> str:
    if low is None or mean is None or high is None:
        return "–"
    return " ".join(f"{bare(display.temp(t)):>5}" for t in (low, mean, high))
