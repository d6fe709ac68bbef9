"""`password`: what the pages ask for before they show anything."""

import sys
from dataclasses import dataclass

import typer

from traywarden.cli.context import JSON_OPTION, emit, home
from traywarden.cli.tables import say
from traywarden.errors import UsageError
from traywarden.services.password import MOST, clear_password, set_password

password_app = typer.Typer(no_args_is_help=True, help="The password of the pages.")


@dataclass(frozen=True, slots=True)
class PasswordIs:
    """Whether a password is set now, and whether one was before where it was cleared."""

    set: bool
    was_set: bool | None = None


def register(app: typer.Typer) -> None:
    app.add_typer(password_app, name="password", rich_help_panel="Set up")


@password_app.command("set")
def password_set(
    stdin: bool = typer.Option(False, "--stdin", help="Read it from standard input, one line."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Set the password of the pages: from now on they ask for it. Asked twice, and not shown while you type.

    Only a hash of it is kept, in the home folder. Whoever is signed in must sign in again. With a password
    the pages may also be served to other devices; see the setting `web.host`.

    Example: `traywarden password set`
    """
    set_password(home(), _from_input() if stdin else _asked_twice())
    emit(
        PasswordIs(True),
        lambda _: say("The password is set; the pages ask for it from now on."),
        as_json=as_json,
    )


@password_app.command("clear")
def password_clear(as_json: bool = JSON_OPTION) -> None:
    """Take the password away. The pages are then served to this computer alone.

    Example: `traywarden password clear`
    """
    emit(PasswordIs(False, clear_password(home())), _print_cleared, as_json=as_json)


def _print_cleared(now: PasswordIs) -> None:
    say("The password is taken away; only this computer is served." if now.was_set else "No password is set.")


def _from_input() -> str:
    line = sys.stdin.readline(MOST + 3)
    if not line.rstrip("\r\n"):
        raise UsageError("There was no password on standard input; give it there as one line.")
    return line.rstrip("\r\n")


def _asked_twice() -> str:
    first: str = typer.prompt("New password", hide_input=True, err=True)
    again: str = typer.prompt("The same again", hide_input=True, err=True)
    if first != again:
        raise UsageError("The two passwords differ, so nothing was set; try again.")
    return first
