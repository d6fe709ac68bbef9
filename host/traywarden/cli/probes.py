"""`probe`: which have reported, and where their heads are."""

import shlex

import typer

from traywarden.cli import completion
from traywarden.cli.context import AT_OPTION, JSON_OPTION, Bench, bench, emit
from traywarden.cli.moments import at_ms, at_words
from traywarden.cli.tables import print_table, say
from traywarden.cli.written import answer
from traywarden.domain.journal import Kind
from traywarden.domain.units import span_words
from traywarden.services.journal import Draft, put
from traywarden.services.probe_cards import ProbeCard, probe_cards
from traywarden.services.probe_settings import wanted_settings
from traywarden.services.renaming import call_probe
from traywarden.services.setting_up import head_named, put_head
from traywarden.store.crops import load_crops

probe_app = typer.Typer(
    no_args_is_help=True, help="Probes: what has reported and where, and the one on the USB cable."
)
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
            wanted = wanted_settings(tx, b.settings, load_crops(), b.now_ms)
            cards = probe_cards(tx, b.now_ms, wanted)
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
            rows.append((head.head, where, heard, battery, card.state, card.settings))
            if head.waiting:
                waiting.append(head.place_with)
        if not card.heads:
            rows.append((card.probe, "no readings yet", heard, battery, card.state, card.settings))
    print_table(("head", "where", "last heard", "battery", "state", "settings"), rows)
    for card in cards:
        if card.called != card.probe:
            say(f"{card.probe} is called “{card.called}”.")
        for trouble in _troubles(card):
            say(f"{card.probe}: {trouble}")
    if waiting:
        say("\nWaiting for their place:")
        for command in waiting:
            say(f"  {command}")


def _troubles(card: ProbeCard) -> list[str]:
    """What a probe says of itself that a person should know."""
    health = card.health
    told = [f"it says: {fault}" for fault in health.faults]
    if health.battery_low:
        told.append(f"battery {card.battery_v:.2f} V. {health.battery_says}")
    if health.signal == "weak":
        told.append(f"weak signal ({health.signal_dbm} dBm); move the access point nearer")
    if health.spool or health.lost:
        told.append(health.spool_says[:1].lower() + health.spool_says[1:])
    return told


@probe_app.command("call")
def probe_call(
    probe: str = typer.Argument(..., help="The probe, by the name it reports under."),
    label: str = typer.Argument("", help="What you call it; nothing: by its own name again."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Call a probe by a name of your own, on pages and in notices; it reports under its own all the same.

    Example: `traywarden probe call 02a1f0fffe4b0001 "Bench probe"`
    """
    with bench() as b:
        with b.store.write() as tx:
            called = call_probe(tx, probe, label)
        emit(
            {"probe": called.name, "called": called.called},
            lambda _: say(f"Probe {called.name} is called “{called.called}”."),
            as_json=as_json,
        )


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
    end: str = typer.Option("", help="Which end of the tray: north, left …; tells who stays drier."),
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
            done = put_head(tx, head, tray=tray, place=place, end=end, note=note, at_ms=when, now_ms=b.now_ms)
        known, into, hung = done.head, done.tray, done.place
        at_end = f" ({end.strip()} end)" if end.strip() else ""
        where = f"is in tray “{into.name}”{at_end}" if into else f"hangs in “{hung.name}”" if hung else ""
        says = f"Head {known.label} {where} since {at_words(b, when)}."
        if done.homeless and into is not None:
            # Else readings from before the tray's first place count for no place and no mix, in silence.
            words = f'{shlex.quote(into.name)} --to PLACE --at "{at_words(b, when)}"'
            says += f" Where the tray stood then is not known; say it with: traywarden moved {words}."
            says += " Its mix likewise, with tray refill."
        answer(b, says, [done.entry], as_json=as_json)


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
            known = head_named(tx, head)
            draft = Draft(Kind.HEAD_TAKEN_OUT, when, head_id=known.head_id, note=note)
            entry = put(tx, draft, b.now_ms)
        says = f"Head {known.label} is in no tray and no place since {at_words(b, when)}."
        answer(b, says, [entry], as_json=as_json)
