"""How the host itself does: room on the disk, the broker in reach, how long storing takes."""

import shutil
from pathlib import Path
from typing import Protocol

from traywarden.services.asking.round import Vitals


class Reached(Protocol):
    """A link to a broker."""

    @property
    def address(self) -> tuple[str, int]: ...
    @property
    def gone_s(self) -> float: ...


class Stores(Protocol):
    """What stores readings."""

    @property
    def takes_s(self) -> float | None: ...


def vitals_of(home: Path, link: Reached | None, storing: Stores | None) -> Vitals:
    """As it is now; what cannot be told is None."""
    host, port = ("", 0) if link is None else link.address
    return Vitals(
        _free_mb(home),
        None if link is None else link.gone_s,
        f"{host}:{port}",
        None if storing is None else storing.takes_s,
    )


def _free_mb(home: Path) -> float | None:
    try:
        return shutil.disk_usage(home).free / 1_000_000
    except OSError:
        return None
