"""`traywarden`: one app; every command group is a module of its own."""

import shlex
import sys

import typer
from rich.console import Console

from traywarden import __version__
from traywarden.cli import (
    boards,
    broker,
    calibrate,
    crops,
    demo,
    entries,
    imports,
    journal,
    lots,
    notices,
    outside,
    probes,
    questions,
    replay,
    run,
    setup,
    trays,
)
from traywarden.cli.context import remember
from traywarden.errors import TraywardenError

_PLAINER = {
    "Input should be a valid number, unable to parse string as a number": "not a number; write it like 0.5",
    "Input should be a valid integer, unable to parse string as an integer": "not a whole number",
    "Input should be greater than or equal to": "give at least",
    "Input should be less than or equal to": "give at most",
}
"""What Typer's checks of numbers say, and how a grower is told."""

app = typer.Typer(
    name="traywarden",
    context_settings={"help_option_names": ["--help", "-h"]},
    help="Tells a grower who raises transplants outdoors what each seed tray needs.",
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"traywarden {__version__}")
        raise typer.Exit


@app.callback()
def root(
    home: str = typer.Option(
        "",
        "--home",
        help="Folder with settings.toml and the store; default is TRAYWARDEN_HOME or your data folder.",
    ),
    debug: bool = typer.Option(False, "--debug", help="Show the full traceback when something fails."),
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """Tells a grower who raises transplants outdoors what each seed tray needs."""
    del version
    remember(home, debug=debug)


setup.register(app)
trays.register(app)
lots.register(app)
crops.register(app)
probes.register(app)
boards.register(app)
broker.register(app)
calibrate.register(app)
entries.register(app)
journal.register(app)
run.register(app)
imports.register(app)
outside.register(app)
replay.register(app)
questions.register(app)
notices.register(app)
demo.register(app)


def main(arguments: list[str] | None = None) -> int:
    """Run one command; every error family becomes one sentence on stderr and its exit code."""
    words = sys.argv[1:] if arguments is None else arguments
    try:
        result = app(words, prog_name="traywarden", standalone_mode=False)
    except TraywardenError as error:
        if "--debug" in words:
            raise
        Console(stderr=True, highlight=False).print(str(error), style="bold", markup=False, soft_wrap=True)
        return error.exit_code
    except typer.TyperException as error:
        # Typer's own usage errors know how to show the usage line; its base class does not declare it.
        show = getattr(error, "show", None)
        for said, plainer in _PLAINER.items():
            error.message = error.message.replace(said, plainer)
        if show is None:
            typer.echo(f"Error: {error}", err=True)
        else:
            show()
        return error.exit_code
    except (KeyboardInterrupt, typer.Abort):
        return 130
    except Exception as error:
        # What no part foresaw: still one sentence, as a traceback tells a grower nothing.
        if "--debug" in words:
            raise
        text = f"Traywarden failed where it should not ({type(error).__name__}: {error}). "
        text += f"To see where, for a report: traywarden --debug {shlex.join(words)}"
        Console(stderr=True, highlight=False).print(text, style="bold", markup=False, soft_wrap=True)
        return 1
    return result if isinstance(result, int) else 0
