"""Serves the pages beside whatever else runs, on a thread of its own."""

import socket
import threading
import time

import uvicorn

from traywarden.errors import TraywardenError, UsageError
from traywarden.settings import Settings
from traywarden.store.store import Store
from traywarden.web.app import made_app
from traywarden.web.changes import Changes
from traywarden.web.face import Face

_START_S = 10.0
LOOPBACK = ("127.0.0.1", "::1", "localhost")


class Serving:
    """The pages of one garden while it is entered; `address` is what a browser opens."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.address = ""

    def __enter__(self) -> "Serving":
        host, port = self._settings["web.host"], self._settings["web.port"]
        if host not in LOOPBACK:
            raise UsageError(
                f"Pages on {host} would let everybody on that network write in your journal, and there is no "
                "password yet to keep them out; leave web.host at 127.0.0.1."
            )
        self._socket = _bound(host, port)
        self._face = Face(Store.open(self._settings.store_url), self._settings)
        self._changes = Changes(self._face.store, self._face.answers)
        config = uvicorn.Config(
            made_app(self._face, self._changes),
            log_level="warning",
            access_log=False,
            timeout_graceful_shutdown=1,
            server_header=False,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, name="serve pages"
        )
        self._changes.start()
        self._thread.start()
        began_s = time.monotonic()
        while not self._server.started:
            if not self._thread.is_alive() or time.monotonic() - began_s > _START_S:
                self.__exit__()
                raise TraywardenError("The pages could not be served; start the host again.")
            time.sleep(0.01)
        shown = "localhost" if host in LOOPBACK else host
        self.address = f"http://{shown}:{self._socket.getsockname()[1]}/"
        return self

    def __exit__(self, *_: object) -> None:
        self._changes.stop()
        self._server.should_exit = True
        self._thread.join()
        self._socket.close()
        self._face.close()


def _bound(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=256)
    except OSError as error:
        raise UsageError(
            f"The pages cannot be served on {host}:{port} ({error.strerror}); is another Traywarden running? "
            "Else choose another web.port, or web.enabled = false."
        ) from None
