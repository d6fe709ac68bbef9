"""`place rename`, `tray rename`, `mix rename`, `lot rename`: another name, with all of the past."""

import typer

from traywarden.cli import completion
from traywarden.cli.context import JSON_OPTION, bench
from traywarden.cli.lots import lot_app
from traywarden.cli.setup import mix_app, place_app
from traywarden.cli.trays import tray_app
from traywarden.cli.written import answer
from traywarden.services.renaming import rename

NEW = typer.Argument(..., help="What you call it from now on.")


def register(app: typer.Typer) -> None:
    """Into the groups that hold the nouns."""
    del app
    place_app.command("rename")(place_rename)
    tray_app.command("rename")(tray_rename)
    mix_app.command("rename")(mix_rename)
    lot_app.command("rename")(lot_rename)


def place_rename(
    name: str = typer.Argument(..., help="The place.", autocompletion=completion.places),
    new: str = NEW,
    as_json: bool = JSON_OPTION,
) -> None:
    """Call a place by another name. Its past stays with it, and shows under the new name.

    Example: `traywarden place rename "South frame" "Brick frame"`
    """
    _rename("place", name, new, as_json=as_json)


def tray_rename(
    name: str = typer.Argument(..., help="The tray.", autocompletion=completion.trays),
    new: str = NEW,
    as_json: bool = JSON_OPTION,
) -> None:
    """Call a tray by another name. Its past stays with it, and shows under the new name.

    Example: `traywarden tray rename A1 "Tomato 1"`
    """
    _rename("tray", name, new, as_json=as_json)


def mix_rename(
    name: str = typer.Argument(..., help="The mix.", autocompletion=completion.mixes),
    new: str = NEW,
    as_json: bool = JSON_OPTION,
) -> None:
    """Call a mix by another name. Its past stays with it, and shows under the new name.

    Example: `traywarden mix rename "Seed mix" "Fine mix"`
    """
    _rename("mix", name, new, as_json=as_json)


def lot_rename(
    name: str = typer.Argument(..., help="The lot.", autocompletion=completion.lots),
    new: str = NEW,
    as_json: bool = JSON_OPTION,
) -> None:
    """Call a lot of seed by another name. Its past stays with it, and shows under the new name.

    Example: `traywarden lot rename "Roma 2025" "Own Roma"`
    """
    _rename("lot", name, new, as_json=as_json)


def _rename(noun: str, name: str, new: str, *, as_json: bool) -> None:
    with bench() as b:
        with b.store.write() as tx:
            entry = rename(tx, noun, name, new, b.now_ms)
        says = f"The {noun} “{entry.data['was']}” is called “{entry.data['name']}” from now on."
        answer(b, says, [entry], as_json=as_json)
