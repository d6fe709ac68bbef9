"""`traywarden outlook`: when each tray will be at its dry line."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import msgspec
import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking, clock, number
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.outlook_places import print_places
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.units import Display, span_words
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.outlook import DRIES, DRY, OutlookAnswer, TrayOutlook, ask_outlook
from traywarden.services.questions.outlook_picture import outlook_picture
from traywarden.services.questions.place_outlook import PlaceOutlookAnswer, ask_place_outlook
from traywarden.services.sky import air_forecast


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
        answer = ask_outlook(on, tray, air_forecast(on))
        nights = None if tray else ask_place_outlook(on)
        display = on.display
    if picture is not None:
        draw(outlook_picture(answer), picture)
    whole = {**msgspec.to_builtins(answer), "nights": nights}
    emit(whole, lambda _: _print(answer, nights, display, picture), as_json=as_json)


def _print(
    answer: OutlookAnswer, nights: PlaceOutlookAnswer | None, display: Display, picture: Path | None
) -> None:
    print_trays(answer)
    if nights is not None:
        say("")
        print_places(nights, display)
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
    dry = [tray.tray for tray in answer.trays if tray.state == DRY]
    coming = [tray for tray in answer.trays if tray.state == DRIES]
    words = []
    if dry:
        verb = "is" if len(dry) == 1 else "are"
        words.append(f"{', '.join(dry)} {verb} below the dry line now.")
    if coming:
        first = coming[0]
        assert first.by is not None
        next_ = "Next" if dry else "First"
        words.append(
            f"{next_} to dry is {first.tray}: by about {_half_hour(first.by, answer.at)}, "
            f"with a chance of 80 % between {_earliest(first, answer.at)} and {_latest(first, answer.at)}."
        )
    return " ".join(words) or "There is no outlook for any tray."


def _print_told(told: Sequence[TrayOutlook], now: datetime) -> None:
    notes = Notes()
    say("")
    print_table(
        ("tray", "place", "moisture, %", "dry line, %", "in", "by about", "earliest", "latest", ""),
        [
            (
                tray.tray,
                tray.place or "",
                number(tray.moisture_pct, 0),
                number(tray.dry_line_pct, 0),
                "now" if tray.state == DRY or not tray.in_s else span_words(_rough(tray.in_s)),
                "" if tray.state == DRY or tray.by is None else _half_hour(tray.by, now),
                "" if tray.state == DRY else _earliest(tray, now),
                "" if tray.state == DRY else _latest(tray, now),
                notes.mark(tray.rests_on),
            )
            for tray in told
        ],
        right=("moisture, %", "dry line, %", "in"),
    )
    notes.say()
    for remark in dict.fromkeys(tray.remark for tray in told if tray.remark):
        named = ", ".join(tray.tray for tray in told if tray.remark == remark)
        say(f"{named}: {remark}.")
    say(
        "In eight cases of ten it is dry between the earliest and the latest time. Moisture and dry line in "
        "% of container capacity."
    )


def _rough(seconds: float) -> float:
    """To the half hour below a day, to the hour beyond: no outlook is better than that."""
    step = 1800 if seconds < 86_400 else 3600
    return max(round(seconds / step) * step, step)


def _half_hour(at: datetime, now: datetime) -> str:
    """Rounded down to the half hour, so that nobody comes too late."""
    return clock(at.replace(minute=30 * (at.minute // 30), second=0, microsecond=0), now)


def _earliest(tray: TrayOutlook, now: datetime) -> str:
    if tray.earliest is None:
        return "–"
    return "now" if not tray.low_s else _half_hour(tray.earliest, now)


def _latest(tray: TrayOutlook, now: datetime) -> str:
    return "–" if tray.latest is None else _half_hour(tray.latest, now)


def _where(tray: TrayOutlook) -> str:
    return f"{tray.tray} ({tray.place})" if tray.place else tray.tray
