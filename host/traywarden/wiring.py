"""Puts the host together from the settings of a home folder, and lives its life for a command."""

import signal
import threading
from collections.abc import Callable
from types import FrameType

from traywarden.services.host import Host
from traywarden.services.ingest import Committed
from traywarden.settings import Settings

Say = Callable[[str], None]


def host(
    settings: Settings, *, say: Say = print, on_commit: Callable[[Committed], None] | None = None
) -> Host:
    """A host that has not been started."""
    return Host(settings, say=say, on_commit=on_commit)


def run_until_told(settings: Settings, *, say: Say, started: Callable[[Host], None]) -> None:
    """Start a host, call `started`, and keep it until SIGTERM, SIGINT or a failure, which is raised."""
    made = host(settings, say=say)

    def end(number: int, frame: FrameType | None) -> None:
        made.request_stop()

    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)
    with made:
        started(made)
        made.wait()
