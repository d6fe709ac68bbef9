"""`traywarden pages`: the pages alone, where no host runs."""

import signal
import threading
from types import FrameType

import typer

from traywarden.cli import context
from traywarden.cli.context import bench
from traywarden.cli.tables import say
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
    with bench():
        pass  # says so in one sentence where there is no garden
    settings = context.settings() if port is None else context.settings(web__port=port)
    ending = threading.Event()

    def end(number: int, frame: FrameType | None) -> None:
        ending.set()

    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)
    with Serving(settings) as serving:
        say(f"Pages for the browser: {serving.address}")
        if serving.advice:
            say(serving.advice)
        say("Ctrl-C ends it.")
        ending.wait()
