"""`traywarden`: one program; every command or group of commands is a module of its own."""

import gc
import os
import shlex
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module

import typer
from rich.console import Console

from traywarden.cli.root import made_app
from traywarden.errors import TraywardenError

_PLAINER = {
    "Input should be a valid number, unable to parse string as a number": "not a number; write it like 0.5",
    "Input should be a valid integer, unable to parse string as an integer": "not a whole number",
    "Input should be greater than or equal to": "give at least",
    "Input should be less than or equal to": "give at most",
}
"""What Typer's checks of numbers say, and how a grower is told."""

ALONE = {
    "today": "today",
    "outlook": "outlook",
    "emergence": "emergence",
    "seeds": "seeds",
    "degree-days": "degree_days",
    "waterings": "waterings",
    "moisture": "moisture",
    "dry-down": "dry_down",
    "compare": "compare",
    "batch": "batch",
    "batches": "batches",
    "level": "level",
    "quality": "quality",
    "record": "record",
    "week": "week",
    "doctor": "doctor",
    "import": "imports",
    "upkeep": "upkeep",
    "export": "export",
    "run": "run",
    "pages": "pages",
    **dict.fromkeys(
        (
            "sowed",
            "watered",
            "moved",
            "emerged",
            "potted-up",
            "planted-out",
            "weighed",
            "vented",
            "closed",
            "levelled",
            "rained",
        ),
        "entries",
    ),
    "note": "entries",
}
"""Commands whose module has all that they need. Loading every other one as well takes a second."""


def app_for(words: Sequence[str]) -> typer.Typer:
    """The program with the command that is called; with all commands where that is not one of ALONE."""
    module = ALONE.get(_command(words))
    if module is None or "_TRAYWARDEN_COMPLETE" in os.environ:
        whole: typer.Typer = import_module("traywarden.cli.app").app
        return whole
    app = made_app()
    import_module(f"traywarden.cli.{module}").register(app)
    return app


@contextmanager
def without_garbage() -> Iterator[None]:
    """Loading makes some hundred thousand objects that all stay: looking for garbage in them is time lost."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _command(words: Sequence[str]) -> str:
    """The first word that is no option of `traywarden` itself, nor the folder of --home.

    Empty where help with the whole program is asked for before it.
    """
    before = ""
    for word in words:
        if word in ("--help", "-h") and before != "--home":
            return ""
        if not word.startswith("-") and before != "--home":
            return word
        before = word
    return ""


def main(arguments: list[str] | None = None) -> int:
    """Run one command; every error family becomes one sentence on stderr and its exit code."""
    words = sys.argv[1:] if arguments is None else arguments
    try:
        with without_garbage():
            app = app_for(words)
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
