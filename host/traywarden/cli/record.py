"""`traywarden record`: what one tray went through, on one time axis."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import clock
from traywarden.domain.units import Display
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.tray_picture import tray_picture
from traywarden.services.questions.tray_record import TrayRecord, ask_tray_record


def register(app: typer.Typer) -> None:
    app.command("record", rich_help_panel=PANEL)(record)


def record(
    tray: str = typer.Argument(..., help="The tray.", autocompletion=completion.trays),
    days: float = typer.Option(7.0, "--days", "-d", min=0.1, max=3660.0, help="How far back to look."),
    picture: Path | None = typer.Option(
        None, "--picture", help="Draw it into this .svg or .png file: the tray on one time axis."
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """What a tray went through: its moisture, its warmth, its waterings and its journal on one time axis.

    As JSON it has every line as it is drawn, gaps left as gaps; the picture shades the nights and has dry
    line, dry-downs, outlook and the crop's limits.

    Example: `traywarden record tomatoes --days 14 --picture tomatoes.svg`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        answer, display = ask_tray_record(on, tray, days), on.display
    if picture is not None:
        draw(tray_picture(answer, display), picture)
    emit(answer, lambda _: _print(answer, display, picture), as_json=as_json)


def _print(answer: TrayRecord, display: Display, picture: Path | None) -> None:
    say(answer.says)
    rows = [(clock(e.at, answer.end), e.kind, f"known from {e.known_from}") for e in answer.waterings]
    rows += [
        (clock(mark.at, answer.end), mark.kind, " – ".join(filter(None, (mark.says, mark.note))))
        for mark in answer.journal
    ]
    order = [e.at for e in answer.waterings] + [mark.at for mark in answer.journal]
    if rows:
        say("")
        print_table(("when", "what", ""), [row for _, row in sorted(zip(order, rows, strict=True))])
    for limit in answer.limits:
        if limit.best_low_c is not None and limit.best_high_c is not None:
            best = display.temp_range(limit.best_low_c, limit.best_high_c, 0)
            say(f"\n{limit.crop} comes up best at {best} ({limit.source}).")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")
    if picture is not None:
        say(f"Drawn into {picture}.")
