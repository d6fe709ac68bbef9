"""A probe of the bench on a cable: the genuine interpreter behind a real pseudo-terminal.

The interpreter's own `sys.stdin.buffer` and `sys.stdout.buffer` carry the line; only whether something can be
read of it (`select`) is told by the bench.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.interpreter.fortnight import HOSTS, MINUTE_MS
from tests.interpreter.node import Node, packed, unpacked
from tests.interpreter.probes import BENCH, settings
from tests.interpreter.terminal import Terminal

BOARD = "f412fc000001"
READ_S = 5
RISES_UV_S = 20_000
NO_WIFI = {"wifi": {"ssid": "", "password": ""}, "ntp": {"host": ""}}


class Wired:
    """A probe whose only way and power is its cable: it stays awake from plugging in to pulling out."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.node = Node()
        given = {"/settings.json": settings("probe-1", 1, read_s=READ_S, send_s=READ_S, **NO_WIFI)}
        self.node.order("board", board=BOARD, flash=packed(given))
        self.began_ms = 0
        self.lived: dict[str, Any] = {}

    @contextmanager
    def plugged_in(self, pace: float = 1, minutes: float = 10) -> Iterator[None]:
        """With power, for at most so long of the probe's own time, which is ours at a pace of 1.

        The cell's voltage tells how long it has been awake: when each reading was truly made.
        """
        with Terminal(self.path) as terminal:
            self.began_ms = time.time_ns() // 1_000_000
            script = {
                "now_ms": self.began_ms,
                "hosts": HOSTS,
                "bench": BENCH | {"adc_rises_uv_s": {"3": RISES_UV_S}},
                "live": pace == 1,
                "serial": terminal.at,
                "pace": pace,
                "cut": {"ms": minutes * MINUTE_MS},
            }
            life = threading.Thread(target=lambda: self.lived.update(self.node.wake(BOARD, script)))
            life.start()
            yield
            if pace < 1:
                life.join()
        life.join()
        assert self.lived["ended"] in ("power cut", "reset"), self.lived

    def flash(self) -> dict[str, bytes]:
        return unpacked(self.node.order("board", board=BOARD)["flash"])
