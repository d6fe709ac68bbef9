"""`traywarden quality`: are the readings to be trusted?"""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import clock
from traywarden.services.questions.quality import HeadTrouble, QualityAnswer, ask_quality

_MEASURED = {
    "soil_temp_c": "soil",
    "air_temp_c": "air",
    "rh_pct": "humidity",
    "moisture_m3_m3": "moisture",
    "battery_v": "battery",
    "rain_mm": "rain",
}
_WORDS = {3: "suspect", 4: "bad"}


def register(app: typer.Typer) -> None:
    app.command("quality", rich_help_panel=PANEL)(quality)


def quality(
    tray: str = typer.Argument("", help="One tray; else every head.", autocompletion=completion.trays),
    days: float = typer.Option(14.0, "--days", "-d", max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Are the readings to be trusted: troubles of every head, why each is one, and what to do.

    Nothing is deleted for it. “bad” readings are left out of every computation or show a head that is not
    where it should be; “suspect” ones are used.

    Example: `traywarden quality`, or `traywarden quality "Tomatoes 1" --days 30`
    """
    with asking() as on:
        answer = ask_quality(on, tray, days)
    emit(answer, _print, as_json=as_json)


def _print(answer: QualityAnswer) -> None:
    heads = {trouble.head for trouble in answer.troubles}
    if not answer.heads:
        say("No head measured anything in this span; ask further back with --days.")
        return
    span = f"{answer.start:%Y-%m-%d} to {answer.end:%Y-%m-%d}"
    if not answer.troubles:
        every = f"All {len(answer.heads)} heads" if len(answer.heads) > 1 else "Its head"
        say(f"{every} measured without trouble, {span}.")
    else:
        say(f"{len(heads)} of {len(answer.heads)} heads had trouble, {span}:")
    for trouble in answer.troubles:
        _print_trouble(trouble, answer)
    marred = [head for head in answer.heads if head.good < head.readings]
    say("")
    if marred:
        print_table(
            ("head", "where", "readings", "good", "suspect", "bad"),
            [
                (h.head, h.tray or h.place or "", f"{h.readings}", f"{h.good}", f"{h.suspect}", f"{h.bad}")
                for h in marred
            ],
            right=("readings", "good", "suspect", "bad"),
        )
    rest = [head.readings for head in answer.heads if head not in marred]
    if rest:
        say(f"{len(rest)} head{'s' * (len(rest) != 1)}: all of {sum(rest):,} readings good.")
    for reason in dict.fromkeys(reason for head in answer.heads for reason in head.not_judged):
        who = [h.tray or h.place or h.head for h in answer.heads if reason in h.not_judged]
        say(f"Not judged of {', '.join(who) if len(who) < 4 else f'{len(who)} heads'}: {reason}.")


def _print_trouble(trouble: HeadTrouble, answer: QualityAnswer) -> None:
    where = f"{trouble.tray or trouble.place} ({trouble.head})"
    since = clock(trouble.start, answer.end)
    until = "" if trouble.end == trouble.start else f" to {clock(trouble.end, answer.end)}"
    when = f"since {since}" if trouble.lasting else f"{since}{until}"
    measured = _MEASURED[trouble.measured]
    say(f"\n{where}, {measured} {_WORDS[trouble.code]}: {trouble.fault}, {when}")
    say(f"  Why: {trouble.reason}.")
    say(f"  Do: {trouble.do}")
