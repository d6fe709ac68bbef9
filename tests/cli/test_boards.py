"""A board on the USB cable by command: found, flashed, set up, asked."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer
from serial.tools import list_ports

from tests.cables import Cable, until
from tests.cli.conftest import CommandLine
from traywarden.services import boards

ROOT = Path(__file__).parents[2]
REPL = ROOT / "tests" / "repl_on_cable.py"


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    """A probe that only answers, plugged in."""
    with Cable(tmp_path / "cable") as plugged:
        plugged.plug_in()
        yield plugged


class Tools:
    """Programs in the places of esptool and mpremote that note how they were called."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        for name in ("esptool", "mpremote"):
            self.write(name, "")

    def write(self, name: str, more: str) -> None:
        script = f'#!/bin/sh\nprintf "%s\\n" "{name} $*" >> "{self.folder}/calls"\n{more}\n'
        (self.folder / name).write_text(script)
        (self.folder / name).chmod(0o755)

    @property
    def calls(self) -> list[str]:
        path = self.folder / "calls"
        return path.read_text().splitlines() if path.exists() else []


@pytest.fixture
def tools(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Tools:
    made = Tools(tmp_path / "bin")
    monkeypatch.setenv("PATH", f"{made.folder}:{os.environ['PATH']}")
    monkeypatch.setattr(boards, "TRY_AGAIN_S", 0.0)
    return made


@pytest.fixture
def image(tmp_path: Path) -> Path:
    path = tmp_path / "ESP32_GENERIC_C3.bin"
    path.write_bytes(b"\xe9" + bytes(1_500_000))
    return path


def test_ports_of_makers_of_boards_are_found_and_others_are_not(
    run: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def port(device: str, vid: int | None) -> SimpleNamespace:
        return SimpleNamespace(device=device, vid=vid, description="USB JTAG", serial_number="84:F7:03")

    found = [port("/dev/ttyS0", None), port("/dev/ttyUSB1", 0x1A86), port("/dev/ttyACM0", 0x303A)]
    monkeypatch.setattr(list_ports, "comports", lambda: found)
    assert [p["path"] for p in run.json("probe", "find")] == ["/dev/ttyACM0", "/dev/ttyUSB1"]
    assert "Espressif" in run.ok("probe", "find")
    monkeypatch.setattr(list_ports, "comports", lambda: found[:1])
    assert "carries data" in run.ok("probe", "find")


def test_every_board_of_the_firmware_can_be_installed() -> None:
    """The firmware's own table is the authority on boards and their chips."""
    namespace: dict[str, object] = {}
    source = ROOT / "firmware" / "probe" / "boards.py"
    exec(compile(source.read_text(encoding="utf-8"), str(source), "exec"), namespace)
    table = namespace["BOARDS"]
    assert isinstance(table, dict)
    assert {name: board.chip.lower().replace("-", "") for name, board in table.items()} == {
        name: chip.chip for name, chip in boards.BOARDS.items()
    }


def test_installing_erases_flashes_copies_and_starts(run: CommandLine, tools: Tools, image: Path) -> None:
    answer = run("probe", "install", "/dev/ttyX", "--image", str(image))
    assert answer.code == 0, answer
    flash, copy, start = tools.calls
    assert flash == f"esptool --chip esp32c3 --port /dev/ttyX write-flash --erase-all 0x0 {image}"
    assert copy.startswith("mpremote connect /dev/ttyX fs cp -r /")
    assert [Path(word).name for word in copy.split()[6:-1]] == ["drivers", "probe", "main.py"]
    assert copy.endswith(" :")
    assert start == "mpremote connect /dev/ttyX reset"
    assert "Step 1 of 3: erase the board and flash ESP32_GENERIC_C3.bin" in answer.err
    assert "Step 3 of 3: start it" in answer.err
    assert "traywarden probe set-up /dev/ttyX" in answer.out


def test_a_board_with_another_chip_is_flashed_where_its_image_belongs(
    run: CommandLine, tools: Tools, image: Path
) -> None:
    assert run("probe", "install", "/dev/ttyX", "--board", "esp32", "--image", str(image)).code == 0
    assert "--chip esp32 --port /dev/ttyX write-flash --erase-all 0x1000 " in tools.calls[0]
    assert "did you mean “esp32-s3”" in run.refused("probe", "install", "/dev/ttyX", "--board", "esp32s3")


def test_an_update_flashes_nothing(run: CommandLine, tools: Tools) -> None:
    shown = json.loads(run("probe", "install", "/dev/ttyX", "--keep-micropython", "--json").out)
    assert shown["steps"] == ["remove what the firmware no longer has", "copy the firmware", "start it"]
    assert not any(call.startswith("esptool") for call in tools.calls)


def test_without_an_image_nothing_is_done_and_one_sentence_says_where_to_get_it(
    run: CommandLine, tools: Tools, tmp_path: Path
) -> None:
    words = run.refused("probe", "install", "/dev/ttyX")
    assert "--image FILE" in words
    assert "micropython.org/download/ESP32_GENERIC_C3" in words
    (tmp_path / "page.bin").write_bytes(b"<html>" + bytes(1_000_000))
    for name, says in [("none.bin", "cannot be read"), ("page.bin", "no MicroPython image")]:
        assert says in run.refused("probe", "install", "/dev/ttyX", "--image", str(tmp_path / name))
    assert tools.calls == []


def test_a_tool_that_fails_ends_the_installation_with_its_last_words(
    run: CommandLine, tools: Tools, image: Path
) -> None:
    tools.write("esptool", 'echo "A fatal error occurred: No serial data received." >&2; exit 2')
    answer = run("probe", "install", "/dev/ttyX", "--image", str(image))
    assert answer.code == 10
    assert "esptool failed: A fatal error occurred: No serial data received." in answer.err
    assert len(tools.calls) == 1


def test_a_port_that_needs_a_moment_after_flashing_is_tried_again(
    run: CommandLine, tools: Tools, image: Path
) -> None:
    tools.write("mpremote", f'[ $(wc -l < "{tools.folder}/calls") -gt 3 ] || exit 1')
    assert run("probe", "install", "/dev/ttyX", "--image", str(image)).code == 0
    assert [call.split()[0] for call in tools.calls] == ["esptool"] + ["mpremote"] * 4


def test_what_is_copied_is_the_firmware_and_nothing_that_lies_about(tmp_path: Path) -> None:
    boards.staged(ROOT / "firmware", tmp_path / "staged")
    names = {path.relative_to(tmp_path / "staged").as_posix() for path in (tmp_path / "staged").rglob("*")}
    modules = {f"{part}/{m.stem}" for part in boards.PARTS for m in (ROOT / "firmware" / part).glob("*.py")}
    assert {name.partition(".")[0] for name in names} == modules | {*boards.PARTS, "main"}
    assert not any("__pycache__" in name for name in names)


@pytest.mark.system
def test_mpremote_itself_brings_the_firmware_onto_a_board(tmp_path: Path) -> None:
    """The real mpremote, talking to a raw REPL at the other end of a terminal; twice, as for an update."""
    flash, staged, port = tmp_path / "flash", tmp_path / "staged", tmp_path / "ttyACM0"
    flash.mkdir()
    boards.staged(ROOT / "firmware", staged)
    board = subprocess.Popen([sys.executable, str(REPL), str(port), str(flash)])
    try:
        until(port.is_symlink)
        steps = boards.install_steps(str(port), "esp32-c3", None, staged)[:-1]
        for step in steps:
            boards.do_step(replace(step, tries=1))
        (staged / "main.py").write_text("# a newer one")
        (flash / "probe" / "cycle.py").write_text("# of an older firmware, copied as source")
        (flash / "settings.json").write_text("{}")
        for step in steps:
            boards.do_step(replace(step, tries=1))
    finally:
        board.kill()
        board.wait(20)

    def files(folder: Path) -> dict[str, bytes]:
        return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    assert files(flash) == files(staged) | {"settings.json": b"{}"}
    assert len(files(flash)) > 20


@pytest.mark.system
def test_a_probe_says_which_sensor_answers(run: CommandLine, cable: Cable) -> None:
    answer = run("probe", "check", str(cable.path))
    assert answer.code == 1
    assert "+ head 1 moisture voltage: answers: 1.90 V" in answer.out
    assert "! head 1 soil temperature: " in answer.out
    assert "do not answer." in answer.out
    shown = json.loads(run("probe", "check", str(cable.path), "--json").out)
    assert shown["ok"] is False


@pytest.mark.system
def test_a_probe_shows_what_it_reads_what_waits_and_why_it_started(run: CommandLine, cable: Cable) -> None:
    (live,) = run.json("probe", "live", str(cable.path))
    assert live["values"]["1/moisture_voltage"] == 1.9
    assert "1/moisture_voltage 1.9 V" in run.ok("probe", "live", str(cable.path), "--count", "1")
    assert "0 readings wait on flash" in run.ok("probe", "spool", str(cable.path))
    assert run.ok("probe", "last-reset", str(cable.path)) == "Last start: power was connected.\n"


@pytest.mark.system
def test_a_probe_is_set_up_and_no_password_is_ever_printed(
    garden: CommandLine, cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, bool]] = []

    def prompt(text: str, **more: object) -> str:
        asked.append((text, more["hide_input"] is True))
        return "wagtail"

    monkeypatch.setattr(typer, "prompt", prompt)
    answer = garden(
        "probe", "set-up", str(cable.path), "--name", "frame-1", "--board", "esp32-c3", "--heads", "2",
        "--soil-sensor", "2=28FF641E8216043C", "--wifi-ssid", "Home", "--broker", "192.168.1.20",
        "--broker-user", "frame-1",
    )  # fmt: skip
    assert answer.code == 0, answer
    assert [hidden for _, hidden in asked] == [True, True]
    assert "wagtail" not in answer.out + answer.err
    assert "nightjar" not in answer.out + answer.err
    written = json.loads((cable.flash / "settings.json").read_text())
    assert (written["name"], written["garden"], written["board"]) == ("frame-1", "hill-garden", "esp32-c3")
    assert written["wifi"]["password"] == written["broker"]["password"] == "wagtail"
    assert written["heads"][1] == {"number": 2, "one_wire": "28ff641e8216043c", "moisture": 1}


@pytest.mark.system
def test_any_other_setting_is_set_by_name_and_the_probe_checks_it(garden: CommandLine, cable: Cable) -> None:
    port = str(cable.path)
    garden.ok(
        "probe", "set-up", port, "--set", "ntp.host=", "--set", "wifi.address=192.168.1.60",
        "--set", "send_s=7200", "--set", "broker.tls=false",
    )  # fmt: skip
    written = json.loads((cable.flash / "settings.json").read_text())
    assert (written["ntp"]["host"], written["wifi"]["address"]) == ("", "192.168.1.60")
    assert (written["send_s"], written["broker"]["tls"], written["wifi"]["ssid"]) == (7200, False, "home")
    assert "send_s must be a whole number" in garden.refused("probe", "set-up", port, "--set", "send_s=soon")
    assert "sends_s is not a setting" in garden.refused("probe", "set-up", port, "--set", "sends_s=1")
    assert "write NAME=VALUE" in garden.refused("probe", "set-up", port, "--set", "send_s")
    assert "never given" in garden.refused("probe", "set-up", port, "--set", "wifi.password=x")


@pytest.mark.system
def test_what_a_probe_refuses_is_said_and_nothing_has_changed(garden: CommandLine, cable: Cable) -> None:
    before = (cable.flash / "settings.json").read_text()
    words = garden.refused("probe", "set-up", str(cable.path), "--name", "Frame 1")
    assert "The probe refuses: name is 'Frame 1'" in words
    assert (cable.flash / "settings.json").read_text() == before


@pytest.mark.system
def test_account_and_password_are_taken_from_the_brokers_accounts(
    garden: CommandLine, cable: Cable, tmp_path: Path
) -> None:
    folder = tmp_path / "accounts"
    words = garden.ok("broker", "accounts", str(folder), "--probe", "frame-1")
    assert "Accounts in" in words
    plain = dict(line.split(":") for line in (folder / "accounts.txt").read_text().splitlines())
    assert plain.keys() == {"traywarden-host", "frame-1"}
    assert not any(password in words for password in plain.values())
    again = garden.json("broker", "accounts", str(folder), "--probe", "bench-1")
    assert again["fresh"] == ["bench-1"]
    assert again["probes"] == ["bench-1", "frame-1"]
    garden.ok("probe", "set-up", str(cable.path), "--name", "frame-1", "--accounts", str(folder))
    written = json.loads((cable.flash / "settings.json").read_text())
    assert written["broker"]["user"] == "frame-1"
    assert written["broker"]["password"] == plain["frame-1"]
    assert "has no account" in garden.refused(
        "probe", "set-up", str(cable.path), "--name", "other", "--accounts", str(folder)
    )


@pytest.mark.system
def test_a_silent_port_and_a_missing_one_are_told_apart(
    run: CommandLine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(boards.BoardTalk.__init__, "__kwdefaults__", {"reach_s": 0.5})
    assert "There is no" in run.refused("probe", "spool", str(tmp_path / "ttyACM9"), code=10)
    near, far = os.openpty()
    try:
        words = run.refused("probe", "spool", os.ttyname(far), code=10)
    finally:
        os.close(near)
        os.close(far)
    assert "press its reset button" in words


@pytest.mark.system
def test_the_authoritys_certificate_is_copied_and_then_tls_is_on(
    garden: CommandLine, cable: Cable, tools: Tools, tmp_path: Path
) -> None:
    authority = tmp_path / "authority.pem"
    assert "There is no file" in garden.refused(
        "probe", "set-up", str(cable.path), "--ca-file", str(authority)
    )
    authority.write_text("-----BEGIN CERTIFICATE-----")
    answer = garden("probe", "set-up", str(cable.path), "--ca-file", str(authority), "--broker-port", "8883")
    assert answer.code == 0, answer
    assert tools.calls == [
        f"mpremote connect {cable.path} fs cp {authority} :ca.pem",
        f"mpremote connect {cable.path} reset",
    ]
    broker = json.loads((cable.flash / "settings.json").read_text())["broker"]
    assert (broker["tls"], broker["ca_file"], broker["port"]) == (True, "ca.pem", 8883)


@pytest.mark.system
def test_an_answer_of_another_firmware_is_a_sentence_too(
    run: CommandLine, cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(boards.BoardTalk, "_asked", lambda *_: {"answer": "spool", "waiting": "many"})
    words = run.refused("probe", "spool", str(cable.path), code=10)
    assert "in a way we do not know" in words
    monkeypatch.setattr(boards.BoardTalk, "_asked", lambda *_: {"answer": "error", "why": "spool is not …"})
    assert "cannot answer “spool”: spool is not …" in run.refused("probe", "spool", str(cable.path), code=10)
