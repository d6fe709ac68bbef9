"""Homes with a garden in them, and the real host as a process that can be killed."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType

import pytest

from traywarden.settings import Settings, load
from traywarden.store import garden as garden_store
from traywarden.store.store import Store

START_TIMEOUT_S = 20.0
_MAIN = "import sys; from traywarden.cli.main import main; sys.exit(main())"  # what the command's script does


def made_home(folder: Path, **settings: object) -> Settings:
    """A home with a garden called Demo and these settings (`broker__port=0`), written to its file.

    Notices wait for no others nearby.
    """
    loaded = bare_home(folder, **settings)
    with Store.open(loaded.store_url) as store, store.write() as tx:
        if garden_store.the_garden(tx) is None:
            garden_store.set_garden(tx, "Demo", "Europe/Lisbon", now_ms=0)
    return loaded


def bare_home(folder: Path, **settings: object) -> Settings:
    """The same without a garden."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = {"web.port": 0, "notices.gather_s": 0.0} | {
        key.replace("__", "."): value for key, value in settings.items()
    }
    lines = [f"{key} = {_toml(value)}" for key, value in chosen.items()]
    (folder / "settings.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load(folder, environ={})


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


_NURSERY = """
import importlib, json, os, sys, traceback
for name in sys.argv[1:]:
    importlib.import_module(name)
def live(asked):
    log = os.open(asked["log"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    for number, fd in enumerate((os.open(os.devnull, os.O_RDONLY), log, log)):
        os.dup2(fd, number)
    os.environ.update(asked["environ"])
    sys.argv[:] = ["-c", "--home", asked["home"], "run"]
    try:
        exec(asked["program"], {})
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    sys.stdout.flush()
    os._exit(0)
children = set()
def answered(asked):
    if "program" in asked:
        pid = os.fork()
        if pid == 0:
            live(asked)
        children.add(pid)
        return pid
    pid, status = os.waitpid(asked["ended"], os.WNOHANG)
    if pid == 0:
        return None
    children.discard(pid)
    return os.waitstatus_to_exitcode(status)
print("null", flush=True)
for line in sys.stdin:
    print(json.dumps(answered(json.loads(line))), flush=True)
for pid in children:
    os.kill(pid, 9)
"""


class Nursery:
    """Has the host's modules loaded, and forks a process of its own for each host it is asked for.

    For tests that start a host very often: each is up in a fraction of the time, and dies as any other.
    """

    def __init__(self, *more: str) -> None:
        modules = ("traywarden.wiring", "amqtt.broker", "asyncio", *more)
        environ = _environ() | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # forks want no threads
        self._process = subprocess.Popen(
            [sys.executable, "-W", "error", "-W", "ignore:::apprise", "-c", _NURSERY, *modules],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environ,
        )
        self._answer()

    def ask(self, **asked: object) -> int | None:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(asked).encode() + b"\n")
        self._process.stdin.flush()
        return self._answer()

    def _answer(self) -> int | None:
        assert self._process.stdout is not None
        found: int | None = json.loads(self._process.stdout.readline())
        return found

    def __enter__(self) -> "Nursery":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.communicate(timeout=20)


class _Forked:
    """A nursery's child, used like a Popen."""

    def __init__(self, nursery: Nursery, pid: int) -> None:
        self._nursery, self.pid = nursery, pid
        self._code: int | None = None

    def poll(self) -> int | None:
        if self._code is None:
            self._code = self._nursery.ask(ended=self.pid)
        return self._code

    def kill(self) -> None:
        self._signal(signal.SIGKILL)

    def terminate(self) -> None:
        self._signal(signal.SIGTERM)

    def _signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def wait(self, timeout_s: float) -> int:
        until_s = time.monotonic() + timeout_s
        while (code := self.poll()) is None:
            if time.monotonic() > until_s:
                raise TimeoutError(f"The host has not ended within {timeout_s:g} s.")
            time.sleep(0.005)
        return code


class HostProcess:
    """`traywarden run` in a process of its own; `lean` leaves out loading the other commands.

    `environ` is added to its environment; from a `nursery` it is forked, which is lean and quick. `before` is
    run in it first, to make a wait shorter than any garden would have it.
    """

    def __init__(
        self, home: Path, *, lean: bool = False, nursery: Nursery | None = None, before: str = ""
    ) -> None:
        self.home = home
        self.environ: dict[str, str] = {}
        self._nursery = nursery
        self._program = before + (_LEAN if lean or nursery else _MAIN)
        self._process: subprocess.Popen[bytes] | _Forked | None = None

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
        if self._nursery is not None:
            (self.home / "host.log").write_bytes(b"")
            pid = self._nursery.ask(
                program=self._program,
                home=str(self.home),
                log=str(self.home / "host.log"),
                environ=self.environ,
            )
            assert pid is not None
            self._process = _Forked(self._nursery, pid)
            return
        with (self.home / "host.log").open("wb") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-W", "error", "-c", self._program, "--home", str(self.home), "run"],
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                env=_environ() | self.environ,
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

    def code(self) -> int | None:
        """The exit code where it has ended (-9: killed); None while it lives."""
        assert self._process is not None
        return self._process.poll()

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
