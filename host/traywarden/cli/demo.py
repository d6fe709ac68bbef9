"""`traywarden demo`: an invented garden, played through a real host at high speed."""

import os
import shlex
import shutil
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import FrameType

import typer

from traywarden.cli.compare import compare
from traywarden.cli.context import console, remember
from traywarden.cli.tables import say
from traywarden.cli.today import today
from traywarden.demo.play import Play, Played
from traywarden.demo.screen import chosen_screen
from traywarden.demo.weather import STEP_S
from traywarden.errors import ShortOfDataError, TraywardenError

DEFAULT_HOME = "demo-garden"

LOOK_AROUND = (
    ("today", "what needs you, and why"),
    ("outlook", "when each tray will be dry, and how cold the night gets"),
    ('emergence "Pepper 1"', "whether its seed is late, and why"),
    ('waterings "Lettuce 1"', "when it was watered, and how long ago"),
    ('mix compare "House mix" "Wet-cold mix"', "which mix dries faster"),
    ('degree-days "Tomato 2"', "the warmth it gathered"),
    ('compare "Dappled shade" "Open bench" --soil', "any place against another"),
    ("notices --all", "what was sent, and when"),
    ("journal list", "what the gardener wrote down"),
)
YOUR_OWN = (
    ('garden set "My garden" --time-zone Europe/Lisbon', "its name and time zone"),
    ('place add "Open bench" --kind "open bench"', "where trays stand"),
    ('mix add "Seed mix" --parts "perlite 2, compost 1, coir 1"', "what they are filled with"),
    ('tray add A1 --mix "Seed mix" --place "Open bench" --cells 72', "a tray"),
    ("sowed A1 --crop tomato", "what is in it"),
    ("run", "the host; then switch a probe on"),
    ("probe list", "who has reported"),
    ("probe place NAME/1 --tray A1", "which head is in which tray"),
)


def register(app: typer.Typer) -> None:
    app.command("demo")(demo)


def demo(
    context: typer.Context,
    home: str = typer.Option(
        "", "--home", help=f"Folder for the demo garden; ./{DEFAULT_HOME} unless given."
    ),
    days: float = typer.Option(14.0, min=0.5, max=60.0, help="Days of the garden to play; they end now."),
    speed: float = typer.Option(6.2, min=0.1, max=1000.0, help="Hours of the garden in one second."),
    fast: bool = typer.Option(
        False, "--fast", help="As fast as the host stores and judges; --speed does not count."
    ),
    plain: bool = typer.Option(False, "--plain", help="Print lines, also on a terminal."),
    stay: bool | None = typer.Option(
        None,
        "--stay/--end",
        help="Whether its pages are served until Ctrl-C once it has been played; on a terminal they are.",
    ),
) -> None:
    """Play an invented garden through a real host, and see what Traywarden tells of it.

    Eight trays on an open bench, in a cold frame and in dappled shade; three probes that measure every
    quarter of an hour and publish over MQTT. An own garden is not touched: the demo keeps to its folder, and
    keeps an earlier demo aside in it.

    Example: `traywarden demo --days 14 --speed 6`
    """
    root = context.find_root().params
    chosen = Path(home or root.get("home") or DEFAULT_HOME).expanduser()
    end_ms = int(time.time()) // STEP_S * STEP_S * 1000
    with _interruptible(), _own_garden_left_out(), ExitStack() as beside:
        try:
            with chosen_screen(console, plain=plain or bool(os.environ.get("CI"))) as screen:
                played = Play(chosen, days, None if fast else speed, screen, end_ms, beside).run()
        except KeyboardInterrupt:
            say(f"Ended early; what was sent until then is stored in {chosen}.")
            raise
        _say_what_came(played)
        remember(str(chosen), debug=bool(root.get("debug")))
        _ask()
        _say_what_now(chosen)
        if played.unreceipted:
            raise TraywardenError(
                f"{played.unreceipted} measurements were sent and not receipted by the host within a minute; "
                "play it again with a lower --speed."
            )
        if console.is_terminal if stay is None else stay:
            _serve_on(played.address)


@contextmanager
def _interruptible() -> Iterator[None]:
    """SIGTERM ends a play as Ctrl-C does: probes and host are closed on the way out."""

    def end(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _own_garden_left_out() -> Iterator[None]:
    """What the environment sets is meant for an own garden: a store named there must not take the demo in."""
    found = {name: value for name, value in os.environ.items() if name.startswith("TRAYWARDEN_")}
    for name in found:
        del os.environ[name]
    try:
        yield
    finally:
        os.environ.update(found)


def _serve_on(address: str) -> None:
    say(f"\nThe demo garden in a browser: {address}\nCtrl-C ends it.")
    with suppress(KeyboardInterrupt):
        threading.Event().wait()


def _say_what_came(played: Played) -> None:
    first = "" if played.first_notice_s is None else f", the first notice after {played.first_notice_s:.0f} s"
    receipted = "all receipted" if not played.unreceipted else f"{played.unreceipted} not receipted"
    say(
        f"\n{played.sent:,} readings sent over MQTT, {played.stored:,} stored, {receipted}; "
        f"played in {played.took_s:.0f} s{first}."
    )


def _ask() -> None:
    """The questions a grower would ask now, by the same commands."""
    _heading("Did the frame earn its place?", 'compare "Cold frame" "Open bench"')
    try:
        compare("Cold frame", "Open bench", "", "", "", None, None, False)
    except ShortOfDataError as error:  # a play of hours has no days to compare
        say(str(error))
    _heading("What needs me now?", "today")
    today(False)


def _heading(words: str, command: str) -> None:
    console.rule(f"[bold]{words}[/]  [dim]traywarden {command}[/]", align="left")


def _say_what_now(home: Path) -> None:
    program = _program()
    _heading("What now?", "--help")
    say("Look around the demo garden:")
    for command, why in LOOK_AROUND:
        say(f"  {program} --home {shlex.quote(str(home))} {command}    # {why}")
    say("The same in a browser:")
    say(f"  {program} --home {shlex.quote(str(home))} pages    # until Ctrl-C")
    say("Set up your own:")
    for command, why in YOUR_OWN:
        say(f"  {program} {command}    # {why}")


def _program() -> str:
    """How this program was called, so that the commands can be copied."""
    called = Path(sys.argv[0])
    if called.name != "traywarden" or shutil.which("traywarden") == str(called.absolute()):
        return "traywarden"
    here = Path.cwd()
    return str(called.absolute().relative_to(here) if called.absolute().is_relative_to(here) else called)
