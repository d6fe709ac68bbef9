"""The USB line of a board on the bench: a real pseudo-terminal that the host opens as a port.

The genuine interpreter's own standard input and output are at its other end: the Node process carries their
bytes over a TCP connection (`script["serial"]`), and a thread here carries them on to the terminal.
"""

import os
import select
import socket
import threading
import tty
from pathlib import Path
from typing import Any


class Terminal:
    """A port that is there while it is plugged in; `at` puts a wake's script on its other end."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._server = socket.create_server(("127.0.0.1", 0))
        self.at: tuple[str, int] = self._server.getsockname()
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        self._ending, self._woken = os.pipe()
        path.symlink_to(os.ttyname(self._far))
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def _carry(self) -> None:
        board: socket.socket | None = None
        while True:
            wanted: list[Any] = [self._near, self._ending, self._server if board is None else board]
            ready, _, _ = select.select(wanted, [], [])
            if self._ending in ready:
                break
            if self._server in ready:
                board = self._server.accept()[0]
            if board is not None and board in ready:
                try:
                    came = board.recv(4096)
                except ConnectionError:
                    came = b""  # it lost its power
                if came:
                    os.write(self._near, came)
                else:
                    board.close()
                    board = None
            if self._near in ready:
                typed = os.read(self._near, 4096)
                if board is not None:
                    board.sendall(typed)
        if board is not None:
            board.close()

    def close(self) -> None:
        """Pull it out."""
        os.write(self._woken, b"x")
        self._thread.join()
        self.path.unlink()
        self._server.close()
        for each in (self._near, self._far, self._ending, self._woken):
            os.close(each)

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
