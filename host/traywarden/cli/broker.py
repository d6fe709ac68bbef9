"""`broker`: accounts on a broker of your own."""

from pathlib import Path

import typer

from traywarden.cli.context import JSON_OPTION, bench, emit
from traywarden.cli.tables import say
from traywarden.services.broker_accounts import (
    HASHED,
    LINES,
    RIGHTS,
    Accounts,
    known_accounts,
    write_accounts,
)
from traywarden.store import probes as probe_store

broker_app = typer.Typer(no_args_is_help=True, help="A broker of your own: accounts and rights.")


@broker_app.callback()
def broker() -> None:
    """A broker of your own: accounts and rights."""


def register(app: typer.Typer) -> None:
    app.add_typer(broker_app, name="broker", rich_help_panel="Set up")


@broker_app.command("accounts")
def broker_accounts(
    folder: Path = typer.Argument(..., help="Where the files go; they are for your eyes only."),
    probe: list[str] = typer.Option([], "--probe", "-p", help="A probe; default all that have reported."),
    host_user: str = typer.Option("traywarden-host", help="The host's own account."),
    renew: list[str] = typer.Option([], "--renew", help="Give this account a new password."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Write mosquitto's password and rights files: each probe may write its own topics and no other's.

    Run it again for more probes; accounts that are there stay as they are. Passwords are made up and stand in
    accounts.txt of the folder, from where `probe set-up --accounts FOLDER` takes them; none is printed.

    Example: `traywarden broker accounts ~/broker --probe bench-1 --probe frame-1`
    """
    with bench() as b:
        with b.store.read() as tx:
            reported = {known.name for known in probe_store.probes(tx)}
        names = (set(probe) or reported) | (known_accounts(folder) - {host_user})
        made = write_accounts(folder, b.garden.slug, host_user, names, renew=renew)
    emit(made, _print, as_json=as_json)


def _print(made: Accounts) -> None:
    probes = ", ".join(made.probes) or "no probe yet (add one with --probe)"
    say(f"Accounts in {made.folder}: {made.host} for the host; {probes}.")
    say(f"New passwords: {', '.join(made.fresh) or 'none'}; they stand in {made.plain}.")
    say(f"mosquitto: copy {LINES} to /etc/mosquitto/conf.d/; it names {HASHED} and {RIGHTS}.")
    say(f'The host: set broker.builtin = false, broker.user = "{made.host}" and broker.password.')
    say(f"A probe: traywarden probe set-up PORT --name NAME --accounts {made.folder}")
