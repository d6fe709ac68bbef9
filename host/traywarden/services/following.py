"""Follows settings.toml while the host runs: what is changed there for notices holds within seconds."""

import logging
import threading
from collections.abc import Callable

from traywarden.errors import SettingsError, StoreError
from traywarden.settings import Settings, with_at_once

log = logging.getLogger(__name__)
LOOK_S = 1.0
Mark = tuple[int, ...]


class Following:
    """Gives `take` the settings as they are to be, each time they have changed; `say` a sentence where the
    file cannot be used as it is, or is gone: without it no channel would be left. An editor may write it in
    pieces: it is read when it has rested for a look. Trouble that `take` has with the store is waited out.
    """

    def __init__(
        self, settings: Settings, take: Callable[[Settings], None], say: Callable[[str], None]
    ) -> None:
        self._settings, self._take, self._say = settings, take, say
        self._path = settings.home / "settings.toml"
        self._seen = self._mark()
        self._read: Mark | None = None  # it may have changed since the host was given its settings

    def run(self, ending: threading.Event) -> None:
        while not ending.wait(LOOK_S):
            self.look()

    def look(self) -> None:
        mark, before = self._mark(), self._seen
        self._seen = mark
        if mark == self._read or mark != before:
            return
        self._read = mark
        if mark is None:
            self._say(
                f"{self._path} is gone; the host goes on as before. Put it back, or start the host anew."
            )
            return
        try:
            wanted = with_at_once(self._settings, self._settings.again())
            if wanted != self._settings:
                self._take(wanted)
                self._settings = wanted
        except SettingsError as error:
            self._say(f"The settings have changed and cannot be used; the host goes on as before. {error}")
        except StoreError as error:
            log.warning("changed settings wait: %s", error)
            self._read = None

    def _mark(self) -> Mark | None:
        """Other when the file is another, or may be read again."""
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino, found.st_ctime_ns
