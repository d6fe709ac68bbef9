"""`traywarden batches`: all batches in one table, and groups of trays held against each other."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of, number
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.batch_words import chance_words
from traywarden.domain.group_difference import GroupDifference
from traywarden.services.questions.batches import BY, BatchesAnswer, GroupPair, ask_batches


def register(app: typer.Typer) -> None:
    app.command("batches", rich_help_panel=PANEL)(batches)


def _groupings(incomplete: str) -> list[str]:
    return [name for name in BY if name.startswith(incomplete)]


def batches(
    crop: str = typer.Option("", "--crop", "-c", help="Only of this crop.", autocompletion=completion.crops),
    by: str = typer.Option(
        "",
        "--by",
        "-b",
        help=f"Hold groups against each other: {', '.join(BY)}.",
        autocompletion=_groupings,
    ),
    start: str = FROM_OPTION,
    end: str = TO_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Every batch that was counted: how many came up and how soon; with --by, whether places or mixes differ.

    Groups are compared by tray, each tray counting once: seeds of one tray share its luck.

    Example: `traywarden batches --crop tomato --by place --from 2026-01-01`
    """
    with asking() as on:
        first, last = days_of(on, start, end)
        answer = ask_batches(on, crop=crop, by=by, start=first, end=last)
    emit(answer, _print, as_json=as_json)


def _print(answer: BatchesAnswer) -> None:
    for pair in answer.pairs:
        say(_sentence(pair))
    if answer.groups:
        say("")
        print_table(
            (answer.by, "trays", "came up, mean of trays", "half up, mean of trays"),
            [
                (g.name, f"{g.trays}", number(g.mean_pct, 0, " %"), number(g.mean_half_d, 1, " days"))
                for g in answer.groups
            ],
            right=("trays",),
        )
        say("")
    notes = Notes()
    print_table(
        (
            "tray",
            "crop",
            "lot",
            "mix",
            "place",
            "sown",
            "seeds",
            "up",
            "%",
            "half up, days",
            "10–90 %, days",
            "",
        ),
        [
            (
                row.tray,
                row.crop,
                row.lot or "",
                row.mix or "",
                row.place or "",
                f"{row.sown_at:%Y-%m-%d}",
                f"{row.seeds_sown or '–'}",
                f"{row.up}",
                "–"
                if row.share is None
                else f"{row.share.estimate * 100:.0f} ({row.share.low * 100:.0f}–{row.share.high * 100:.0f})",
                number(row.half_d),
                number(row.spread_d),
                notes.mark("still coming up at its last count" if row.still_rising else ""),
            )
            for row in answer.batches
        ],
        right=("seeds", "up", "half up, days", "10–90 %, days"),
    )
    notes.say()
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")
    say("One batch in full: traywarden batch TRAY")


def _sentence(pair: GroupPair) -> str:
    parts = [
        _part(pair.pct, "of 100 seeds more", "of 100 seeds fewer", 0),
        _part(pair.half_d, "days later", "days sooner", 1),
    ]
    told = "; ".join(part for part in parts if part)
    return f"{pair.a} against {pair.b}: {told or 'nothing to compare'}."


def _part(found: GroupDifference | None, more: str, less: str, digits: int) -> str:
    if found is None:
        return ""
    size = f"{abs(found.estimate):.{digits}f} {more if found.estimate >= 0 else less}"
    trays = f"{found.a_trays} against {found.b_trays} tray{'' if found.b_trays == 1 else 's'}"
    if found.low is None or found.high is None or found.p_value is None:
        return f"{size} ({trays}: {found.reason})"
    sign = 1 if found.estimate >= 0 else -1
    low, high = sorted((sign * found.low, sign * found.high))
    verdict = "unlikely to be chance" if found.p_value < 0.05 else "it may be chance"
    return (
        f"{size} ({low:.{digits}f} to {high:.{digits}f}; {trays}; {verdict}, {chance_words(found.p_value)})"
    )
