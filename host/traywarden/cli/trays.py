"""`tray`: what stands where, filled with what."""

import typer

from traywarden.cli import completion
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench, emit
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.tables import grouped, print_table, say
from traywarden.cli.written import answer
from traywarden.domain.journal import Kind
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.setting_up import make_tray
from traywarden.services.tray_card import TrayCard, tray_card, tray_cards
from traywarden.store import garden as store

tray_app = typer.Typer(no_args_is_help=True, help="Trays: what stands where, filled with which mix.")
DAY = len("2026-03-01")
MIX_OPTION = typer.Option(
    ..., "--mix", "-m", help="The mix it is filled with.", autocompletion=completion.mixes
)
PLACE_OPTION = typer.Option(
    ..., "--place", "-p", help="The place it stands in.", autocompletion=completion.places
)


def register(app: typer.Typer) -> None:
    app.add_typer(tray_app, name="tray", rich_help_panel="Set up")


@tray_app.command("add")
def tray_add(
    name: str = typer.Argument(..., help="What you call the tray."),
    mix: str = MIX_OPTION,
    place: str = PLACE_OPTION,
    cells: int | None = typer.Option(None, help="Number of cells or pots."),
    litres: float | None = typer.Option(None, help="Mix in the whole tray; tells how much to pour."),
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a tray: filled with a mix, standing in a place.

    Example: `traywarden tray add A1 --mix "Seed mix" --place "South frame" --cells 72 --litres 4`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            made = make_tray(
                tx, name, mix, place, cells=cells, litres=litres, note=note, at_ms=when, now_ms=b.now_ms
            )
        says = (
            f"Tray “{made.tray.name}” is filled with “{made.mix.name}” and stands in “{made.place.name}” "
            f"since {at_words(b, when)}."
        )
        answer(b, says, list(made.entries), as_json=as_json)


@tray_app.command("refill")
def tray_refill(
    name: str = typer.Argument(..., help="The tray.", autocompletion=completion.trays),
    mix: str = MIX_OPTION,
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Fill a tray with another mix: from then on its dry line and calibration are the new mix's.

    Example: `traywarden tray refill A1 --mix "Potting mix" --at "yesterday 10:00"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            tray, of = store.tray_named(tx, name), store.mix_named(tx, mix)
            draft = Draft(Kind.FILLED, when, tray_id=tray.tray_id, mix_id=of.mix_id, note=note)
            entry = put(tx, draft, b.now_ms)
        says = f"Tray “{tray.name}” is filled with “{of.name}” since {at_words(b, when)}."
        answer(b, says, [entry], as_json=as_json)


@tray_app.command("base")
def tray_base(
    names: list[str] = typer.Argument(
        ..., help="The trays that share it, from one end to the other.", autocompletion=completion.trays
    ),
    base: str = typer.Option("", "--name", help="What you call the base; default the trays' names."),
    ends: str = typer.Option("", "--ends", help="Which ends they run between, such as “west, east”."),
    alone: bool = typer.Option(False, "--alone", help="They share none any more."),
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Trays stand together in one base tray, and are watered from below together.

    Holds until they are moved to another place, as a base stands level or not where it stands.

    Example: `traywarden tray base A1 A2 --ends "west, east"`
    """
    between = [part.strip() for part in ends.split(",")] if ends.strip() else ["", ""]
    if len(between) != 2:
        raise UsageError(f"The ends “{ends}” cannot be read; write two, such as --ends “west, east”.")
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            trays = list({t.tray_id: t for t in (store.tray_named(tx, name) for name in names)}.values())
            if len(trays) < 2 and not alone:
                raise UsageError("A base is shared by two trays or more; name them all, or add --alone.")
            called = store.clean_name("base", base or " + ".join(tray.name for tray in trays))
            shared = {} if alone else {"base": called}
            entries = [
                put(
                    tx,
                    Draft(
                        Kind.ON_BASE,
                        when,
                        tray_id=tray.tray_id,
                        data=shared | _place_on_base(n, len(trays), between) if shared else {},
                        note=note,
                    ),
                    b.now_ms,
                )
                for n, tray in enumerate(trays)
            ]
        who = ", ".join(f"“{tray.name}”" for tray in trays)
        does = "stand alone" if alone else f"stand on base “{called}”"
        answer(b, f"Trays {who} {does} since {at_words(b, when)}.", entries, as_json=as_json)


def _place_on_base(row: int, number: int, between: list[str]) -> dict[str, object]:
    """The first tray is at the first end, the last at the other; those between are at none."""
    end = between[0] if row == 0 else between[1] if row == number - 1 else ""
    return {"row": row, "end": end or None}


@tray_app.command("list")
def tray_list(as_json: bool = JSON_OPTION) -> None:
    """List the trays: where each stands, its mix, and what is sown in it.

    Example: `traywarden tray list`
    """
    with bench() as b, b.store.read() as tx:
        cards = tray_cards(tx, b.zone, b.now_ms)
    emit(cards, _print_cards, as_json=as_json)


def _print_cards(cards: list[TrayCard]) -> None:
    if not cards:
        say(
            'There is no tray yet; add one with: traywarden tray add A1 --mix "Seed mix" --place "Open bench"'
        )
        return
    rows = [
        (
            card.place.name if card.place else "in no place",
            (
                card.tray.name,
                card.mix.name if card.mix else "",
                card.crop_name or "",
                (card.sown or "")[:DAY],
                (card.emerged or "")[:DAY],
                ", ".join(card.heads) or "no head",
            ),
        )
        for card in cards
    ]
    print_table(("tray", "mix", "crop", "sown", "up since", "heads"), grouped(rows))


@tray_app.command("show")
def tray_show(
    name: str = typer.Argument(..., help="The tray.", autocompletion=completion.trays),
    lines: int = typer.Option(10, "--lines", min=0, help="How many of its last journal entries."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Show one tray: place, mix, crop, heads and its last journal entries.

    Example: `traywarden tray show A1`
    """
    with bench() as b:
        with b.store.read() as tx:
            card = tray_card(tx, name, b.zone, b.display, b.now_ms, lines=lines)
        emit(card, lambda shown: _print_card(b, shown), as_json=as_json)


def _print_card(b: Bench, card: TrayCard) -> None:
    tray, mix, place = card.tray, card.mix, card.place
    size = [f"{tray.cells} cells" if tray.cells else "", f"{tray.litres:g} l of mix" if tray.litres else ""]
    size_words = ", ".join(part for part in size if part)
    say(f"Tray “{tray.name}”" + (f" ({size_words})" if size_words else ""))
    say(f"  place  {f'{place.name} ({place.kind})' if place else 'not known; see traywarden moved --help'}")
    water = f" (dry at {mix.dry_line_m3_m3:g} of {mix.container_capacity_m3_m3:g} m³/m³)" if mix else ""
    say(f"  mix    {mix.name + water if mix else 'not known; see traywarden tray refill --help'}")
    sown = f"{card.crop_name}, sown {card.sown}" if card.crop_name else "nothing sown"
    say(f"  crop   {sown}" + (f", up since {card.emerged}" if card.emerged else ""))
    say(f"  heads  {', '.join(card.heads) or 'none; see traywarden probe list'}")
    if tray.note:
        say(f"  note   {tray.note}")
    if card.journal:
        say("")
        print_table(
            ("entry", "when", "what", "note"), [(str(e.entry), e.at, e.says, e.note) for e in card.journal]
        )
