"""`traywarden dry-down`: how fast the mixes dry."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_answer, say
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.answer_table import sentence
from traywarden.services.questions.dry_down import DryDownAnswer, ask_dry_down
from traywarden.services.questions.mix_picture import dry_down_picture
from traywarden.services.questions.mix_words import MEDIAN_WORDS, medians_table, stretches_table


def register(app: typer.Typer) -> None:
    app.command("dry-down", rich_help_panel=PANEL)(dry_down)


def dry_down(
    mix: str = typer.Option("", "--mix", "-m", help="One mix.", autocompletion=completion.mixes),
    tray: str = typer.Option("", "--tray", "-t", help="One tray.", autocompletion=completion.trays),
    days: float = typer.Option(60.0, "--days", "-d", max=3660.0, help="How far back to look."),
    picture: Path | None = typer.Option(None, "--picture", help="Draw it into this .svg or .png file."),
    as_json: bool = JSON_OPTION,
) -> None:
    """How fast each mix dries between two waterings: by mix, and stretch by stretch.

    By mix: the median over all stretches with a 95 % interval over trays, and the same for each kPa of
    vapour-pressure deficit, so that a hot week does not make a mix look thirsty. Where a stretch is too
    short to say, it says so.

    Example: `traywarden dry-down --mix "Bark mix" --days 30`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        answer = ask_dry_down(on, mix=mix, tray=tray, days=days)
    if picture is not None:
        draw(dry_down_picture(answer), picture)
    emit(answer, lambda a: _print(a, picture), as_json=as_json)


def _print(answer: DryDownAnswer, picture: Path | None) -> None:
    if not answer.stretches:
        say("No dry-down was seen in this span; ask further back with --days.")
    else:
        print_answer(medians_table(answer))
        say(MEDIAN_WORDS)
        for mix in dict.fromkeys(stretch.mix for stretch in answer.stretches):
            say(f"\n{mix}, every stretch between two wettings:")
            print_answer(stretches_table([stretch for stretch in answer.stretches if stretch.mix == mix]))
    for remark in answer.remarks:
        say(sentence(remark))
    if picture is not None:
        say(f"Drawn into {picture}.")
