"""`traywarden waterings`: when each tray was watered, how, and how long ago."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.clock_words import ago, clock
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.services.questions.waterings import (
    TrayWaterings,
    WateringEvent,
    WateringsAnswer,
    ask_waterings,
)


def register(app: typer.Typer) -> None:
    app.command("waterings", rich_help_panel=PANEL)(waterings)


def waterings(
    tray: str = typer.Argument("", help="One tray; default all.", autocompletion=completion.trays),
    days: float = typer.Option(14.0, "--days", "-d", min=0.1, max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """When each tray was watered, by hand or by rain, how much it rose, and how long ago that was.

    What the sensors saw is joined with what the journal says; where the journal speaks, the kind is certain.

    Example: `traywarden waterings "Tomatoes 1" --days 30`
    """
    with asking() as on:
        answer = ask_waterings(on, tray, days)
    emit(answer, _print, as_json=as_json)


def _print(answer: WateringsAnswer) -> None:
    for n, tray in enumerate(answer.trays):
        if n:
            say("")
        _print_tray(tray, answer)
    if any(event.rise_pct is not None for tray in answer.trays for event in tray.events):
        say("\nRise: in % of container capacity. Known from both: sensor and journal.")


def _print_tray(tray: TrayWaterings, answer: WateringsAnswer) -> None:
    where = ", ".join(part for part in (tray.place, tray.mix) if part)
    head = f"{tray.tray} ({where})" if where else tray.tray
    if tray.last is None or tray.since_last_s is None:
        say(f"{head}: no watering is known.")
    else:
        say(f"{head}: last watered {ago(tray.since_last_s)}, {clock(tray.last.at, answer.end)}.")
    if tray.trouble:
        say(f"  {tray.trouble[:1].upper()}{tray.trouble[1:]}.")
    notes = Notes()
    if tray.events:
        print_table(
            ("  when", "how", "rise", "known from", "note", ""),
            [_row(event, answer, notes) for event in tray.events],
            right=("rise",),
        )
        notes.say()
    if tray.events and not tray.moisture_calibrated:
        say(f"  The moisture is {NOT_CALIBRATED}; the times hold, the size of a rise may not.")


def _row(event: WateringEvent, answer: WateringsAnswer, notes: Notes) -> tuple[str, ...]:
    rise = "" if event.rise_pct is None else f"+{event.rise_pct:.0f} %"
    if not rise and event.rise_m3_m3 is not None:
        rise = f"+{event.rise_m3_m3:.3f} m³/m³"
    litres = f" ({event.litres:g} l)" if event.litres is not None else ""
    return (
        f"  {clock(event.at, answer.end)}",
        event.kind + litres,
        rise,
        "both" if event.known_from == "sensor and journal" else event.known_from,
        event.note,
        notes.mark(event.reason),
    )
