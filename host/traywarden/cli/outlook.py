"""`traywarden outlook`: when each tray will be at its dry line."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.outlook_places import print_places
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import soon_words
from traywarden.domain.units import Display, number
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.outlook import (
    DRIES,
    DRY,
    OutlookAnswer,
    TrayOutlook,
    rests_on_words,
)
from traywarden.services.questions.outlook_picture import outlook_picture
from traywarden.services.questions.with_nights import WholeOutlook, ask_whole_outlook

LINE = "dry line, %"


def register(app: typer.Typer) -> None:
    app.command("outlook", rich_help_panel=PANEL)(outlook)


def outlook(
    tray: str = typer.Argument("", help="One tray; default every tray.", autocompletion=completion.trays),
    picture: Path | None = typer.Option(
        None, "--picture", help="Draw one tray's moisture and outlook into this .svg or .png file."
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """When will each tray be at its dry line, how cold does the night get, how warm tomorrow?

    For each tray the likeliest time, and between when with a chance of 80 %: from how it dries now, what its
    earlier dry-downs took, the time of day and how strongly the air pulled water in the last days. For each
    place tonight's low and tomorrow's high from its own days. A forecast that was read in drives both. How
    far off such outlooks were in your own garden sets the interval; see `traywarden backtest`. Where there is
    no outlook, it says why.

    Example: `traywarden outlook tomatoes --picture tomatoes.svg`
    """
    if picture is not None:
        check_name(picture)
        if not tray:
            raise typer.BadParameter("Name the tray to draw, as in: traywarden outlook A1 --picture a1.svg")
    with asking() as on:
        answer = ask_whole_outlook(on, tray)
        display = on.display
    if picture is not None:
        draw(outlook_picture(answer), picture)
    emit(answer, lambda found: _print(found, display, picture), as_json=as_json)


def _print(answer: WholeOutlook, display: Display, picture: Path | None) -> None:
    print_trays(answer)
    if answer.nights is not None:
        say("")
        print_places(answer.nights, display)
    if answer.stand_in:
        say(f"{answer.stand_in[:1].upper()}{answer.stand_in[1:]}.")
    if picture is not None:
        say(f"Drawn into {picture}.")


def print_trays(answer: OutlookAnswer) -> None:
    """The trays: in one sentence, then the times, then what they rest on."""
    say(_sentence(answer))
    told = [tray for tray in answer.trays if tray.by is not None]
    if told:
        _print_told(told, answer.at)
    untold = [tray for tray in answer.trays if tray.by is None]
    if untold:
        say("\nNo outlook")
    for tray in untold:
        say(f"  {_where(tray)}: {tray.why}.")


def _sentence(answer: OutlookAnswer) -> str:
    dry = [_where(tray) for tray in answer.trays if tray.state == DRY]
    coming = [tray for tray in answer.trays if tray.state == DRIES]
    words = []
    if dry:
        words.append(f"Water now: {', '.join(dry)}.")
    if coming:
        first = coming[0]
        assert first.by is not None
        by, low, high = _times(first, answer.at)
        next_ = "Next to dry" if dry else "First to dry"
        when = "about now" if by == "now" else f"by about {by}"
        words.append(f"{next_}: {_where(first)}, {when} (four times in five between {low} and {high}).")
    return " ".join(words) or "There is no outlook for any tray."


def _print_told(told: Sequence[TrayOutlook], now: datetime) -> None:
    say("")
    print_table(
        ("tray", "place", "now, %", LINE, "dry by about", "earliest", "latest"),
        [
            (
                tray.tray,
                tray.place or "",
                number(tray.moisture_pct, 0),
                number(tray.dry_line_pct, 0),
                *(("now: water it", "", "") if tray.state == DRY else _times(tray, now)),
            )
            for tray in told
        ],
        right=("now, %", LINE),
        spare=(LINE, "place"),
    )
    drying = [tray for tray in told if tray.state == DRIES]
    often = " Four times in five it is dry between the earliest and the latest time." if drying else ""
    say(f"Now and dry line: % of container capacity.{often}")
    for forecast in dict.fromkeys(tray.forecast for tray in drying):
        rests = [tray for tray in drying if tray.forecast == forecast]
        named = "" if len(rests) == len(drying) else f"{', '.join(tray.tray for tray in rests)}: "
        words = rests_on_words(
            [tray.earlier or 0.0 for tray in rests], [tray.learnt_from or 0.0 for tray in rests], forecast
        )
        say(f"{named}{words[:1].upper()}{words[1:]}." if not named else f"{named}{words}.")
    for remark in dict.fromkeys(tray.remark for tray in told if tray.remark):
        named = ", ".join(tray.tray for tray in told if tray.remark == remark)
        say(f"{named}: {remark}.")


def _times(tray: TrayOutlook, now: datetime) -> tuple[str, str, str]:
    """The likeliest time, and the ends of the interval."""
    assert tray.by is not None
    ends = (
        "–" if at is None else "now" if not after_s else soon_words(at, now)
        for at, after_s in ((tray.earliest, tray.low_s), (tray.latest, tray.high_s))
    )
    low, high = ends
    return soon_words(tray.by, now), low, high


def _where(tray: TrayOutlook) -> str:
    return f"{tray.tray} ({tray.place})" if tray.place else tray.tray
