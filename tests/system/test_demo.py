"""`traywarden demo` as a person runs it: a real host, readings over MQTT, notices, nothing left running."""

import os
import re
import shlex
import signal
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from traywarden.cli.demo import LOOK_AROUND
from traywarden.cli.main import main
from traywarden.demo.plan import PLACES
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Hold, NoticeState
from traywarden.services.running import last_running, running_host
from traywarden.settings import load
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store import quarantine
from traywarden.store import readings as reading_store
from traywarden.store.store import Store

pytestmark = pytest.mark.system

_MAIN = "import sys; from traywarden.cli.main import main; sys.exit(main())"
_DAYS = 4
_ROWS = (_DAYS * 96 + 1) * 11  # quarter hours; three air sensors and eight heads in trays


def command(*words: str, cwd: Path) -> "subprocess.Popen[str]":
    environ = {key: value for key, value in os.environ.items() if not key.startswith("TRAYWARDEN_")}
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", _MAIN, *words],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        text=True,
        # A store named for an own garden must not take the demo in.
        env=environ | {"PYTHONUNBUFFERED": "1", "TRAYWARDEN_STORE_URL": "sqlite:////nowhere/own.sqlite3"},
        start_new_session=True,
    )


def group_is_gone(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder in which a demo of four days has been played, and what it printed."""
    cwd = tmp_path_factory.mktemp("demo")
    process = command("demo", "--days", str(_DAYS), "--speed", "12", "--plain", cwd=cwd)
    said, _ = process.communicate(timeout=120)
    assert process.returncode == 0, said
    assert group_is_gone(process.pid), "the demo left a process behind"
    return cwd, said


@pytest.fixture
def store(played: tuple[Path, str]) -> Iterator[Store]:
    cwd, _ = played
    with Store.open(load(cwd / "demo-garden", environ={}).store_url, backup=False) as opened:
        yield opened


def test_every_reading_came_over_mqtt_was_stored_once_and_receipted(
    played: tuple[Path, str], store: Store
) -> None:
    _, said = played
    assert f"{_ROWS:,} readings sent over MQTT, {_ROWS:,} stored, all receipted" in said
    with store.read() as tx:
        assert reading_store.count(tx) == _ROWS
        assert quarantine.listed(tx, 10) == []


def test_it_ends_now_so_that_commands_with_the_system_clock_make_sense(store: Store) -> None:
    with store.read() as tx:
        newest_ms = max(reading_store.newest(tx).values())
    assert time.time() * 1000 - newest_ms < (15 + 10) * 60_000  # a quarter of an hour, and a slow machine


def test_a_water_now_and_a_too_cold_notice_are_told_on_screen_with_what_to_do(
    played: tuple[Path, str], store: Store
) -> None:
    _, said = played
    # Trays that turn dry between two looks of the watch share a notice; a slow machine looks less often.
    assert re.search(r"^\d\d \w{3} \d\d:\d\d  Water now: .*Open bench", said, re.MULTILINE)
    assert re.search(r"below its dry line .* brings it back to container capacity", said)
    assert re.search(rf"^\d\d \w{{3}} \d\d:\d\d  Too cold: .*({'|'.join(PLACES)})", said, re.MULTILINE)
    assert "Harrington's table" in said
    with store.read() as tx:
        told = notice_store.listed(tx, 500)
    assert {n.state.value for n in told} <= {"sent", "held", "spared"}
    # Which trays these are depends on the hour of the day at which the play ends.
    assert any(
        re.search(r"Water (Tomato|Lettuce|Marigold) 1 in Open bench now: .* m³/m³", n.body) for n in told
    )
    cold = [n.body for n in told if n.title.startswith("Too cold")]
    assert any(
        re.search(r"(Pepper|Marigold|Tomato|Lettuce) in .*: the mix is at .*source:", body) for body in cold
    )


def test_what_comes_up_is_told_hour_by_hour_and_not_as_what_came_and_went(store: Store) -> None:
    with store.read() as tx:
        told = notice_store.listed(tx, 500)
        episodes = episode_store.episodes_named(tx, (e for n in told for e, _ in n.changes))
    begun = [
        n.created_ms - float(episodes[e].facts["decided_ms"] or 0)
        for n in told
        for e, kind in n.changes
        # What is for one's information waits for the morning.
        if kind is ChangeKind.OPENED and n.severity != "info" and n.waits_for is not Hold.SHADOW
    ]
    assert len(begun) >= 10, begun
    # A turn is an hour, and what opens waits for others nearby until the next.
    assert statistics.median(begun) <= 2 * 3_600_000, begun
    # What the probe kept while it was out of reach may be told late, and is one notice.
    assert sum(kind is ChangeKind.PAST for n in told for _, kind in n.changes) <= 3
    left = {n.waits_for for n in told if n.state is NoticeState.HELD}
    assert left <= {Hold.SHADOW, Hold.QUIET}, "only what is hidden, or waits for the morning, is left"


def test_it_ends_with_the_comparison_today_and_what_now(played: tuple[Path, str]) -> None:
    _, said = played
    assert re.search(r"Cold frame was [\d.]+ °C warmer than Open bench on average", said)
    assert said.index("Did the frame earn its place?") < said.index("What needs me now?")
    assert said.index("What needs me now?") < said.index("What now?")
    assert "garden set" in said[said.index("What now?") :]


def test_the_host_has_ended_and_let_go(played: tuple[Path, str]) -> None:
    home = played[0] / "demo-garden"
    assert running_host(home) is None
    ended = last_running(home)
    assert ended is not None
    assert ended.ended_ms is not None


@pytest.mark.parametrize("words", [words for words, _ in LOOK_AROUND])
def test_every_command_it_recommends_for_looking_around_answers(
    played: tuple[Path, str],
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    cwd, said = played
    assert f"--home demo-garden {words}" in said
    monkeypatch.chdir(cwd)
    assert main(["--home", "demo-garden", *shlex.split(words)]) == 0
    assert len(capsys.readouterr().out.splitlines()) >= 3


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ending_it_early_stops_the_host_and_says_so(tmp_path: Path, number: signal.Signals) -> None:
    process = command("demo", "--speed", "6", "--plain", cwd=tmp_path)
    said = []
    assert process.stdout is not None
    for line in process.stdout:
        said.append(line)
        if "notice" in line or "Too cold" in line or "Water now" in line:
            process.send_signal(number)
            break
    rest, _ = process.communicate(timeout=30)
    said.append(rest)
    assert process.returncode == 130, "".join(said)
    assert "Ended early" in rest
    assert "Traceback (most recent call last)\n  File" not in rest
    assert group_is_gone(process.pid)
    assert running_host(tmp_path / "demo-garden") is None


def test_a_second_play_keeps_the_first_aside(tmp_path: Path) -> None:
    for _ in range(2):
        process = command("demo", "--days", "0.5", "--fast", "--plain", cwd=tmp_path)
        said, _ = process.communicate(timeout=60)
        assert process.returncode == 0, said
    kept = tmp_path / "demo-garden" / "before-1" / "traywarden.sqlite3"
    assert kept.exists()
    assert "is kept in demo-garden/before-1" in said


def test_it_leaves_a_folder_alone_that_no_demo_made(tmp_path: Path) -> None:
    (tmp_path / "demo-garden").mkdir()
    (tmp_path / "demo-garden" / "letter.txt").write_text("dear")
    process = command("demo", "--plain", cwd=tmp_path)
    said, _ = process.communicate(timeout=60)
    assert process.returncode == 2
    assert "left as it is" in said
    assert [p.name for p in (tmp_path / "demo-garden").iterdir()] == ["letter.txt"]


def test_with_stay_its_pages_are_served_until_ctrl_c(tmp_path: Path) -> None:
    process = command("demo", "--days", "0.5", "--fast", "--plain", "--stay", cwd=tmp_path)
    assert process.stdout is not None
    address = ""
    for line in process.stdout:
        if found := re.search(r"in a browser: (http://localhost:\d+/)", line):
            address = found[1]
            break
    with urllib.request.urlopen(address, timeout=20) as answer:
        assert "Every tray" in answer.read().decode()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=30)
    assert process.returncode == 0
    assert group_is_gone(process.pid)
