"""`traywarden seeds`: how many seeds in each cell."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import PANEL, asking
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.emergence_forecast import Middle
from traywarden.domain.sowing_costs import THIN_S
from traywarden.domain.sowing_plan import MOST_PER_CELL
from traywarden.domain.units import c_from_f
from traywarden.errors import UsageError
from traywarden.services.fractions import fraction_from_text
from traywarden.services.questions.seeds import SeedsAnswer, SeedsAsked, ask_seeds
from traywarden.services.questions.seeds_why import share_words, why_words


def register(app: typer.Typer) -> None:
    app.command("seeds", rich_help_panel=PANEL)(seeds)


def seeds(
    what: str = typer.Argument(..., help="A lot, or a crop.", autocompletion=completion.lots),
    plants: int | None = typer.Option(None, "--plants", "-n", help="Plants wanted."),
    cells: int | None = typer.Option(
        None, "--cells", help="Cells to be sown; with --plants alone, as many as they take."
    ),
    tray: str = typer.Option(
        "",
        "--tray",
        "-t",
        help="Or the tray: its cells, and where it stands.",
        autocompletion=completion.trays,
    ),
    place: str = typer.Option(
        "",
        "--place",
        "-p",
        help="Where it will stand: a place, or a kind such as “cold frame”.",
        autocompletion=completion.places,
    ),
    fill: str = typer.Option("95%", "--fill", help="Cells wanted with a seedling in a middling tray."),
    sure: str = typer.Option("90%", "--sure", help="How sure the plants wanted should be."),
    gain: str = typer.Option(
        "2%",
        "--gain",
        help="Cells that one seed more in each must fill, to be worth sowing (common practice, no source).",
    ),
    most: int = typer.Option(
        MOST_PER_CELL, "--most", help="Seeds in a cell at most (common practice, no source)."
    ),
    temp: float | None = typer.Option(
        None, "--temp", help="Temperature of the mix they will have, in the degrees you display."
    ),
    seed_price: float | None = typer.Option(
        None, help="What one seed costs; default by the lot's price and number."
    ),
    cell_price: float | None = typer.Option(
        None, help="What one cell costs you, filled with mix; not reckoned in unless given."
    ),
    hour_price: float | None = typer.Option(
        None, help="What an hour of yours is worth; not reckoned in unless given."
    ),
    thin_seconds: float = typer.Option(
        THIN_S, help="To snip one seedling too many (common practice, no source)."
    ),
    as_json: bool = JSON_OPTION,
) -> None:
    """How many seeds to sow in each cell, so that the plants wanted come of it; and what that costs.

    From what the packet, your own tests (`lot test`), the age of the seed (`lot packed`) and what came up in
    your own trays say of the lot and of the place, with how sure that is.

    Example: `traywarden seeds "Roma 2025" --plants 60 --cells 72 --place "Cold frame"`, or
    `traywarden seeds tomato --tray A1 --cell-price 0.1 --hour-price 15`
    """
    wanted, certain, least = (
        fraction_from_text(text, f"part for --{name}")
        for name, text in (("fill", fill), ("sure", sure), ("gain", gain))
    )
    if wanted is None or certain is None or least is None:
        raise UsageError("A part is needed for --fill, --sure and --gain; write it like 95%.")
    with asking() as on:
        temp_c = c_from_f(temp) if temp is not None and on.display.temperature == "F" else temp
        answer = ask_seeds(
            on,
            SeedsAsked(
                what,
                plants,
                cells,
                tray,
                place,
                wanted,
                certain,
                least,
                most,
                temp_c,
                seed_price,
                cell_price,
                hour_price,
                thin_seconds,
            ),
        )
    emit(answer, _print, as_json=as_json)


def _print(answer: SeedsAnswer) -> None:
    say(answer.sentence)
    for sentence in answer.advice:
        if sentence:
            say(sentence)
    say("")
    plan, plants = answer.plan, answer.plants
    rows = [*plan.rows, *([plan.left] if plan.left is not None and plan.left not in plan.rows else [])]
    chosen = plan.left or plan.best
    free = len({row.cells for row in plan.rows}) > 1
    headings = ["a cell", "cells", "filled", "4 in 5", "of 100", f"{plants}+", f"for {plants}", "seeds"]
    headings += ["to thin", "price", "a plant", ""]
    print_table(
        headings,
        [
            (
                f"{row.per_cell}",
                f"{row.cells}",
                f"{row.filled_middle}",
                f"{row.filled_low}–{row.filled_high}",
                f"{row.middle_share * 100:.0f}",
                "" if row.wanted_chance is None else f"{row.wanted_chance * 100:.0f} %",
                "" if plants is None or free else f"{row.cells_needed or '–'}",
                f"{row.seeds}",
                f"{row.thinned:.0f}",
                f"{row.price:.2f}" if row.price else "",
                f"{row.plant_price:.3f}" if row.plant_price else "",
                "◀" if row == chosen else "",
            )
            for row in rows
        ],
        right=[heading for heading in headings if heading != "4 in 5"],
    )
    legend = "Filled: in a middling tray, and in four trays of five."
    if plants is not None:
        legend += f" {plants}+: how often {plants} plants or more come of it."
        legend += (
            "" if free else f" For {plants}: cells that give them {answer.certain * 100:g} times in 100."
        )
    say(legend)
    say("")
    say("Why:")
    _print_why(answer)
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _print_why(answer: SeedsAnswer) -> None:
    for line in why_words(answer):
        say(f"  {line}")
    if answer.places:
        say("")
        print_table(
            ("kind of place", "", "trays", "of 100 good seeds came up", "the next tray"),
            [
                (
                    p.kind,
                    "under cover" if p.covered else "open",
                    f"{p.trays}",
                    share_words(Middle(p.share, p.low, p.high)),
                    f"{p.next_low * 100:.0f}–{p.next_high * 100:.0f}",
                )
                for p in answer.places
            ],
            right=("trays",),
        )
