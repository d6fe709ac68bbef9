"""`traywarden` itself: what stands before every command."""

import typer

from traywarden import __version__
from traywarden.cli.context import remember


def made_app() -> typer.Typer:
    """The program without any command."""
    app = typer.Typer(
        name="traywarden",
        context_settings={"help_option_names": ["--help", "-h"]},
        help="Tells a grower who raises transplants outdoors what each seed tray needs.",
        no_args_is_help=True,
        rich_markup_mode="markdown",
        pretty_exceptions_enable=False,
    )
    app.callback()(root)
    return app


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"traywarden {__version__}")
        raise typer.Exit


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
