"""`traywarden batches`: all batches in one table, and groups of trays held against each other."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import FROM_OPTION, PANEL, TO_OPTION, asking, days_of
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.units import number
from traywarden.services.questions.batches import BY, BatchesAnswer, ask_batches
from traywarden.services.questions.group_words import group_sentences, half_words


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
    for sentence in group_sentences(answer):
        say(sentence)
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
            half_words(row),
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
