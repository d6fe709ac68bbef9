"""`probe`: which have reported, where their heads are, and what their volts mean."""

import shlex

import typer

from traywarden.cli import completion
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench, emit
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.tables import print_table, say
from traywarden.cli.written import answer
from traywarden.domain.garden import Head
from traywarden.domain.journal import Facts, Kind
from traywarden.domain.units import span_words
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.probe_cards import ProbeCard, probe_cards
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Tx

probe_app = typer.Typer(no_args_is_help=True, help="Probes: where their heads are, what their volts mean.")
DRY_MIX_M3_M3 = 0.02
"""Water left in air-dry mix (common practice, no source)."""
HEAD = typer.Argument(..., help="The head: PROBE/NUMBER, such as bench-1/1.", autocompletion=completion.heads)


def register(app: typer.Typer) -> None:
    app.add_typer(probe_app, name="probe", rich_help_panel="Set up")


@probe_app.command("list")
def probe_list(as_json: bool = JSON_OPTION) -> None:
    """List the probes that have reported: where each head is, when last heard of, battery.

    A head that is nowhere yet is shown as waiting, with the command that places it.

    Example: `traywarden probe list`
    """
    with bench() as b:
        with b.store.read() as tx:
            cards = probe_cards(tx, b.now_ms)
        emit(cards, lambda shown: _print_cards(b, shown), as_json=as_json)


def _print_cards(b: Bench, cards: list[ProbeCard]) -> None:
    if not cards:
        say(
            "No probe has reported yet. Probes publish to "
            f"traywarden/v1/{b.garden.slug}/<probe>/readings; the host must be running: traywarden run"
        )
        return
    rows, waiting = [], []
    for card in cards:
        heard = f"{span_words((b.now_ms - card.last_seen_ms) / 1000)} ago"
        if card.imported:
            heard = "from a file"
        battery = "" if card.battery_v is None else f"{card.battery_v:.2f} V"
        for head in card.heads:
            where = (
                f"tray {head.tray}"
                if head.tray
                else head.place or ("waiting" if head.waiting else "with its trays")
            )
            rows.append((head.head, where, heard, battery, card.state))
            if head.waiting:
                waiting.append(head.place_with)
        if not card.heads:
            rows.append((card.probe, "no readings yet", heard, battery, card.state))
    print_table(("head", "where", "last heard", "battery", "state"), rows)
    if waiting:
        say("\nWaiting for their place:")
        for command in waiting:
            say(f"  {command}")


@probe_app.command("place")
def probe_place(
    head: str = HEAD,
    tray: str = typer.Option("", "--tray", "-t", help="The tray.", autocompletion=completion.trays),
    place: str = typer.Option(
        "",
        "--place",
        "-p",
        help="Or the place, for a sensor hung in the air.",
        autocompletion=completion.places,
    ),
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Say where a head is: in a tray, or hung in a place. Readings count from that time on.

    Example: `traywarden probe place bench-1/1 --tray A1 --at "3 days ago"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            known = _head(tx, head)
            into = garden_store.tray_named(tx, tray) if tray else None
            hung = garden_store.place_named(tx, place) if place else None
            draft = Draft(
                Kind.HEAD_PLACED,
                when,
                head_id=known.head_id,
                tray_id=into.tray_id if into else None,
                place_id=hung.place_id if hung else None,
                note=note,
            )
            entry = put(tx, draft, b.now_ms)
            homeless = into is not None and journal_store.facts(tx).place_of_tray(into.tray_id, when) is None
        where = f"is in tray “{into.name}”" if into else f"hangs in “{hung.name}”" if hung else ""
        says = f"Head {known.label} {where} since {at_words(b, when)}."
        if homeless and into is not None:
            # Else readings from before the tray's first place count for no place and no mix, in silence.
            words = f'{shlex.quote(into.name)} --to PLACE --at "{at_words(b, when)}"'
            says += f" Where the tray stood then is not known; say it with: traywarden moved {words}."
            says += " Its mix likewise, with tray refill."
        answer(b, says, [entry], as_json=as_json)


@probe_app.command("take-out")
def probe_take_out(
    head: str = HEAD,
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Say that a head was taken out: its readings count for no tray or place from then on.

    Example: `traywarden probe take-out bench-1/1 --at "today 9:15"`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            known = _head(tx, head)
            draft = Draft(Kind.HEAD_TAKEN_OUT, when, head_id=known.head_id, note=note)
            entry = put(tx, draft, b.now_ms)
        says = f"Head {known.label} is in no tray and no place since {at_words(b, when)}."
        answer(b, says, [entry], as_json=as_json)


@probe_app.command("calibrate")
def probe_calibrate(
    head: str = typer.Argument(
        "", help="The head, or leave out and use --mix.", autocompletion=completion.heads
    ),
    mix: str = typer.Option(
        "",
        "--mix",
        "-m",
        help="Every head in this mix that has none of its own.",
        autocompletion=completion.mixes,
    ),
    dry_volts: float = typer.Option(..., help="What the head reads in air-dry mix."),
    wet_volts: float = typer.Option(..., help="… and in mix that was soaked and has drained for an hour."),
    dry: float = typer.Option(DRY_MIX_M3_M3, help="Water in the dry mix, as a fraction of its volume."),
    wet: float | None = typer.Option(
        None, help="Water in the drained mix; default the mix's container capacity."
    ),
    note: str = typer.Option("", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Tell from two readings in your own mix what a head's volts mean. The past is computed anew with it.

    Example: `traywarden probe calibrate bench-1/1 --dry-volts 2.61 --wet-volts 1.34`
    """
    if bool(head) == bool(mix):
        raise UsageError("Say what to calibrate: a head such as bench-1/1, or --mix NAME, one of them.")
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with b.store.write() as tx:
            known = _head(tx, head) if head else None
            of = garden_store.mix_named(tx, mix) if mix else None
            if wet is None:
                wet = of.container_capacity_m3_m3 if of else _capacity(tx, known, when)
            data = {"dry_v": dry_volts, "dry_m3_m3": dry, "wet_v": wet_volts, "wet_m3_m3": wet}
            draft = Draft(
                Kind.CALIBRATED,
                when,
                head_id=known.head_id if known else None,
                mix_id=of.mix_id if of else None,
                data=data,
                note=note,
            )
            entry = put(tx, draft, b.now_ms)
        who = f"Head {known.label} reads" if known else f"Heads in “{of.name if of else mix}” read"
        says = f"{who} {dry:g} m³/m³ at {dry_volts:g} V and {wet:g} m³/m³ at {wet_volts:g} V."
        answer(b, says, [entry], as_json=as_json)


def _head(tx: Tx, label: str) -> Head:
    try:
        return probe_store.head_labelled(tx, label)
    except UnknownNameError as error:
        if not error.known:
            raise UsageError(
                f"No probe has reported yet, so “{label}” cannot be placed; once it has, it shows in: "
                "traywarden probe list"
            ) from None
        raise


def _capacity(tx: Tx, head: Head | None, when: int) -> float:
    """Container capacity of the mix the head is in, or the default where it is in none."""
    facts: Facts = journal_store.facts(tx)
    tray_id = facts.tray_of_head(head.head_id, when) if head else None
    mix_id = facts.mix_of_tray(tray_id, when) if tray_id else None
    mix = next((m for m in garden_store.mixes(tx) if m.mix_id == mix_id), None)
    return mix.container_capacity_m3_m3 if mix else garden_store.CONTAINER_CAPACITY_M3_M3
