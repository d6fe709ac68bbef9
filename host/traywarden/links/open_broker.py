"""Whether the built-in broker would be open to everyone: refused at the start and in changed settings."""

import ipaddress

from traywarden.errors import SettingsError
from traywarden.settings import Settings


def is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def check_closed(settings: Settings) -> None:
    """Raises SettingsError where others reach the broker and no password keeps them out."""
    host, user = settings["broker.host"], settings["broker.user"]
    password = settings["broker.password"].reveal()
    if not is_loopback(host) and not (user and password):
        raise SettingsError(
            f"broker.host: the built-in broker would be open to everyone at {host!r}; "
            "set broker.user and broker.password too, or let it listen on 127.0.0.1."
        )
    if bool(user) != bool(password):
        raise SettingsError("broker.user and broker.password belong together; set both or neither.")
