"""The mark of a running host: one at a time in a home folder, and where to find its broker."""

import fcntl
import os
from pathlib import Path
from typing import IO

import msgspec

from traywarden.errors import StoreError, UsageError

LOCK_NAME = "host.lock"


class Running(msgspec.Struct, frozen=True):
    """What a host writes of itself into its home; `ended_ms` stays None when it was killed."""

    process: int
    started_ms: int
    broker_host: str
    broker_port: int
    ended_ms: int | None = None


class RunningMark:
    """Holds `<home>/host.lock` while the host runs. The system lets go of it however the host ends."""

    def __init__(self, home: Path) -> None:
        self._path = home / LOCK_NAME
        self._file: IO[bytes] | None = None
        self._running: Running | None = None

    def take(self) -> None:
        """Raises UsageError when another host runs in this home."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            file = self._path.open("a+b")
        except OSError as error:
            raise StoreError(
                f"The home folder {self._path.parent} cannot be written to ({error.strerror}); "
                "check its owner and permissions, or name another with --home."
            ) from error
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
            known = last_running(self._path.parent)
            raise UsageError(
                f"A host already runs for {self._path.parent}"
                f"{f' (process {known.process})' if known else ''}; stop that one first."
            ) from None
        self._file = file

    def write(self, started_ms: int, broker: tuple[str, int]) -> None:
        self._put(Running(os.getpid(), started_ms, *broker))

    def release(self, ended_ms: int) -> None:
        """Note a clean end and let go."""
        if self._running is not None:
            self._put(msgspec.structs.replace(self._running, ended_ms=ended_ms))
        if self._file is not None:
            self._file.close()
            self._file = None

    def _put(self, running: Running) -> None:
        if self._file is not None:
            self._running = running
            self._file.truncate(0)
            self._file.write(msgspec.json.encode(running))
            self._file.flush()


def last_running(home: Path) -> Running | None:
    """What the host of this home last wrote of itself; it may have been killed since."""
    try:
        return msgspec.json.decode((home / LOCK_NAME).read_bytes(), type=Running)
    except (OSError, msgspec.DecodeError):
        return None


def running_host(home: Path) -> Running | None:
    """The host that runs in this home at the moment, if one does."""
    try:
        with (home / LOCK_NAME).open("rb") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
            except OSError:
                return last_running(home)
    except OSError:
        pass
    return None
