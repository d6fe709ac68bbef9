"""`traywarden run`: the host, until it is told to end."""

from contextlib import ExitStack

import typer

from traywarden import wiring
from traywarden.cli import context
from traywarden.services.host import Host
from traywarden.web.serving import Serving
from traywarden.web.week import week_file


def register(app: typer.Typer) -> None:
    app.command("run")(run)


def run() -> None:
    """Run the host: take in readings, watch the trays, send notices, serve the pages.

    It runs until Ctrl-C or SIGTERM, and stores what is queued before it ends. In a home folder without a
    garden it serves the page that makes one, and starts when that is done. As a service: see the page on
    running in the documentation.

    Example: `traywarden --home /var/lib/traywarden run`
    """
    settings = context.settings()

    def say(sentence: str) -> None:
        context.console.print(sentence, markup=False, soft_wrap=True)

    def started(host: Host) -> None:
        address, port = host.broker_address
        kind = "built-in broker listens" if settings["broker.builtin"] else "host is connected to the broker"
        say(f"Garden “{host.garden.name}”: the {kind} on {address}:{port}.")
        say(f"Probes publish to traywarden/v1/{host.garden.slug}/<probe>/readings.")
        say(f"Readings are stored in {host.store.where}.")
        if settings["web.enabled"]:
            serve()
        say("See who has reported with “traywarden probe list”, what needs you with “traywarden today”.")
        say("Ctrl-C ends it.")

    def serve() -> None:
        if not served:
            served.append(beside.enter_context(Serving(settings)))
        say(f"Pages for the browser: {served[0].address}")
        if served[0].advice:
            say(served[0].advice)

    def no_garden() -> None:
        say(f"There is no garden in {settings.home} yet. Open this page to make one; the host starts then.")
        serve()
        say("Ctrl-C ends it.")

    served: list[Serving] = []
    with ExitStack() as beside:
        first = no_garden if settings["web.enabled"] else None
        wiring.run_until_told(settings, say=say, started=started, no_garden=first, week_file=week_file)
    say("Ended; everything that arrived is stored.")
