"""Follows settings.toml while the host runs: what is changed there for notices holds within seconds."""

import threading
from collections.abc import Callable

from traywarden.errors import SettingsError
from traywarden.settings import Settings, with_at_once

LOOK_S = 1.0


class Following:
    """Gives `take` the settings as they are to be, each time they have changed; `say` a sentence where the
    file cannot be used as it is. An editor may write it in pieces: it is read when it has rested for a look.
    """

    def __init__(
        self, settings: Settings, take: Callable[[Settings], None], say: Callable[[str], None]
    ) -> None:
        self._settings, self._take, self._say = settings, take, say
        self._path = settings.home / "settings.toml"
        self._seen = self._mark()
        self._read: tuple[int, int] | None = None  # it may have changed since the host was given its settings

    def run(self, ending: threading.Event) -> None:
        while not ending.wait(LOOK_S):
            self.look()

    def look(self) -> None:
        mark, before = self._mark(), self._seen
        self._seen = mark
        if mark == self._read or mark != before:
            return
        self._read = mark
        try:
            wanted = with_at_once(self._settings, self._settings.again())
        except SettingsError as error:
            self._say(f"The settings have changed and cannot be used; the host goes on as before. {error}")
            return
        if wanted != self._settings:
            self._settings = wanted
            self._take(wanted)

    def _mark(self) -> tuple[int, int] | None:
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size
