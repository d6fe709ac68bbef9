"""`traywarden batches`: all batches in one table, and groups of trays held against each other."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of, number
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.batch_comparison import ALPHA
from traywarden.domain.batch_words import chance_words
from traywarden.domain.group_difference import GroupDifference
from traywarden.services.questions.batches import BY, BatchesAnswer, BatchRow, GroupPair, ask_batches


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
    if answer.by and not answer.pairs:
        say(f"There are not two groups by {answer.by} yet to hold against each other.")
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
    if answer.by:
        say("")
    notes = Notes()
    rows = [
        (
            row.tray,
            row.crop,
            row.place or "",
            row.lot or "",
            row.mix or "",
            f"{row.sown_at:%Y-%m-%d}",
            f"{row.up}/{row.seeds_sown or '?'}",
            "–" if row.share is None else f"{row.share.estimate * 100:.0f}",
            "" if row.share is None else f"{row.share.low * 100:.0f}–{row.share.high * 100:.0f}",
            _half(row),
            number(row.spread_d) if row.up else "–",
            notes.mark("not yet counted to the end" if row.still_rising else ""),
        )
        for row in answer.batches
    ]
    print_table(
        ("tray", "crop", "place", "lot", "mix", "sown", "up", "%", "95 %", "half up, days", "80 % in", ""),
        rows,
        right=("up", "%", "half up, days", "80 % in"),
        spare=[name for name in ("80 % in", "mix", "lot", "place", "crop") if name != answer.by],
    )
    notes.say()
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")
    say("One batch in full, with lot, mix and place: traywarden batch TRAY")


def _half(row: BatchRow) -> str:
    """The day on which half was up, or the visits between which it was."""
    if row.half_d is not None:
        return f"{row.half_d:.1f}"
    if row.half_from_d is None or row.half_to_d is None:
        return "–"
    return f"{row.half_from_d:.0f}–{row.half_to_d:.0f}" if row.half_from_d else f"<{row.half_to_d:.1f}"


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
    ends = f"{low:.{digits}f} to {high:.{digits}f}".replace("-", "−")
    verdict = "unlikely to be chance" if found.p_value < ALPHA else "which may be chance"
    return f"{size} ({ends}; {trays}), {verdict} ({chance_words(found.p_value)})"
