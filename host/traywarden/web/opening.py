"""Pages opened to the network, or to this computer alone again: from the page Settings into settings.toml."""

import os
import socket
from dataclasses import dataclass
from pathlib import Path

from traywarden.errors import UsageError
from traywarden.links.addresses import LOOPBACK, own_address
from traywarden.services.password import kept_hash
from traywarden.settings import change_settings, load
from traywarden.web.face import FROM_NEXT_START, Face
from traywarden.web.writing import Written

ALONE, EVERYONE = "127.0.0.1", "0.0.0.0"
_VARIABLES = {"web.host": "TRAYWARDEN_WEB_HOST", "web.port": "TRAYWARDEN_WEB_PORT"}


@dataclass(frozen=True, slots=True)
class Doors:
    """Who reaches the pages once the host has started anew. `stands` keeps that from being changed here."""

    alone: bool
    host: str
    port: int
    tls: bool
    has_password: bool
    near: str
    stands: str


def doors(home: Path) -> Doors:
    written = load(home)
    host, port = written["web.host"], written["web.port"]
    given = [name for name in _VARIABLES.values() if name in os.environ]
    scheme = "https" if written["web.tls_cert"] else "http"
    return Doors(
        host in LOOPBACK,
        host,
        port,
        bool(written["web.tls_cert"]) or written["web.behind_tls"],
        bool(kept_hash(home)),
        f"{scheme}://{own_address()}:{port}/" if port else "",
        f"{given[0]} says it where Traywarden was started" if given else "",
    )


def open_doors(face: Face, written: Written) -> str:
    """Write address and port. Raises UsageError where they could not be served, or nobody would be asked."""
    home = face.settings.home
    now = load(home)
    if any(name in os.environ for name in _VARIABLES.values()):
        raise UsageError("The address is set where Traywarden was started, so not here.")
    to = written.text("to")
    if to not in ("alone", "network"):
        raise UsageError("Choose who is to reach the pages.")
    if to == "network" and not kept_hash(home):
        raise UsageError(
            "Set a password first: without one everybody on the network could write in your journal."
        )
    host = ALONE if to == "alone" else EVERYONE if now["web.host"] in LOOPBACK else now["web.host"]
    port = written.whole("port")
    port = now["web.port"] if port is None else port
    if port != face.settings["web.port"]:
        _check_free(host, port)
    changes = {"web.host": host, "web.port": port}
    if all(now[key] == value for key, value in changes.items()):
        return "Nothing was changed: all of it is as it was."
    change_settings(home, changes)
    who = "this computer alone" if to == "alone" else "every device on the network, with the password"
    return f"Kept: the pages are for {who}, on port {port}. {FROM_NEXT_START}"


def _check_free(host: str, port: int) -> None:
    """A port that cannot be taken would shut the pages at the next start."""
    if not 1 <= port <= 65_535:
        raise UsageError(f"A port of {port} cannot be; give 1024 to 65535.")
    try:
        socket.create_server((host, port)).close()
    except OSError as error:
        raise UsageError(
            f"Port {port} cannot be taken ({error.strerror}); give another, from 1024 to 65535."
        ) from None
