"""`traywarden places`: all of them side by side, for a crop, a frame, plants that are to harden off."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.place_tables import (
    print_frame,
    print_harden,
    print_hours,
    print_now,
    print_places,
    print_rank,
)
from traywarden.cli.tables import say
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.services.questions.germination_hours import ask_hours
from traywarden.services.questions.harden import HardenAsked, ask_harden
from traywarden.services.questions.place_picture import days_picture, months_picture
from traywarden.services.questions.places import PlacesAsked, ask_places
from traywarden.services.questions.places_now import ask_places_now
from traywarden.services.questions.rank import RankAsked, ask_rank, month_of

places_app = typer.Typer(
    invoke_without_command=True,
    help="Questions about places: all side by side (alone, `traywarden places`), as they are now, ranked "
    "for a crop, a frame against the open, and whether plants need hardening off.",
)
AGAINST = typer.Option(
    "", "--against", help="The open place to hold it against.", autocompletion=completion.places
)
AIR = typer.Option(None, "--air/--soil", help="Air, or the soil of the trays.")
PICTURE = typer.Option(None, "--picture", help="Draw it into this .svg or .png file.")


def register(app: typer.Typer) -> None:
    app.add_typer(places_app, name="places", rich_help_panel=PANEL)


@places_app.callback()
def places(ctx: typer.Context, as_json: bool = JSON_OPTION) -> None:
    """Questions about places; alone it compares all of them over the last thirty days."""
    if ctx.invoked_subcommand is None:
        compare_all(start="", end="", against="", air=None, picture=None, as_json=as_json)


@places_app.command("compare")
def compare_all(
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    against: str = typer.Option(
        "", "--against", help="Hold the others against this place.", autocompletion=completion.places
    ),
    air: bool | None = AIR,
    picture: Path | None = PICTURE,
    as_json: bool = JSON_OPTION,
) -> None:
    """All places side by side, by default over the last thirty days.

    When each is half warm in the morning, its hottest hour, night low and day high; how each differs from the
    open place, day by day, with a 95 % interval; and how much faster trays dry there than the air explains.

    Example: `traywarden places compare --from 2026-04-01 --picture day.png`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        display = on.display
        first, last = days_of(on, start, end)
        answer = ask_places(on, PlacesAsked(first, last, _measured(air), against))
    if picture is not None:
        draw(days_picture(answer, display), picture)
    emit(answer, lambda a: print_places(a, display), as_json=as_json)
    _drawn(picture, as_json=as_json)


@places_app.command("now")
def now(as_json: bool = JSON_OPTION) -> None:
    """Each place now: its trays, the temperature of its air and soil, and today's range so far.

    Example: `traywarden places now`
    """
    with asking() as on:
        display = on.display
        answer = ask_places_now(on)
    emit(answer, lambda a: print_now(a, display), as_json=as_json)


@places_app.command("rank")
def rank(
    crop: str = typer.Argument(..., help="The crop.", autocompletion=completion.crops),
    month: str = typer.Option("", "--month", help="1 to 12, or a name such as April; default the last year."),
    best: bool = typer.Option(False, "--best", help="Count only hours in its best range."),
    air: bool | None = AIR,
    as_json: bool = JSON_OPTION,
) -> None:
    """Which place suits a crop in a month: hours a day in its germination range, ranked.

    Only days on which every place was measured count, and where the record cannot tell two places apart it
    says so.

    Example: `traywarden places rank tomato --month 4`
    """
    with asking() as on:
        display = on.display
        answer = ask_rank(on, RankAsked(crop, month_of(month), _measured(air), best))
    emit(answer, lambda a: print_rank(a, display), as_json=as_json)


@places_app.command("hours")
def hours(
    crops: list[str] = typer.Argument(
        None, help="Crops; default those of the garden.", autocompletion=completion.crops
    ),
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    air: bool | None = AIR,
    picture: Path | None = PICTURE,
    as_json: bool = JSON_OPTION,
) -> None:
    """Hours a day in each crop's germination range, by place and month of the last year.

    Example: `traywarden places hours tomato lettuce --picture months.png`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        display = on.display
        first, last = days_of(on, start, end)
        answer = ask_hours(on, crops or (), measured=_measured(air), start=first, end=last)
    if picture is not None:
        draw(months_picture(answer, display), picture)
    emit(answer, lambda a: print_hours(a, display), as_json=as_json)
    _drawn(picture, as_json=as_json)


@places_app.command("frame")
def frame(
    frame: str = typer.Argument(..., help="A covered place.", autocompletion=completion.places),
    against: str = AGAINST,
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """What a cover does, by default over the last thirty days.

    Its gain by night and by day, hours above the venting temperature, openings seen in the record or written
    in the journal, and whether they came when it was hot.

    Example: `traywarden places frame "Cold frame" --against "Open bench"`
    """
    with asking() as on:
        ground = on
        first, last = days_of(on, start, end)
        answer = ask_frame(on, FrameAsked(frame, against, first, last))
    emit(answer, lambda a: print_frame(a, ground.display, ground.zone), as_json=as_json)


@places_app.command("harden")
def harden(
    subject: str = typer.Argument(..., help="A tray, or a place.", autocompletion=completion.trays),
    against: str = AGAINST,
    crop: str = typer.Option("", "--crop", "-c", help="The crop.", autocompletion=completion.crops),
    days: int = typer.Option(14, "--days", "-d", min=1, help="How many days back."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Do these plants still need hardening off? Their nights, range and drying air against the open bed's.

    Example: `traywarden places harden A1 --against "Bed 4"`
    """
    with asking() as on:
        display = on.display
        answer = ask_harden(on, HardenAsked(subject, against, crop, days))
    emit(answer, lambda a: print_harden(a, display), as_json=as_json)


def _measured(air: bool | None) -> str:
    return "" if air is None else "air" if air else "soil"


def _drawn(picture: Path | None, *, as_json: bool) -> None:
    if picture is not None and not as_json:
        say(f"Drawn into {picture}.")
