"""A garden's command line: real commands on a real store in a folder of its own, at a fixed time."""

import contextlib
import io
import json
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.services.little_garden import NOW_MS as LITTLE_NOW_MS
from tests.services.little_garden import little_garden
from traywarden.cli import context
from traywarden.cli.main import main
from traywarden.store.store import Store

NOW_MS = round(datetime(2026, 6, 10, 14, 0, tzinfo=UTC).timestamp() * 1000)  # 15:00 in Lisbon


@dataclass(frozen=True)
class Answer:
    code: int
    out: str
    err: str


class CommandLine:
    """Runs commands in one home folder."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home = home
        self._capsys = capsys

    def __call__(self, *words: str) -> Answer:
        self._capsys.readouterr()
        code = main(["--home", str(self.home), *words])
        out, err = self._capsys.readouterr()
        return Answer(code, out, err)

    def ok(self, *words: str) -> str:
        answer = self(*words)
        assert answer.code == 0, answer
        assert not answer.err, answer
        return answer.out

    def refused(self, *words: str, code: int = 2) -> str:
        """The one sentence of a refused command; nothing on stdout, no traceback."""
        answer = self(*words)
        assert answer.code == code, answer
        assert not answer.out, answer
        assert "Traceback" not in answer.err
        return answer.err

    def json(self, *words: str) -> Any:
        return json.loads(self.ok(*words, "--json"))

    def store(self) -> Store:
        return Store.open(f"sqlite:///{self.home / 'traywarden.sqlite3'}")


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    """The command line in an empty home folder."""
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS)
    monkeypatch.setattr(context.console, "width", 200)
    return CommandLine(tmp_path / "home", capsys)


MADE_BY = (
    ("garden", "set", "Hill garden", "--time-zone", "Europe/Lisbon"),
    ("place", "add", "South frame", "--kind", "cold frame"),
    ("place", "add", "Bench", "--kind", "open bench"),
    ("mix", "add", "Seed mix", "--parts", "perlite 2, compost 1, coir 1"),
    (
        "tray",
        "add",
        "A1",
        "--mix",
        "Seed mix",
        "--place",
        "South frame",
        "--cells",
        "72",
        "--at",
        "10 days ago",
    ),
)


@pytest.fixture(scope="session")
def _made_garden(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The home folder of the garden below, made once: copying it is quicker than making the tables anew."""
    home = tmp_path_factory.mktemp("garden")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(context, "now_ms", lambda: NOW_MS)
        for words in MADE_BY:
            with contextlib.redirect_stdout(io.StringIO()):
                assert main(["--home", str(home), *words]) == 0
    return home


@pytest.fixture
def garden(run: CommandLine, _made_garden: Path) -> CommandLine:
    """A garden with a frame, a bench, a mix and tray A1, filled and standing in the frame for ten days."""
    shutil.copytree(_made_garden, run.home)
    return run


@pytest.fixture(scope="session")
def _little_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("little")
    little_garden(home).store.close()
    return home


@pytest.fixture
def little(_little_home: Path, run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    """The command line in the little garden, at the moment of its last reading; nothing may be written."""
    monkeypatch.setattr(context, "now_ms", lambda: LITTLE_NOW_MS)
    monkeypatch.setattr(run, "home", _little_home)
    return run
