"""`traywarden demo`: an invented garden, played through a real host at high speed."""

import signal
import time
from pathlib import Path
from types import FrameType

import typer

from traywarden.cli.context import console
from traywarden.demo.play import Play, Played
from traywarden.demo.screen import chosen_screen
from traywarden.demo.weather import STEP_S

DEFAULT_HOME = "demo-garden"


def register(app: typer.Typer) -> None:
    app.command("demo")(demo)


def demo(
    context: typer.Context,
    home: str = typer.Option(
        "",
        "--home",
        help=f"Folder for the demo garden; ./{DEFAULT_HOME} unless given. Never an own garden's.",
    ),
    days: float = typer.Option(14.0, min=0.5, max=60.0, help="Days of the garden to play; they end now."),
    speed: float = typer.Option(6.0, min=0.1, max=1000.0, help="Hours of the garden in one second."),
    fast: bool = typer.Option(False, "--fast", help="As fast as the host stores; do not wait for --speed."),
    plain: bool = typer.Option(False, "--plain", help="Print lines, also on a terminal."),
) -> None:
    """Play an invented garden through a real host, and see what Traywarden tells of it.

    Eight trays on an open bench, in a cold frame and in dappled shade; three probes that measure every
    quarter of an hour and publish over MQTT. Nothing in it is anybody's garden, and nothing that you have set
    up is touched.

    Example: `traywarden demo --days 14 --speed 6`
    """
    chosen = Path(home or context.find_root().params.get("home") or DEFAULT_HOME).expanduser()
    end_ms = int(time.time()) // STEP_S * STEP_S * 1000
    before = signal.signal(signal.SIGTERM, _end)
    try:
        with chosen_screen(console, plain=plain) as screen:
            played = Play(chosen, days, None if fast else speed, screen, end_ms).run()
    except KeyboardInterrupt:
        console.print(
            f"Ended early. What was sent is stored in {chosen}; play again with: traywarden demo",
            markup=False,
            soft_wrap=True,
        )
        raise
    finally:
        signal.signal(signal.SIGTERM, before)
    _say_what_came(played)


def _end(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _say_what_came(played: Played) -> None:
    console.print(played)
