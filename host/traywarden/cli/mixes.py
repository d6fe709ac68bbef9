"""`traywarden mix accept`: let what the heads show of a mix hold."""

import typer

from traywarden.cli import completion
from traywarden.cli.asking import asking
from traywarden.cli.context import AT_OPTION, JSON_OPTION, bench
from traywarden.cli.moments import at_ms
from traywarden.cli.setup import mix_app
from traywarden.cli.written import answer
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError
from traywarden.services.journal import Draft, put
from traywarden.services.questions.moisture import DEFAULT_DAYS, mix_capacity
from traywarden.store import garden as store


def register(app: typer.Typer) -> None:
    """Into the group `mix`, which `setup` has made."""
    mix_app.command("accept")(mix_accept)


def mix_accept(
    name: str = typer.Argument(..., help="The mix.", autocompletion=completion.mixes),
    tray: str = typer.Option(
        "",
        "--tray",
        "-t",
        help="For this tray alone: deeper cells drain more.",
        autocompletion=completion.trays,
    ),
    value: float | None = typer.Option(
        None, "--value", help="Water held, as a fraction; default what the heads show."
    ),
    days: float = typer.Option(DEFAULT_DAYS, "--days", "-d", max=3660.0, help="How far back to learn from."),
    note: str = typer.Option("", "--note", help="Anything to remember."),
    at: str = AT_OPTION,
    as_json: bool = JSON_OPTION,
) -> None:
    """Let the container capacity that thorough waterings show hold for a mix, from now or from --at on.

    It is written into the journal with its date, beside what the mix was set up with; `journal undo` takes it
    back. What `traywarden moisture` shows is used for nothing before it is accepted.

    Example: `traywarden mix accept "Seed mix" --tray A1`
    """
    with bench() as b:
        when = at_ms(b, at, quiet=as_json)
        with asking() as on:
            mix = store.mix_named(on.tx, name)
            into = store.tray_named(on.tx, tray) if tray else None
            shown = mix_capacity(on, mix, into.name if into else "", days)
        waterings = None if value is not None or shown is None else shown.waterings
        chosen = value if value is not None else shown.learned_m3_m3 if shown else None
        if chosen is None:
            why = shown.reason if shown else f"no head is in a tray with “{mix.name}”"
            raise ShortOfDataError(
                f"Nothing shows the container capacity of “{mix.name}” yet: {why}. Water thoroughly a few "
                "times, or give it with --value 0.55."
            )
        data = {"container_capacity_m3_m3": round(chosen, 3), "waterings": waterings}
        draft = Draft(
            Kind.CAPACITY_ACCEPTED,
            when,
            tray_id=into.tray_id if into else None,
            mix_id=mix.mix_id,
            data=data,
            note=note,
        )
        with b.store.write() as tx:
            entry = put(tx, draft, b.now_ms)
        where = f" in tray {into.name}" if into else ""
        says = (
            f"“{mix.name}”{where} is taken to hold {chosen:.3f} m³/m³ after draining, "
            f"instead of {shown.set_m3_m3 if shown else mix.container_capacity_m3_m3:.3g}."
        )
        answer(b, says, [entry], as_json=as_json)
