"""`traywarden dry-down`: how fast the mixes dry."""

from collections.abc import Sequence

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking, number
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.dry_down import LN2
from traywarden.services.questions.dry_down import (
    DryDownAnswer,
    Median,
    MixDryDown,
    Stretch,
    ask_dry_down,
)


def register(app: typer.Typer) -> None:
    app.command("dry-down", rich_help_panel=PANEL)(dry_down)


def dry_down(
    mix: str = typer.Option("", "--mix", "-m", help="One mix.", autocompletion=completion.mixes),
    tray: str = typer.Option("", "--tray", "-t", help="One tray.", autocompletion=completion.trays),
    days: float = typer.Option(60.0, "--days", "-d", max=3660.0, help="How far back to look."),
    as_json: bool = JSON_OPTION,
) -> None:
    """How fast each mix dries between two waterings: by mix, and stretch by stretch.

    By mix: the median over all stretches with a 95 % interval over trays, and the same for each kPa of
    vapour-pressure deficit, so that a hot week does not make a mix look thirsty. Where a stretch is too
    short to say, it says so.

    Example: `traywarden dry-down --mix "Bark mix" --days 30`
    """
    with asking() as on:
        answer = ask_dry_down(on, mix=mix, tray=tray, days=days)
    emit(answer, _print, as_json=as_json)


def _print(answer: DryDownAnswer) -> None:
    if not answer.stretches:
        say("No dry-down was seen in this span; ask further back with --days.")
    else:
        _print_mixes(answer.mixes)
        for mix in dict.fromkeys(stretch.mix for stretch in answer.stretches):
            say(f"\n{mix}, every stretch between two wettings:")
            _print_stretches([stretch for stretch in answer.stretches if stretch.mix == mix])
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _print_mixes(mixes: Sequence[MixDryDown]) -> None:
    notes = Notes()
    print_table(
        ("mix", "half-way, days", "a day, %", "a day and kPa, %", "stretches", "trays", "too short", ""),
        [
            (
                m.mix,
                _median(m.tau_days, LN2),
                _median(m.rate_pct_per_day),
                _median(m.rate_pct_per_day_kpa),
                f"{m.stretches}",
                f"{m.trays}",
                f"{m.too_short}" if m.too_short else "",
                notes.mark(m.reason),
            )
            for m in mixes
        ],
        right=("stretches", "trays", "too short"),
    )
    notes.say()
    say(
        "Median [95 % interval]. Half-way: when half of the water that can dry off is gone. A day: % of "
        "container capacity lost in a day, midway between capacity and dry line; then for each kPa of "
        "vapour-pressure deficit of the air."
    )


def _print_stretches(stretches: Sequence[Stretch]) -> None:
    notes = Notes()
    print_table(
        ("tray", "from", "days", "moisture, %", "half-way, days", "a day, %", "r²", "air, kPa", ""),
        [
            (
                s.tray,
                f"{s.start.day:2d} {s.start:%b %H:%M}",
                number(s.days),
                f"{s.first_pct:.0f} → {s.last_pct:.0f}",
                number(s.half_life_days),
                number(s.rate_pct_per_day),
                number(s.r2, 3),
                number(s.mean_vpd_kpa, 2),
                notes.mark(s.reason),
            )
            for s in stretches
        ],
        right=("from", "days", "half-way, days", "a day, %", "r²", "air, kPa"),
    )
    notes.say()


def _median(found: Median, factor: float = 1.0) -> str:
    if found.median is None:
        return "–"
    text = _brief(found.median * factor)
    if found.low is None or found.high is None:
        return text
    return f"{text} [{_brief(found.low * factor)}–{_brief(found.high * factor)}]"


def _brief(value: float) -> str:
    """Two figures that count: more would promise more than a handful of stretches can tell."""
    return f"{value:.1f}" if value < 10 else f"{value:.0f}"
