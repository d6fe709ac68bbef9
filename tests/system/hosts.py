"""Homes with a garden in them, and the real host as a process that can be killed."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from traywarden.settings import Settings, load
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

START_TIMEOUT_S = 20.0
_MAIN = "import sys; from traywarden.cli.main import main; sys.exit(main())"  # what the command's script does


def made_home(folder: Path, **settings: object) -> Settings:
    """A home with a garden called Demo and these settings (`broker__port=0`), written to its file."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = {"web.port": 0} | {key.replace("__", "."): value for key, value in settings.items()}
    lines = [f"{key} = {_toml(value)}" for key, value in chosen.items()]
    (folder / "settings.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    loaded = load(folder, environ={})
    with Store.open(loaded.store_url) as store, store.write() as tx:
        if garden_store.the_garden(tx) is None:
            garden_store.set_garden(tx, "Demo", "Europe/Lisbon", now_ms=0)
    return loaded


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value) if isinstance(value, int | float) else f'"{value}"'


_LEAN = """
import sys
from pathlib import Path
from traywarden import settings, wiring
def started(host):
    print("Ctrl-C ends it.", flush=True)
wiring.run_until_told(settings.load(Path(sys.argv[2]), environ={}), say=print, started=started)
"""


def _environ() -> dict[str, str]:
    """Ours, without settings that were meant for somebody else."""
    ours = {key: value for key, value in os.environ.items() if not key.startswith("TRAYWARDEN_")}
    return ours | {"PYTHONUNBUFFERED": "1"}


class HostProcess:
    """`traywarden run` in a process of its own; `lean` leaves out loading the other commands."""

    def __init__(self, home: Path, *, lean: bool = False) -> None:
        self.home = home
        self._program = _LEAN if lean else _MAIN
        self._process: subprocess.Popen[bytes] | None = None

    @staticmethod
    def refused(home: Path, **environ: str) -> subprocess.CompletedProcess[str]:
        """Run it where it is expected to refuse; returns when it has."""
        return subprocess.run(
            [sys.executable, "-W", "error", "-c", _MAIN, "--home", str(home), "run"],
            capture_output=True,
            text=True,
            timeout=60,
            env=_environ() | environ,
            check=False,
        )

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    @property
    def said(self) -> str:
        return (self.home / "host.log").read_text(encoding="utf-8")

    def start(self) -> None:
        """Start it; returns once it says where it listens."""
        self.spawn()
        self.wait_until_started()

    def spawn(self) -> None:
        with (self.home / "host.log").open("wb") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-W", "error", "-c", self._program, "--home", str(self.home), "run"],
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                env=_environ(),
            )

    def wait_until_started(self) -> None:
        assert self._process is not None
        until_s = time.monotonic() + START_TIMEOUT_S
        while time.monotonic() < until_s:
            if "Ctrl-C ends it" in self.said:
                return
            if self._process.poll() is not None:
                break
            time.sleep(0.01)
        pytest.fail(f"The host did not start: {self.said[-1500:]}")

    def kill(self) -> None:
        """kill -9."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(20)
        self._process = None

    def end(self, timeout_s: float = 30.0) -> int:
        """SIGTERM; returns the exit code."""
        assert self._process is not None
        self._process.terminate()
        code = self._process.wait(timeout_s)
        self._process = None
        return code

    def wait(self, timeout_s: float = 30.0) -> int:
        assert self._process is not None
        code = self._process.wait(timeout_s)
        self._process = None
        return code

    def __enter__(self) -> "HostProcess":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(20)
