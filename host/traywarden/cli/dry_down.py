"""`traywarden dry-down`: how fast the mixes dry."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking, number
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.services.questions.dry_down import DryDownAnswer, Median, ask_dry_down


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
        print_table(
            ("mix", "half of the way", "a day at mid-range", "for each kPa", "stretches", "trays", ""),
            [
                (
                    m.mix,
                    _median(m.tau_days, " days", 0.6931),
                    _median(m.rate_pct_per_day, " %"),
                    _median(m.rate_pct_per_day_kpa, " %"),
                    f"{m.stretches}" + (f" (+{m.too_short} too short)" if m.too_short else ""),
                    f"{m.trays}",
                    m.reason,
                )
                for m in answer.mixes
            ],
        )
        say("Median [95 % interval]; % of container capacity a day, midway between capacity and dry line.")
        say("")
        print_table(
            ("tray", "mix", "from", "days", "moisture", "time constant", "a day", "r²", "VPD", ""),
            [
                (
                    s.tray,
                    s.mix,
                    f"{s.start:%d %b %H:%M}",
                    number(s.days),
                    f"{s.first_pct:.0f} → {s.last_pct:.0f} %",
                    number(s.tau_days, 1, " days"),
                    number(s.rate_pct_per_day, 1, " %"),
                    number(s.r2, 3),
                    number(s.mean_vpd_kpa, 2, " kPa"),
                    s.reason,
                )
                for s in answer.stretches
            ],
        )
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _median(found: Median, unit: str, factor: float = 1.0) -> str:
    if found.median is None:
        return "–"
    text = f"{found.median * factor:.1f}{unit}"
    if found.low is None or found.high is None:
        return text
    return f"{text} [{found.low * factor:.1f}–{found.high * factor:.1f}]"
