"""`traywarden level`: does a tray stand level?"""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.services.questions.level import LevelAnswer, PairLevel, ask_level


def register(app: typer.Typer) -> None:
    app.command("level", rich_help_panel=PANEL)(level)


def level(
    tray: str = typer.Argument("", help="One tray; default all.", autocompletion=completion.trays),
    days: float = typer.Option(60.0, "--days", "-d", max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Does a tray stand level? With two heads in it, or with another tray in the same base tray.

    After watering from below the high end stays drier, again and again; waterings from above say what the two
    heads differ by anyway. Say which end a head is at with `probe place … --end north`, and which trays share
    a base with `tray base`.

    Example: `traywarden level A1`
    """
    with asking() as on:
        answer = ask_level(on, tray, days)
    emit(answer, _print, as_json=as_json)


def _print(answer: LevelAnswer) -> None:
    for pair in answer.pairs:
        _print_pair(pair)
        say("")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _print_pair(pair: PairLevel) -> None:
    found = pair.level
    say(pair.sentence)
    counted = found.signs
    say(
        f"{found.a.where} drier {counted.below} times, {found.b.where} drier {counted.above} times, since "
        f"{pair.since:%d %b %Y}; sign test {counted.sign_p_value:.3f}, ranks {counted.rank_p_value:.3f}; "
        f"held against {found.reference}."
    )
    print_table(
        ("watered", "how", found.a.where, found.b.where, "less"),
        [
            (f"{w.at:%a %d %b %H:%M}", w.how, f"{w.a_pct:.0f}", f"{w.b_pct:.0f}", f"{w.a_pct - w.b_pct:+.0f}")
            for w in pair.waterings
        ],
        right=(found.a.where, found.b.where, "less"),
    )
    if pair.waterings:
        say("Where each settled in the hours after a watering, in % of container capacity.")
