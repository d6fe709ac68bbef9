"""`lot`: packets and harvests of seed."""

import typer

from traywarden.cli import completion, lot_tests
from traywarden.cli.context import JSON_OPTION, bench, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.garden import Lot
from traywarden.errors import UsageError
from traywarden.services.fractions import fraction_from_text
from traywarden.store import garden as store
from traywarden.store.crops import crop_name, crop_named

lot_app = typer.Typer(no_args_is_help=True, help="Lots: packets or harvests of seed.")


def register(app: typer.Typer) -> None:
    lot_tests.register(lot_app)
    app.add_typer(lot_app, name="lot", rich_help_panel="Set up")


@lot_app.command("add")
def lot_add(
    name: str = typer.Argument(..., help="What you call the lot, such as “Roma 2025”."),
    crop: str = typer.Option(..., "--crop", "-c", help="Its crop.", autocompletion=completion.crops),
    germination: str = typer.Option("", help="Share that comes up: 85% or 0.85."),
    tested: bool = typer.Option(False, "--tested", help="You tested it; else it is what the packet says."),
    seeds: int | None = typer.Option(None, help="How many seeds."),
    price: float | None = typer.Option(None, help="What it cost, in your money."),
    note: str = typer.Option("", help="Anything to remember."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a lot of seed.

    Example: `traywarden lot add "Roma 2025" --crop tomato --germination 85% --tested --seeds 50`
    """
    share = fraction_from_text(germination)
    if tested and share is None:
        raise UsageError("A tested lot needs the result; add --germination 85%.")
    with bench() as b, b.store.write() as tx:
        lot = store.add_lot(tx, name, crop_named(crop).key, share, tested, seeds, price, note)
    emit(lot, _print_lot, as_json=as_json)


@lot_app.command("list")
def lot_list(as_json: bool = JSON_OPTION) -> None:
    """List the lots.

    Example: `traywarden lot list`
    """
    with bench() as b, b.store.read() as tx:
        lots = store.lots(tx)
    emit(lots, _print_lots, as_json=as_json)


def _germination_words(lot: Lot) -> str:
    if lot.germination is None:
        return ""
    return f"{lot.germination * 100:g} % {'tested' if lot.tested else 'by the packet'}"


def _print_lot(lot: Lot) -> None:
    germination = _germination_words(lot)
    seeds = f"{lot.seeds} seeds" if lot.seeds is not None else ""
    known = ", ".join(part for part in (germination and f"germination {germination}", seeds) if part)
    say(f"Lot “{lot.name}” is {crop_name(lot.crop)}" + (f": {known}." if known else "."))


def _print_lots(lots: list[Lot]) -> None:
    if not lots:
        say('There is no lot yet; add one with: traywarden lot add "Roma 2025" --crop tomato')
        return
    rows = [
        (
            lot.name,
            crop_name(lot.crop),
            _germination_words(lot),
            str(lot.seeds or ""),
            "" if lot.price is None else f"{lot.price:g}",
            lot.note,
        )
        for lot in lots
    ]
    print_table(("lot", "crop", "germination", "seeds", "price", "note"), rows)
