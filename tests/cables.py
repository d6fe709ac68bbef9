"""Probes that are plugged in and pulled out: see tests/probe_on_cable.py."""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROGRAM = Path(__file__).with_name("probe_on_cable.py")
SETTINGS = {
    "name": "bench-1",
    "garden": "demo",
    "heads": [{"number": 1, "one_wire": None, "moisture": 0}],
    "wifi": {"ssid": "home", "password": "nightjar"},
}


class Cable:
    """A probe with flash of its own, and the path where its port appears."""

    def __init__(self, folder: Path, **settings: Any) -> None:
        self.path, self.flash = folder / "ttyACM0", folder / "flash"
        self.flash.mkdir(parents=True)
        (self.flash / "settings.json").write_text(json.dumps(SETTINGS | settings))
        self._process: subprocess.Popen[bytes] | None = None

    def plug_in(self, per_s: float = 0.0) -> None:
        """Start the probe; `per_s` readings a second, none: it only answers."""
        self._process = subprocess.Popen(
            [sys.executable, str(PROGRAM), str(self.path), str(self.flash), str(per_s)]
        )
        until(self.path.is_symlink)

    def pull_out(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(20)
            self._process = None
            self.path.unlink()

    @property
    def measured(self) -> int:
        """The last sequence it has given."""
        return int(self._unsent()[0])

    @property
    def held(self) -> list[int]:
        """The sequences that have no receipt yet."""
        return list(self._unsent()[1])

    def heard(self, kind: str) -> Any:
        """The last receipt or settings it was given; None before any."""
        path = self.flash / f"last-{kind}.json"
        try:
            return json.loads(path.read_text())
        except (OSError, ValueError):
            return None

    def _unsent(self) -> Any:
        path = self.flash / "unsent.json"
        return json.loads(path.read_text()) if path.exists() else [0, []]

    def __enter__(self) -> "Cable":
        return self

    def __exit__(self, *_: object) -> None:
        self.pull_out()


def until(condition: Callable[[], object], wait_s: float = 30.0) -> None:
    """Wait for something that must come about."""
    end_s = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < end_s, "it did not come about in time"
        time.sleep(0.02)
