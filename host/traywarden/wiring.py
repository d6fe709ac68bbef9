"""Puts the host together from the settings of a home folder, and lives its life for a command."""

import signal
import threading
from collections.abc import Callable
from types import FrameType

from traywarden.errors import NoGardenError
from traywarden.services.host import Host
from traywarden.services.ingest import Committed
from traywarden.services.week_by_schedule import WeekFile
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

Say = Callable[[str], None]
LOOK_S = 0.5
"""So the host runs within a second of its garden's being named."""


def host(
    settings: Settings,
    *,
    say: Say = print,
    on_commit: Callable[[Committed], None] | None = None,
    week_file: WeekFile | None = None,
    played: bool = False,
) -> Host:
    """A host that has not been started."""
    return Host(settings, say=say, on_commit=on_commit, week_file=week_file, played=played)


def run_until_told(
    settings: Settings,
    *,
    say: Say,
    started: Callable[[Host], None],
    no_garden: Callable[[], None] | None = None,
    week_file: WeekFile | None = None,
) -> None:
    """Start a host, call `started`, and keep it until SIGTERM, SIGINT or a failure, which is raised.

    In a home without a garden `no_garden` is called, and the host starts when one has been made there;
    without `no_garden` that raises NoGardenError.
    """
    ending, hosts = threading.Event(), list[Host]()

    def end(number: int, frame: FrameType | None) -> None:
        ending.set()
        for each in hosts:
            each.request_stop()

    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)

    def live() -> None:
        made = host(settings, say=say, week_file=week_file)
        hosts.append(made)  # before looking: whoever tells us to end meanwhile is heard either way
        if ending.is_set():
            return
        with made:
            started(made)
            made.wait()

    try:
        live()
    except NoGardenError:
        if no_garden is None:
            raise
        no_garden()
        if _garden_made(settings, ending):
            live()


def _garden_made(settings: Settings, ending: threading.Event) -> bool:
    """Wait until the home holds a garden; False where we are told to end before."""
    with Store.open(settings.store_url) as store:
        while not ending.is_set():
            with store.read() as tx:
                if garden_store.the_garden(tx) is not None:
                    return True
            ending.wait(LOOK_S)
    return False
