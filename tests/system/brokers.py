"""A mosquitto of one's own on a free port, with the lines that docs/mosquitto.conf recommends."""

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

RECOMMENDED = Path(__file__).parents[2] / "docs" / "mosquitto.conf"


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port


def program() -> str:
    """Where mosquitto is; skips the test where it is not installed, fails in CI."""
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        sentence = "mosquitto is not installed (expected on PATH or in /usr/sbin)"
        if os.environ.get("CI") == "true":
            pytest.fail(sentence)
        pytest.skip(sentence)
    return found


class Mosquitto:
    """Started on a free loopback port in a folder of its own; may be stopped and started again."""

    host = "127.0.0.1"

    def __init__(self, folder: Path, more: str = "allow_anonymous true", recommended: bool = True) -> None:
        self.folder, self.port = folder, free_port()
        self._program = program()
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        lines = [RECOMMENDED.read_text(encoding="utf-8") if recommended else "persistence true"]
        lines += [f"persistence_location {folder}/", f"listener {self.port} {self.host}", more]
        if os.geteuid() == 0:
            lines.append("user root")  # else it changes to an account that may not write here
        (folder / "mosquitto.conf").write_text("\n".join(lines) + "\n", encoding="utf-8")

    def start(self) -> None:
        log = (self.folder / "mosquitto.log").open("ab")
        with log:
            self._process = subprocess.Popen(
                [self._program, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )
        until_s = time.monotonic() + 10
        while time.monotonic() < until_s:
            with socket.socket() as asking:
                if asking.connect_ex((self.host, self.port)) == 0:
                    return
            time.sleep(0.02)
        pytest.fail(f"mosquitto did not start: {(self.folder / 'mosquitto.log').read_text()[-500:]}")

    @property
    def running(self) -> bool:
        return self._process is not None

    def stop(self) -> None:
        """End it cleanly: it writes down sessions and what waits for them."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(20)
            self._process = None


@contextmanager
def mosquitto(
    folder: Path, more: str = "allow_anonymous true", *, recommended: bool = True
) -> Iterator[Mosquitto]:
    broker = Mosquitto(folder, more, recommended)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()
