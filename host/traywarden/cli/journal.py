"""`journal`: read it, correct it, take entries back. Nothing in it is ever overwritten."""

from typing import Any

import typer

from traywarden.cli import completion
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench, emit
from traywarden.cli.moments import at_ms
from traywarden.cli.tables import print_table, say
from traywarden.cli.written import answer
from traywarden.domain.journal import Entry, Kind, replacements
from traywarden.services.journal import correct, undo
from traywarden.services.journal_changes import look_up
from traywarden.services.journal_pages import Sought, kind_named, sought_entries
from traywarden.services.journal_words import EntryLine, entry_lines
from traywarden.store import garden as store
from traywarden.store import journal as journal_store

journal_app = typer.Typer(no_args_is_help=True, help="The journal: what was done and seen, dated.")
ENTRY = typer.Argument(..., help="The entry's number, as `journal list` shows it.", min=1)


def register(app: typer.Typer) -> None:
    app.add_typer(journal_app, name="journal", rich_help_panel="Journal")


def _kinds(incomplete: str) -> list[str]:
    return [kind.value for kind in Kind if kind.value.startswith(incomplete)]


@journal_app.command("list")
def journal_list(
    tray: str = typer.Option("", "--tray", "-t", help="Only of this tray.", autocompletion=completion.trays),
    kind: str = typer.Option(
        "", "--kind", "-k", help="Only of this kind, such as watered.", autocompletion=_kinds
    ),
    limit: int = typer.Option(30, "--limit", "-n", min=1, help="The newest so many."),
    everything: bool = typer.Option(False, "--all", help="Also what was replaced or taken back, marked."),
    as_json: bool = JSON_OPTION,
) -> None:
    """List what holds, oldest first.

    Example: `traywarden journal list --tray A1 --limit 10`
    """
    with bench() as b, b.store.read() as tx:
        tray_id = store.tray_named(tx, tray).tray_id if tray else None
        entries = journal_store.entries(tx)
        found = sought_entries(entries, Sought(tray_id, kind_named(kind), everything))
        lines = entry_lines(tx, found[-limit:], replacements(entries), b.zone, b.display)
    emit(lines, lambda shown: _print_lines(shown, limit), as_json=as_json)


def _print_lines(lines: list[EntryLine], limit: int) -> None:
    if not lines:
        say("The journal holds nothing like that yet; write in it with, for instance: traywarden watered A1")
        return
    print_table(
        ("entry", "when", "what", "note", "state"),
        [(str(x.entry), x.at, x.says, x.note, "" if x.state == "holds" else x.state) for x in lines],
    )
    if len(lines) == limit:
        say(f"The newest {limit}; earlier ones with --limit.")


@journal_app.command("correct")
def journal_correct(
    entry: int = ENTRY,
    at: str = AT_OPTION,
    tray: str = typer.Option("", help="The tray it was.", autocompletion=completion.trays),
    to: str = typer.Option("", "--to", help="The place it was.", autocompletion=completion.places),
    mix: str = typer.Option("", help="The mix it was.", autocompletion=completion.mixes),
    crop: str = typer.Option("", help="The crop it was.", autocompletion=completion.crops),
    lot: str = typer.Option("", help="The lot it was.", autocompletion=completion.lots),
    count: int | None = typer.Option(None, min=0, help="The count it was."),
    cells: int | None = typer.Option(None, help="The cells it was."),
    seeds_per_cell: float | None = typer.Option(None, help="The seeds per cell it was."),
    depth_mm: float | None = typer.Option(None, help="The depth it was."),
    litres: float | None = typer.Option(None, help="The litres it was."),
    below: bool | None = typer.Option(None, "--from-below/--from-above", help="How it was watered."),
    mm: float | None = typer.Option(None, help="The rain it was."),
    grams: float | None = typer.Option(None, help="The weight it was."),
    learn: bool | None = typer.Option(
        None, "--learn/--leave-out", help="Whether a sowing or an emergence teaches how fast seed comes up."
    ),
    filled: int | None = typer.Option(None, min=0, help="The filled cells it was."),
    seeds: int | None = typer.Option(None, help="The seeds laid out it was."),
    sprouted: int | None = typer.Option(None, min=0, help="The seeds sprouted it was."),
    end: str = typer.Option("", help="The end of the tray or base it was."),
    container_capacity: float | None = typer.Option(None, help="The container capacity it was, a fraction."),
    note: str | None = typer.Option(None, help="The note it should have."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Correct an entry: a new entry takes its place, the old one stays to be read with `journal list --all`.

    What is not given stays as it was.

    Example: `traywarden journal correct 12 --count 28 --at "yesterday 9:00"`
    """
    given: dict[str, Any] = {
        "count": count,
        "cells": cells,
        "seeds_per_cell": seeds_per_cell,
        "depth_mm": depth_mm,
        "litres": litres,
        "mm": mm,
        "grams": grams,
        "filled_cells": filled,
        "seeds": seeds,
        "sprouted": sprouted,
        "container_capacity_m3_m3": container_capacity,
        "how": None if below is None else "below" if below else "above",
        "learn": learn,
        "end": end.strip() or None,
    }
    data = {name: value for name, value in given.items() if value is not None}
    with bench() as b:
        changes: dict[str, Any] = {"at_ms": at_ms(b, at, quiet=as_json)} if at else {}
        if note is not None:
            changes["note"] = note
        with b.store.write() as tx:
            look_up(tx, changes, data, tray=tray, place=to, mix=mix, crop=crop, lot=lot)
            made = correct(tx, entry, b.now_ms, data, **changes)
        answer(b, f"{_now_holds(b, made)} (was entry {entry}).", [made], as_json=as_json)


@journal_app.command("undo")
def journal_undo(entry: int = ENTRY, as_json: bool = JSON_OPTION) -> None:
    """Take an entry back. Undoing the undo brings it back; undoing a correction brings the original back.

    Example: `traywarden journal undo 12`
    """
    with bench() as b:
        with b.store.write() as tx:
            before = {e.entry_id: e for e in journal_store.entries(tx)}
            made = undo(tx, entry, b.now_ms)
        old = before[entry]
        if old.replaces is None:
            says = f"Entry {entry} is taken back: {_now_holds(b, old)}."
        else:  # what it replaced or took back comes to hold again
            says = f"Entry {old.replaces} holds again: {_now_holds(b, before[old.replaces])}."
        answer(b, says, [made], as_json=as_json)


def _now_holds(b: Bench, entry: Entry) -> str:
    with b.store.read() as tx:
        (line,) = entry_lines(tx, [entry], {}, b.zone, b.display)
    return f"{line.says}, {line.at}" + (f" ({line.note})" if line.note else "")
