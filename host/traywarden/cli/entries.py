"""What the grower did and saw, each a command: `sowed`, `watered`, `moved`, `emerged` …"""

from collections.abc import Mapping

import typer

from traywarden.cli import completion
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.written import answer
from traywarden.domain.garden import Tray
from traywarden.domain.journal import Kind
from traywarden.errors import UsageError
from traywarden.services.journal import Draft, put
from traywarden.store import garden as store
from traywarden.store.crops import crop_named, load_crops
from traywarden.store.store import Tx

TRAY = typer.Argument(..., help="The tray.", autocompletion=completion.trays)
TRAYS = typer.Argument(..., help="One tray or several.", autocompletion=completion.trays)
NOTE_OPTION = typer.Option("", "--note", help="Anything to remember.")
COUNT_OPTION = typer.Option(None, "--count", "-n", min=1, help="How many plants.")


def register(app: typer.Typer) -> None:
    of_trays = (sowed, watered, moved, emerged, potted_up, planted_out, weighed, levelled)
    for command in (*of_trays, vented, closed, rained, note):
        app.command(command.__name__.replace("_", "-"), rich_help_panel="Journal")(command)


def sowed(
    tray: str = TRAY,
    crop: str = typer.Option("", "--crop", "-c", help="The crop.", autocompletion=completion.crops),
    lot: str = typer.Option("", "--lot", "-l", help="Or the lot of seed.", autocompletion=completion.lots),
    cells: int | None = typer.Option(None, help="Cells sown; default all of the tray's."),
    seeds_per_cell: float | None = typer.Option(None, help="Seeds in each cell."),
    depth_mm: float | None = typer.Option(None, help="Depth in millimetres."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Seed was sown in a tray.

    Example: `traywarden sowed A1 --crop tomato --cells 72 --seeds-per-cell 2 --depth-mm 6 --at "today 8:00"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            into = store.tray_named(tx, tray)
            of = store.lot_named(tx, lot) if lot else None
            named = crop_named(crop) if crop else None
            if of is None and named is None:
                raise UsageError("Say what was sown: --crop tomato, or --lot with the name of a lot.")
            key = of.crop if of else named.key if named else ""
            if of and named and named.key != of.crop:
                raise UsageError(f"Lot “{of.name}” is {of.crop}, not {named.key}; leave --crop out.")
            data = {
                "crop": key,
                "cells": into.cells if cells is None else cells,
                "seeds_per_cell": seeds_per_cell,
                "depth_mm": depth_mm,
            }
            lot_id = of.lot_id if of else None
            draft = Draft(Kind.SOWED, when, tray_id=into.tray_id, lot_id=lot_id, data=data, note=note)
            entry = put(tx, draft, b.now_ms)
        known = load_crops().get(key)
        says = f"{known.name if known else key} is sown in tray “{into.name}” since {at_words(b, when)}."
        answer(b, says, [entry], as_json=as_json)


def watered(
    trays: list[str] = TRAYS,
    below: bool | None = typer.Option(
        None, "--from-below/--from-above", help="How; leave it out if it does not matter."
    ),
    litres: float | None = typer.Option(None, help="Litres for each tray, if known."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Trays were watered.

    Example: `traywarden watered A1 A2 --from-below --litres 0.5 --at "2 h ago"`
    """
    how = None if below is None else "below" if below else "above"
    with bench() as b:
        data = {"how": how, "litres": litres}
        _for_trays(b, trays, Kind.WATERED, data, note, at, as_json, "watered")


def moved(
    trays: list[str] = TRAYS,
    to: str = typer.Option(..., "--to", "-t", help="The place.", autocompletion=completion.places),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Trays were moved to another place.

    Example: `traywarden moved A1 A2 --to "Open bench" --at "yesterday 18:00"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            place, those = store.place_named(tx, to), _trays(tx, trays)
            entries = [
                put(tx, _draft(Kind.MOVED, when, tray, note=note, place_id=place.place_id), b.now_ms)
                for tray in those
            ]
        says = f"{_subjects(those, 'stands', 'stand')} in “{place.name}” since {at_words(b, when)}."
        answer(b, says, entries, as_json=as_json)


def emerged(
    tray: str = TRAY,
    count: int | None = typer.Option(None, "--count", "-n", min=0, help="Seedlings up so far, in all."),
    filled: int | None = typer.Option(None, "--filled", min=0, help="Cells with at least one seedling."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Seedlings are up: count them again on later days, always all of them. None yet is a count too.

    Example: `traywarden emerged A1 --count 31 --filled 27`
    """
    with bench() as b:
        says = "seen to be up" if count is None else f"seen to have {count} seedlings up"
        says += "" if filled is None else f" in {filled} cells"
        data = {"count": count, "filled_cells": filled}
        _for_trays(b, [tray], Kind.EMERGED, data, note, at, as_json, says)


def potted_up(
    tray: str = TRAY,
    count: int | None = COUNT_OPTION,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Seedlings were moved from the tray into bigger pots.

    Example: `traywarden potted-up A1 --count 24`
    """
    with bench() as b:
        _for_trays(b, [tray], Kind.POTTED_UP, {"count": count}, note, at, as_json, "potted up")


def planted_out(
    tray: str = TRAY,
    count: int | None = COUNT_OPTION,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """The tray was planted out: it is free for another sowing.

    Example: `traywarden planted-out A1 --count 60 --note "bed 4"`
    """
    with bench() as b:
        _for_trays(b, [tray], Kind.PLANTED_OUT, {"count": count}, note, at, as_json, "planted out")


def weighed(
    tray: str = TRAY,
    grams: float = typer.Option(..., "--grams", "-g", help="Weight of the whole tray."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """A tray was weighed: lifting it is how water is judged by hand.

    Example: `traywarden weighed A1 --grams 5200`
    """
    with bench() as b:
        _for_trays(b, [tray], Kind.WEIGHED, {"grams": grams}, note, at, as_json, f"weighed ({grams:g} g)")


def levelled(
    trays: list[str] = TRAYS,
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Trays, or the base they stand on, were put level: from then on it is judged anew.

    Example: `traywarden levelled A1 --at "today 8:00"`
    """
    with bench() as b:
        _for_trays(b, trays, Kind.LEVELLED, {}, note, at, as_json, "put level")


def vented(
    place: str = typer.Argument(..., help="The place.", autocompletion=completion.places),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """A frame or greenhouse was opened.

    Example: `traywarden vented "South frame" --at "today 10:30"`
    """
    _of_place(Kind.VENTED, place, note, at, as_json=as_json)


def closed(
    place: str = typer.Argument(..., help="The place.", autocompletion=completion.places),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """A frame or greenhouse was closed again.

    Example: `traywarden closed "South frame" --at "today 18:30"`
    """
    _of_place(Kind.CLOSED, place, note, at, as_json=as_json)


def _of_place(kind: Kind, place: str, note: str, at: str, *, as_json: bool) -> None:
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            where = store.place_named(tx, place)
            entry = put(tx, Draft(kind, when, place_id=where.place_id, note=note), b.now_ms)
        answer(b, f"“{where.name}” was {kind.value} at {at_words(b, when)}.", [entry], as_json=as_json)


def rained(
    mm: float | None = typer.Option(None, "--mm", help="Millimetres, if measured."),
    note: str = NOTE_OPTION,
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """It rained: a wetting in uncovered places at that time is then rain, not a watering.

    Example: `traywarden rained --mm 6 --at "yesterday 16:00"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            entry = put(tx, Draft(Kind.RAINED, when, data={"mm": mm}, note=note), b.now_ms)
        amount = f" {b.display.depth(mm)}" if mm is not None else ""
        answer(b, f"It rained{amount} at {at_words(b, when)}.", [entry], as_json=as_json)


def note(
    tray: str = TRAY,
    text: str = typer.Argument(..., help="What you saw or did."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Write something down about a tray.

    Example: `traywarden note A1 "slugs on the north edge"`
    """
    if not text.strip():
        raise UsageError("A note needs words; write them in quotes after the tray.")
    with bench() as b:
        _for_trays(b, [tray], Kind.NOTED, {}, text.strip(), at, as_json, "given a note")


def _for_trays(
    b: Bench,
    names: list[str],
    kind: Kind,
    data: Mapping[str, object],
    note: str,
    at: str,
    as_json: bool,
    says: str,
) -> None:
    """The same entry for every tray, all or none, and one sentence that says what now holds."""
    when = at_ms(b, at, quiet=as_json)
    with b.store.write() as tx:
        trays = _trays(tx, names)
        entries = [put(tx, _draft(kind, when, tray, data=data, note=note), b.now_ms) for tray in trays]
    sentence = f"{_subjects(trays, 'was', 'were')} {says} at {at_words(b, when)}."
    answer(b, sentence, entries, as_json=as_json)


def _draft(
    kind: Kind,
    when: int,
    tray: Tray,
    *,
    data: Mapping[str, object] | None = None,
    note: str = "",
    place_id: int | None = None,
) -> Draft:
    return Draft(kind, when, tray_id=tray.tray_id, place_id=place_id, data=data or {}, note=note)


def _trays(tx: Tx, names: list[str]) -> list[Tray]:
    """The trays of those names, each once however often it was named."""
    return list({tray.tray_id: tray for tray in (store.tray_named(tx, name) for name in names)}.values())


def _subjects(trays: list[Tray], one: str, many: str) -> str:
    names = ", ".join(f"“{tray.name}”" for tray in trays)
    return f"Tray {names} {one}" if len(trays) == 1 else f"Trays {names} {many}"
