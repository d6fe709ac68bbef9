"""`traywarden batch`: how a batch came up, and one against another."""

from pathlib import Path

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.links.pictures import check_name, draw
from traywarden.services.questions.batch import BatchAnswer, BatchCard, CountRow, ask_batch
from traywarden.services.questions.batch_figures import figure_rows
from traywarden.services.questions.batch_picture import batch_picture

BAR, BAR_OF_TWO = 24, 16


def register(app: typer.Typer) -> None:
    app.command("batch", rich_help_panel=PANEL)(batch)


def batch(
    tray: str = typer.Argument(
        ..., help="The tray, or TRAY@DAY for what stood in it that day.", autocompletion=completion.trays
    ),
    other: str = typer.Argument("", help="Another to hold it against.", autocompletion=completion.trays),
    picture: Path | None = typer.Option(None, "--picture", help="Draw it into this .svg or .png file."),
    as_json: bool = JSON_OPTION,
) -> None:
    """How a batch came up: how many, how soon, how evenly; and whether another truly did better.

    It is made of the counts that `emerged` writes down, of all seedlings up so far. Every published figure of
    the batch is in the JSON.

    Example: `traywarden batch A1`, or `traywarden batch A1 B1`, or `traywarden batch A1 A1@2026-03-20`
    """
    if picture is not None:
        check_name(picture)
    with asking() as on:
        answer = ask_batch(on, tray, other)
    if picture is not None:
        draw(batch_picture(answer), picture)
    emit(answer, _print, as_json=as_json)


def _print(answer: BatchAnswer) -> None:
    first, second = answer.first, answer.second
    if second is None:
        say(first.sentence)
        _print_one(first)
        return
    for sentence in answer.sentences:
        say(sentence)
    say("")
    for each in (first, second):
        say(each.sentence)
    _print_two(first, second)
    _print_figures([first, second])
    say("")
    both = [remark for remark in first.remarks if remark in second.remarks]
    for remark in both:
        say(f"Both: {remark}.")
    for each in (first, second):
        for remark in each.remarks:
            if remark not in both:
                say(f"{each.name}: {remark}.")
    if answer.differed:
        say(f"What else was not the same: {'; '.join(answer.differed)}.")
    say(
        "Seeds of one tray share its luck: this is about these two trays, "
        "not yet about what made them differ."
    )


def _print_one(card: BatchCard) -> None:
    where = ", ".join(
        part for part in (card.crop, card.lot and f"lot “{card.lot}”", card.mix, card.place) if part
    )
    say(f"{where}; sown {card.sown_at:%Y-%m-%d %H:%M}.")
    say("")
    whole = card.seeds_sown or card.up
    print_table(
        ("day", "counted", "new", "up", "", "%"),
        [
            (
                f"{row.day:.1f}",
                f"{row.at:%d %b %H:%M}",
                f"{row.newly_up}",
                f"{row.up}",
                bar(row.up / whole if whole else 0.0),
                "" if row.up_pct is None else f"{row.up_pct:.0f}",
            )
            for row in card.counts
        ],
        right=("day", "new", "up", "%"),
    )
    _print_figures([card])
    for remark in card.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _print_two(a: BatchCard, b: BatchCard) -> None:
    """Both curves on one scale, a line for each day that either was counted."""
    say("")
    days = sorted({round(row.day) for card in (a, b) for row in card.counts})
    print_table(
        ("day", a.name, "", b.name, ""),
        [(f"{day}", *_cell(a, day), *_cell(b, day)) for day in days],
        right=("day",),
    )


def _cell(card: BatchCard, day: int) -> tuple[str, str]:
    """The bar of the last count up to a day, and what is up; empty where it was not counted that day."""
    on_day = [row for row in card.counts if round(row.day) == day]
    if not on_day:
        return "", ""
    row: CountRow = on_day[-1]
    whole = card.seeds_sown or card.up
    share = "" if row.up_pct is None else f" ({row.up_pct:.0f} %)"
    return bar(row.up / whole if whole else 0.0, BAR_OF_TWO), f"{row.up}{share}"


def bar(share: float, cells: int = BAR) -> str:
    """A part of a whole as a bar, to an eighth of a cell.

    >>> bar(0.5, 4), bar(0.03, 4), bar(1.0, 4)
    ('██··', '▏···', '████')
    """
    eighths = round(min(max(share, 0.0), 1.0) * cells * 8)
    full, rest = divmod(eighths, 8)
    text = "█" * full + (" ▏▎▍▌▋▊▉"[rest] if rest else "")
    return text.ljust(cells, "·")


def _print_figures(cards: list[BatchCard]) -> None:
    """Times in days since sowing, of batches whose counts bear them; a dash where those of one do not."""
    rows = [
        (name, *("–" if each is None else f"{each:.1f} days" for each in days))
        for name, days in figure_rows(cards)
    ]
    if rows and len(cards) > 1:
        say("")
    if rows:
        print_table(("", *(card.name for card in cards)) if len(cards) > 1 else ("", ""), rows)
