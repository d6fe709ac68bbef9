"""`token`: which other programs may ask this garden, and which may write in its journal."""

from collections.abc import Sequence
from dataclasses import dataclass

import typer

from traywarden.cli.context import JSON_OPTION, bench, emit
from traywarden.cli.tables import print_table, say
from traywarden.services.moments import moment_words
from traywarden.services.tokens import MadeToken, make_token
from traywarden.store import tokens as token_store
from traywarden.store.tokens import Token

token_app = typer.Typer(
    no_args_is_help=True, help="Tokens: which other programs may ask, and which may write."
)


@dataclass(frozen=True, slots=True)
class Dropped:
    """The token that is no longer let in."""

    dropped: str


def register(app: typer.Typer) -> None:
    app.add_typer(token_app, name="token", rich_help_panel="Set up")


@token_app.command("add")
def token_add(
    name: str = typer.Argument(..., help="What it is for, such as “kitchen display”."),
    write: bool = typer.Option(False, "--write", help="It may also write in the journal."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Make a token for another program. It is shown this once, and cannot be shown again.

    Example: `traywarden token add "kitchen display"`
    """
    with bench() as b, b.store.write() as tx:
        made = make_token(tx, name, b.now_ms, writes=write)
    emit(made, _print_made, as_json=as_json)


@token_app.command("list")
def token_list(as_json: bool = JSON_OPTION) -> None:
    """List the tokens: what each is for, and whether it may write.

    Example: `traywarden token list`
    """
    with bench() as b:
        with b.store.read() as tx:
            known = token_store.tokens(tx)
        zone = b.zone

    def words(tokens: Sequence[Token]) -> None:
        if not tokens:
            say('No other program is let in; make a token with: traywarden token add "kitchen display"')
            return
        print_table(
            ("token", "may", "made"),
            [(t.name, "ask and write" if t.writes else "ask", moment_words(t.made_ms, zone)) for t in tokens],
        )

    emit(known, words, as_json=as_json)


@token_app.command("drop")
def token_drop(
    name: str = typer.Argument(..., help="The token's name."), as_json: bool = JSON_OPTION
) -> None:
    """Let a program in no longer: its token is refused from now on.

    Example: `traywarden token drop "kitchen display"`
    """
    with bench() as b, b.store.write() as tx:
        token_store.drop(tx, name)
    emit(Dropped(name), lambda found: say(f"“{found.dropped}” is no longer let in."), as_json=as_json)


def _print_made(made: MadeToken) -> None:
    may = "ask and write" if made.token.writes else "ask"
    say(f"Token for “{made.token.name}”, which may {may}; keep it, as it is not shown again:")
    say(f"  {made.secret}")
    say("The program sends it with each request, as the header: Authorization: Bearer TOKEN")
