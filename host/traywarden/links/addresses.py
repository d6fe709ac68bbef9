"""Where a browser finds the pages: this computer's address on its network, told without sending anything."""

import socket

from traywarden.settings import Settings

LOOPBACK = ("127.0.0.1", "::1", "localhost")
EVERYWHERE = ("0.0.0.0", "::", "")


def own_address() -> str:
    """This computer's address on its network, else its name."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737): nothing is sent
            found = str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()
    return socket.gethostname() if found.startswith(("127.", "0.")) else found


def pages_address(settings: Settings) -> str:
    """The pages' address by these settings; empty where they are not served, or on a port not yet known."""
    host, port = settings["web.host"], settings["web.port"]
    if not settings["web.enabled"] or not port:
        return ""
    shown = "localhost" if host in LOOPBACK else own_address() if host in EVERYWHERE else host
    scheme = "https" if settings["web.tls_cert"] else "http"
    return f"{scheme}://{f'[{shown}]' if ':' in shown else shown}:{port}/"
