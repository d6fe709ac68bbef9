"""`traywarden pages`: the pages alone, where no host runs."""

import signal
import threading
from types import FrameType

import typer

from traywarden.cli import context
from traywarden.cli.context import opened_store
from traywarden.cli.tables import say
from traywarden.store import garden as garden_store
from traywarden.web.serving import Serving


def register(app: typer.Typer) -> None:
    app.command("pages")(pages)


def pages(
    port: int | None = typer.Option(
        None, "--port", min=0, max=65_535, help="Port; 0 takes a free one; default web.port."
    ),
) -> None:
    """Serve the pages of a garden whose host does not run here, until Ctrl-C. `run` serves them by itself.

    Example: `traywarden --home demo-garden pages`
    """
    settings = context.settings() if port is None else context.settings(web__port=port)
    ending = threading.Event()

    def end(number: int, frame: FrameType | None) -> None:
        ending.set()

    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)
    with opened_store() as (store, _), store.read() as tx:
        if garden_store.the_garden(tx) is None:
            say(f"There is no garden in {context.home()} yet; the page leads you through making one.")
    with Serving(settings) as serving:
        say(f"Pages for the browser: {serving.address}")
        if serving.advice:
            say(serving.advice)
        say("Ctrl-C ends it.")
        ending.wait()
