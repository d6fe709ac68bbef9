"""`lot test`, `lot packed`, `lot show`: what is learnt of a lot of seed."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import asking
from traywarden.cli.context import AT_OPTION, JSON_OPTION, bench, emit
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.tables import say
from traywarden.cli.written import answer
from traywarden.domain.journal import Kind
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.lot_card import LotCard, lot_card
from traywarden.services.lots import replicate_check
from traywarden.store import garden as store
from traywarden.store.crops import crop_name

LOT = typer.Argument(..., help="The lot.", autocompletion=completion.lots)
NOTE_OPTION = typer.Option("", "--note", help="Anything to remember.")


def register(lot_app: typer.Typer) -> None:
    lot_app.command("test")(lot_test)
    lot_app.command("packed")(lot_packed)
    lot_app.command("show")(lot_show)


def lot_test(
    lot: str = LOT,
    sprouted: int | None = typer.Option(None, "--sprouted", "-k", min=0, help="How many sprouted."),
    seeds: int | None = typer.Option(None, "--seeds", "-n", min=1, help="How many were laid out."),
    replicates: str = typer.Option(
        "", "--replicates", "-r", help="Or each by itself: “22/25, 24/25, 21/25, 23/25”."
    ),
    days: float | None = typer.Option(None, "--days", help="After how many days they were counted."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """You laid out seeds of a lot on a wet towel, say, and counted: twenty tell something, 100 more.

    Replicates that lie further apart than chance lets them are pointed at: test again.

    Example: `traywarden lot test "Roma 2025" --seeds 100 --sprouted 87 --days 8`, or
    `traywarden lot test "Roma 2025" --replicates "22/25, 24/25, 21/25, 20/25"`
    """
    parts = replicates_from_text(replicates)
    if parts:
        if sprouted is not None or seeds is not None:
            raise UsageError("Give --replicates, or --seeds and --sprouted, not both.")
        sprouted, seeds = sum(k for k, _ in parts), sum(n for _, n in parts)
    if sprouted is None or seeds is None:
        raise UsageError("Say how many were laid out and how many sprouted: --seeds 50 --sprouted 44")
    data = {
        "seeds": seeds,
        "sprouted": sprouted,
        "days": days,
        "replicates": [list(p) for p in parts] if len(parts) > 1 else None,
    }
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            of = store.lot_named(tx, lot)
            entry = put(tx, Draft(Kind.TESTED, when, lot_id=of.lot_id, data=data, note=note), b.now_ms)
        says = f"Of lot “{of.name}”, {sprouted} of {seeds} seeds sprouted ({sprouted / seeds:.0%})."
        check = replicate_check(entry)
        if check is not None and check.agree is False:
            says += (
                f" The replicates differ by {check.range_pct:.0f} of 100, "
                f"and only {check.tolerated_pct:.0f} is tolerated "
                f"({check.source}{'' if check.verified else ', not verified'}): test again."
            )
        answer(b, says, [entry], as_json=as_json)


def lot_packed(
    lot: str = LOT,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """A lot was packed, or harvested: from then on its seed grows old.

    Example: `traywarden lot packed "Roma 2025" --at 2024-11-01`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            of = store.lot_named(tx, lot)
            entry = put(tx, Draft(Kind.PACKED, when, lot_id=of.lot_id, note=note), b.now_ms)
        answer(b, f"Lot “{of.name}” was packed on {at_words(b, when)}.", [entry], as_json=as_json)


def lot_show(lot: str = LOT, as_json: bool = JSON_OPTION) -> None:
    """Show one lot: what its seed germinates now, as far as packet, tests and age tell.

    Example: `traywarden lot show "Roma 2025"`
    """
    with asking() as on:
        card = lot_card(on, lot)
    emit(card, _print_card, as_json=as_json)


def _print_card(card: LotCard) -> None:
    say(
        f"Lot “{card.lot.name}”, {crop_name(card.lot.crop)}: {card.germination * 100:.0f} of 100 seeds can "
        f"sprout ({card.low * 100:.0f} to {card.high * 100:.0f}, four times in five)."
    )
    for told in card.told:
        when = f" ({told.at:%Y-%m-%d})" if told.at else ""
        say(f"  {told.says}{when}" + (f": {told.source}." if told.source else "."))
    if card.seeds_left is not None:
        say(f"{card.seeds_left} of {card.lot.seeds} seeds are left, by the journal.")
    for remark in card.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def replicates_from_text(text: str) -> list[tuple[int, int]]:
    """“22/25, 24/25” as pairs of sprouted and laid out; nothing as none.

    >>> replicates_from_text("22/25, 24/25")
    [(22, 25), (24, 25)]
    """
    found: list[tuple[int, int]] = []
    for part in text.replace(",", " ").split():
        sprouted, slash, seeds = part.partition("/")
        if not (slash and sprouted.isdigit() and seeds.isdigit() and 0 < int(seeds) >= int(sprouted)):
            raise UsageError(f"A replicate “{part}” cannot be; write sprouted/laid out, such as 22/25.")
        found.append((int(sprouted), int(seeds)))
    return found
