"""`traywarden upkeep`: make ready what questions over a season read."""

from dataclasses import dataclass

import typer

from traywarden.cli import context
from traywarden.cli.bars import counting_bar
from traywarden.cli.context import JSON_OPTION, emit
from traywarden.cli.tables import say
from traywarden.services.upkeep import Used, forget_results, keep_results, pack_days
from traywarden.store import garden as garden_store


@dataclass(frozen=True, slots=True)
class UpkeepAnswer:
    """What was done: days packed anew, results kept anew, results forgotten."""

    days_packed: int
    results_kept: int
    results_forgotten: int


def register(app: typer.Typer) -> None:
    app.command("upkeep")(upkeep)


def upkeep(as_json: bool = JSON_OPTION) -> None:
    """Make questions over a season quick, where no host runs: pack days, and keep what was worked out.

    A running host does this by itself, and an import packs what it brought. No answer depends on it; without
    it, questions over months take longer.

    Example: `traywarden upkeep`
    """
    with context.opened_store() as (store, settings):
        now_ms = context.now_ms()
        with counting_bar("Packing days", quiet=as_json) as advance:
            packed = pack_days(store, settings, now_ms, advance)
        with store.read() as tx:
            trays = garden_store.trays(tx)
        used: Used = {}
        kept = 0
        with counting_bar("Keeping what trays have to tell", quiet=as_json) as advance:
            for number, tray in enumerate(trays, 1):
                kept += keep_results(store, settings, tray.tray_id, now_ms, used)
                if advance is not None:
                    advance(number, len(trays))
        forgotten = forget_results(store, used)
    emit(UpkeepAnswer(packed, kept, forgotten), _print, as_json=as_json)


def _print(answer: UpkeepAnswer) -> None:
    if not (answer.days_packed or answer.results_kept):
        say("Nothing was left to do: questions over a season are as quick as they can be.")
        return
    say(f"{answer.days_packed:,} days of readings packed, {answer.results_kept:,} results kept.")
