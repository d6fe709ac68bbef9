"""`traywarden compare`: one place against another."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_answer, print_rows, say, say_notes
from traywarden.domain.units import Display
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.compare import CompareAnswer, CompareAsked, ask_compare
from traywarden.services.questions.compare_words import days_table, gain_table, limits_lines, warmth_table
from traywarden.services.questions.picture import compare_picture


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
    print_answer(gain_table(answer, display))
    say(f"{found.night_rule[:1].upper()}{found.night_rule[1:]}.")
    warmth = warmth_table(answer, display)
    if warmth.rows:
        say("")
        print_answer(warmth)
    say("")
    days = days_table(answer, display)
    print_rows(days)
    say("Of each day: minimum, mean, maximum.")
    say_notes(days)
    for line in limits_lines(answer):
        say(line)
    if picture is not None:
        say(f"Drawn into {picture}.")
