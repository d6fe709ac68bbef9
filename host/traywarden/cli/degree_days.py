"""`traywarden degree-days`: how much warmth a tray or place has gathered."""

import re

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.degree_days import CUTOFFS, METHODS
from traywarden.domain.units import Display, bare, c_from_f, covered
from traywarden.errors import UsageError
from traywarden.services.questions.degree_days import (
    DegreeDay,
    DegreeDaysAnswer,
    DegreeDaysAsked,
    ask_degree_days,
)

COVERED = re.compile(r"readings cover \d+ % of the day")


def register(app: typer.Typer) -> None:
    app.command("degree-days", rich_help_panel=PANEL)(degree_days)


def degree_days(
    tray: str = typer.Argument("", help="The tray.", autocompletion=completion.trays),
    place: str = typer.Option("", "--place", "-p", help="Or a place.", autocompletion=completion.places),
    air: bool | None = typer.Option(
        None, "--air/--soil", help="Of a place: its air, or the soil of its trays; default soil."
    ),
    crop: str = typer.Option("", "--crop", "-c", help="Base of this crop.", autocompletion=completion.crops),
    base: float | None = typer.Option(None, "--base", "-b", help="Or a base, in the degrees you display."),
    upper: float | None = typer.Option(None, "--upper", "-u", help="Upper temperature of the cutoff."),
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    method: str = typer.Option("integral", "--method", help="integral, " + ", ".join(METHODS) + "."),
    cutoff: str = typer.Option("none", "--cutoff", help=", ".join(CUTOFFS) + "."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Degree-days above a crop's base, day by day and in sum, since the tray was sown.

    A day that readings cover too little is blank, with the reason, and is not in the sum.

    Example: `traywarden degree-days "Tomatoes 1"`, or
    `traywarden degree-days --place "Cold frame" --crop pepper --from 2026-03-01`
    """
    if tray and air:
        raise UsageError("A tray has soil; ask for the air of a place: degree-days --place PLACE --air")
    with asking() as on:
        display = on.display
        first, last = days_of(on, start, end)
        answer = ask_degree_days(
            on,
            DegreeDaysAsked(
                tray,
                place,
                "air" if air else "soil",
                crop,
                _c(base, display),
                _c(upper, display),
                first,
                last,
                method,
                cutoff if cutoff != "none" or upper is None else "horizontal",
            ),
        )
    emit(answer, lambda a: _print(a, display), as_json=as_json)


def _c(given: float | None, display: Display) -> float | None:
    return c_from_f(given) if given is not None and display.temperature == "F" else given


def _print(answer: DegreeDaysAnswer, display: Display) -> None:
    crop = f" for {answer.crop}" if answer.crop else ""
    upper = f", {answer.cutoff} above {display.temp(answer.upper_c)}" if answer.upper_c is not None else ""
    total = display.degree_days(answer.total, 1)
    if answer.blank_days == len(answer.days):
        total = "no day is covered enough to tell the degree-days"
    say(
        f"{answer.subject}, {answer.measured}: {total} above "
        f"{display.temp(answer.base_c)}{crop}{upper}, {answer.first_day} to {answer.last_day}"
        f"{' (since sowing)' if answer.since == 'sowing' else ''}."
    )
    if answer.base_source and answer.base_source != "given":
        say(f"Base: {answer.base_source}.")
    if answer.upper_source and answer.upper_source != "given":
        say(f"Cutoff: {answer.upper_source}.")
    if answer.blank_days:
        noun = "day is" if answer.blank_days == 1 else "days are"
        say(f"{answer.blank_days} {noun} blank and not in the sum.")
    notes = Notes()
    degree = f"°{display.temperature}"
    print_table(
        ("day", f"gained, {degree}·days", "sum", f"min, {degree}", "mean", "max", "covered", ""),
        [
            (
                f"{day.date}",
                "–" if day.degree_days is None else bare(display.degree_days(day.degree_days, 1)),
                bare(display.degree_days(day.sum_degree_days, 1)),
                *("–" if t is None else bare(display.temp(t)) for t in (day.min_c, day.mean_c, day.max_c)),
                covered(day.coverage),
                notes.mark(_why_blank(day)),
            )
            for day in answer.days
        ],
        right=(f"gained, {degree}·days", "sum", f"min, {degree}", "mean", "max", "covered"),
    )
    notes.say()


def _why_blank(day: DegreeDay) -> str:
    """How much was covered stands in the row, so that the remark is the same for every such day."""
    return COVERED.sub("readings cover too little of the day", day.reason)
