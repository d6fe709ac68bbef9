"""Serves the pages beside whatever else runs, on a thread of its own."""

import logging
import socket
import ssl
import sys
import threading
import time

import uvicorn

from traywarden.errors import TraywardenError, UsageError
from traywarden.services.following import Following
from traywarden.services.password import kept_hash
from traywarden.settings import Settings
from traywarden.store.store import Store
from traywarden.web.app import made_app
from traywarden.web.changes import Changes
from traywarden.web.face import Face

log = logging.getLogger(__name__)
_START_S = 10.0
_TURN_S = 0.001
"""How long a thread that computes keeps others from running. A page reads its rows one by one and would wait
Python's usual 5 ms at each of them while an answer is worked out behind."""
LOOPBACK = ("127.0.0.1", "::1", "localhost")
EVERYWHERE = ("0.0.0.0", "::", "")
IN_THE_CLEAR = (
    "Whoever listens on that network can read the password as it goes by. For TLS set web.tls_cert and "
    "web.tls_key to the files of a certificate, or leave web.host at 127.0.0.1 and let a web server with a "
    "certificate pass requests on to it (the page on pages in the documentation says how)."
)


class Serving:
    """The pages of one garden while it is entered: the `address` a browser opens, and `advice` to be told."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.address = self.advice = ""

    def __enter__(self) -> "Serving":
        host, port = self._settings["web.host"], self._settings["web.port"]
        loopback = host in LOOPBACK
        if not loopback and not kept_hash(self._settings.home):
            raise UsageError(
                f"Pages on {host} would let everybody on that network write in your journal; set a password "
                "first with: traywarden password set"
            )
        cert, key = _tls_files(self._settings)
        self._socket = _bound(host, port)
        self._face = Face(Store.open(self._settings.store_url), self._settings)
        self._changes = Changes(self._face.store, self._face.answers)
        following = Following(self._settings, self._face.take, log.info)
        self._ending = threading.Event()
        self._following = threading.Thread(
            target=following.run, args=(self._ending,), name="pages follow the settings", daemon=True
        )
        secure = bool(cert) or self._settings["web.behind_tls"]
        config = uvicorn.Config(
            made_app(self._face, self._changes, loopback=loopback, secure=secure),
            ssl_certfile=cert,
            ssl_keyfile=key,
            log_level="warning",
            access_log=False,
            timeout_graceful_shutdown=1,
            server_header=False,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, name="serve pages"
        )
        sys.setswitchinterval(_TURN_S)
        self._changes.start()
        self._following.start()
        self._thread.start()
        began_s = time.monotonic()
        while not self._server.started:
            if not self._thread.is_alive() or time.monotonic() - began_s > _START_S:
                self.__exit__()
                raise TraywardenError("The pages could not be served; start the host again.")
            time.sleep(0.01)
        shown = "localhost" if loopback else socket.gethostname() if host in EVERYWHERE else host
        scheme = "https" if cert else "http"
        self.address = (
            f"{scheme}://{f'[{shown}]' if ':' in shown else shown}:{self._socket.getsockname()[1]}/"
        )
        self.advice = "" if loopback or cert else IN_THE_CLEAR
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._following.join()
        self._changes.stop()
        self._server.should_exit = True
        self._thread.join()
        self._socket.close()
        self._face.close()


def _tls_files(settings: Settings) -> tuple[str | None, str | None]:
    """Certificate and key, where TLS is wanted. Raises UsageError where they cannot be used."""
    cert, key = settings["web.tls_cert"], settings["web.tls_key"]
    if not cert and not key:
        return None, None
    if not cert or not key:
        raise UsageError("TLS needs both web.tls_cert and web.tls_key; set the other one too, or neither.")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key, password="")
    except (OSError, ValueError) as error:
        why = (isinstance(error, OSError) and error.strerror) or str(error)
        raise UsageError(
            f"TLS cannot be had from web.tls_cert {cert} and web.tls_key {key} ({why}); give a certificate "
            "and its key without a passphrase, as PEM files that this user may read."
        ) from None
    return cert, key


def _bound(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=256)
    except OSError as error:
        raise UsageError(
            f"The pages cannot be served on {host}:{port} ({error.strerror}); is another Traywarden running? "
            "Else choose another web.port, or web.enabled = false."
        ) from None
