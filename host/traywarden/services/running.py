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
    """Holds `<home>/host.lock` while the host runs. The system lets go of it however the host ends.

    `store` is the file of a store that lies elsewhere: hosts of two homes must not share it either.
    """

    def __init__(self, home: Path, store: Path | None = None) -> None:
        self._home = home
        self._paths = [home / LOCK_NAME]
        if store is not None and store.absolute().parent != home.absolute():
            self._paths.append(store.with_name(f"{store.name}.{LOCK_NAME}"))
        self._files: list[IO[bytes]] = []
        self._running: Running | None = None

    def take(self) -> None:
        """Raises UsageError when another host runs in this home or on this store."""
        for path in self._paths:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                file = path.open("a+b")
            except OSError as error:
                if self._files:
                    break  # the store's own folder: the store says better what is wrong with it
                raise StoreError(
                    f"The folder {path.parent} cannot be written to ({error.strerror}); "
                    "check its owner and permissions, or name another with --home."
                ) from error
            self._files.append(file)
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                known = last_running(self._home)
                raise UsageError(
                    f"A host already runs for {path.parent}"
                    f"{f' (process {known.process})' if known else ''}; stop that one first."
                ) from None

    def write(self, started_ms: int, broker: tuple[str, int]) -> None:
        self._put(Running(os.getpid(), started_ms, *broker))

    def release(self, ended_ms: int) -> None:
        """Note a clean end and let go."""
        if self._running is not None:
            self._put(msgspec.structs.replace(self._running, ended_ms=ended_ms))
            self._running = None
        for file in self._files:
            file.close()
        self._files.clear()

    def _put(self, running: Running) -> None:
        self._running = running
        file = self._files[0]
        file.truncate(0)
        file.write(msgspec.json.encode(running))
        file.flush()


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
