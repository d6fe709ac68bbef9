"""The probe over USB: packs as lines, questions and answers, noise passed over, never a password."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import settings as table
from probe.asked import Answers
from probe.link import LinkError
from probe.wired import HERE_MS, MOST_LINE, Wired
from tests.firmware.bench import Hardware
from tests.firmware.waiting import Ticks
from tests.interpreter.fakes.buses import Ds18b20, Sht

DOC = Path(__file__).parents[2] / "firmware" / "docs" / "usb.md"
PACK = b'[{"bt":1760000000,"n":"sequence","u":"count","v":1}]'


class _Port:
    """A serial line: what comes arrives at its time, in pieces of so many bytes."""

    def __init__(self, ticks: Ticks, *, piece: int = 64) -> None:
        self.ticks, self.piece = ticks, piece
        self.coming: list[tuple[int, bytes]] = []
        self.written = bytearray()

    def says(self, value: object, at_ms: int = 0) -> None:
        line = value if isinstance(value, bytes) else json.dumps(value).encode() + b"\n"
        pieces = [line[start : start + self.piece] for start in range(0, len(line), self.piece)]
        self.coming += [(at_ms, piece) for piece in pieces]

    def read(self) -> bytes:
        if self.coming and self.coming[0][0] <= self.ticks.passed_ms:
            return self.coming.pop(0)[1]
        return b""

    def write(self, data: bytes) -> None:
        self.written += data

    def lines(self) -> list[Any]:
        return [json.loads(line) for line in self.written.splitlines()]


class _Spool:
    dropped, damaged = 3, 1

    def __len__(self) -> int:
        return 17


class _Flash:
    """A folder as the firmware sees flash."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.full = folder, False

    def open(self, name: str, how: str) -> Any:
        if self.full and "w" in how:
            raise OSError(28, "full")
        return (self.folder / name).open(how)

    def remove(self, name: str) -> None:
        (self.folder / name).unlink()

    def rename(self, old: str, new: str) -> None:
        (self.folder / old).rename(self.folder / new)

    def listdir(self, folder: str) -> list[str]:
        return [path.name for path in (self.folder / folder).iterdir()]

    def mkdir(self, name: str) -> None:
        (self.folder / name).mkdir()


def _wired(piece: int = 64) -> tuple[Wired, _Port, Ticks]:
    ticks = Ticks()
    port = _Port(ticks, piece=piece)
    here = {"name": "north-bench"}
    return Wired(port, ticks, lambda question: {"answer": question["ask"]}, here), port, ticks


def _answers(folder: Path, **more: Any) -> tuple[Answers, _Flash]:
    ticks = Ticks()
    given: dict[str, Any] = {
        "name": "north-bench",
        "wifi": {"ssid": "garden", "password": "secret1"},
        "broker": {"user": "north", "password": "secret2"},
        "heads": [{"number": 1, "one_wire": None, "moisture": 0}],
    }
    made, problems = table.check(given, table.defaults())
    assert not problems
    soil = Ds18b20(bytes.fromhex("2801000000000029"), 0x0191)
    hardware = Hardware(ticks, soil=(soil,), air={0x44: Sht("sht4x", 0x6666, 0x8000)})
    flash = _Flash(folder)
    pause = ticks.sleep_ms
    answers = Answers(made, flash, hardware, pause, _Spool(), "woke from sleep", "0.1.0", lambda: 4, **more)
    return answers, flash


def test_with_a_host_it_connects_sends_lines_and_takes_receipts() -> None:
    wired, port, ticks = _wired()
    port.says({"ask": "hello", "id": 1}, at_ms=300)
    wired.connect(10_000)
    assert ticks.passed_ms < 400
    wired.publish("readings", PACK, False, 1_000)
    wired.publish("state", b'{"state":"awake"}', True, 1_000)
    port.says({"receipt": {"boot": 3, "sequence": 42}})
    port.says({"settings": {"read_s": 300}})
    took = [wired.received(1_000), wired.received(1_000)]
    assert [(kind, json.loads(payload)) for kind, payload in filter(None, took)] == [
        ("receipt", {"boot": 3, "sequence": 42}),
        ("settings", {"read_s": 300}),
    ]
    assert port.lines() == [
        {"here": {"name": "north-bench"}},
        {"answer": "hello", "id": 1},
        json.loads(PACK),
        {"state": {"state": "awake"}},
    ]
    wired.disconnect(1_000)


def test_without_a_host_it_says_so_within_its_time() -> None:
    wired, _, ticks = _wired()
    with pytest.raises(LinkError, match="no host answers"):
        wired.connect(10_000)
    assert ticks.passed_ms == HERE_MS
    with pytest.raises(LinkError):
        wired.connect(200)
    assert ticks.passed_ms == HERE_MS + 200


def test_a_receipt_that_does_not_come_costs_no_more_than_the_budget() -> None:
    wired, port, ticks = _wired()
    port.says({"ask": "hello"}, at_ms=500)
    assert wired.received(2_000) is None
    assert ticks.passed_ms == 2_000
    assert port.lines() == [{"answer": "hello"}]


def test_it_serves_as_long_as_somebody_asks() -> None:
    wired, port, ticks = _wired()
    for at_ms in (2_000, 4_000, 6_500):
        port.says({"ask": "read"}, at_ms=at_ms)
    assert wired.serve(60_000, 3_000)
    assert 9_500 <= ticks.passed_ms <= 9_600
    assert not wired.serve(60_000, 3_000)
    for number in range(100):
        port.says({"ask": "read"}, at_ms=ticks.passed_ms + number * 500)
    start_ms = ticks.passed_ms
    wired.serve(10_000, 3_000)
    assert ticks.passed_ms - start_ms == 10_000


@pytest.mark.parametrize("piece", [1, 7, 4096])
def test_noise_and_lines_that_are_too_long_are_passed_over(piece: int) -> None:
    wired, port, _ = _wired(piece)
    port.says(b"ESP-ROM:esp32c3-api1-20210207\r\n\r\n\xff\xfe{\n[1,2]\n5\n")
    port.says(b'{"ask":"' + b"x" * MOST_LINE + b'"}\n')
    port.says(b'{"ask":7}\n{"receipt":5}\n{"ask":"hello"}\r\n')
    wired.serve(1_000, 500)
    assert port.lines() == [{"answer": "hello"}]


@given(st.lists(st.binary(max_size=30), max_size=10))
def test_no_noise_ever_ends_it(noise: list[bytes]) -> None:
    wired, port, ticks = _wired()
    for each in noise:
        port.says(each)
    port.says(b"\n")
    port.says({"ask": "hello"})
    wired.serve(1_000, 500)
    assert ticks.passed_ms <= 1_000
    assert port.lines()[-1] == {"answer": "hello"}


def test_an_answer_that_fails_is_an_answer_too() -> None:
    ticks = Ticks()
    port = _Port(ticks)

    def fails(question: dict[str, Any]) -> dict[str, Any]:
        raise RuntimeError("burnt")

    port.says({"ask": "read", "id": "a"})
    Wired(port, ticks, fails, {}).serve(100, 100)
    (answer,) = port.lines()
    assert (answer["answer"], answer["id"]) == ("error", "a")
    assert "burnt" in answer["why"]


def test_every_question_has_its_answer_and_stands_in_the_document(tmp_path: Path) -> None:
    answers, _ = _answers(tmp_path)
    documented = DOC.read_text(encoding="utf-8")
    for ask in ("hello", "check", "read", "spool", "reset cause", "settings", "restart"):
        answer = answers({"ask": ask})
        assert answer["answer"] == ask
        assert f'{{"ask":"{ask}"' in documented
        json.dumps(answer)
    assert answers({"ask": "hello"})["name"] == "north-bench"
    assert answers({"ask": "reset cause"})["words"] == "woke from sleep"
    spool = {"answer": "spool", "waiting": 17, "gathered": 4, "dropped": 3, "damaged": 1}
    assert answers({"ask": "spool"}) == spool
    refused = answers({"ask": "weather"})
    assert refused["answer"] == "error"
    assert "weather is not a question" in refused["why"]


def test_read_and_check_tell_what_the_sensors_tell(tmp_path: Path) -> None:
    answers, _ = _answers(tmp_path)
    read = answers({"ask": "read"})
    assert read["faults"] == []
    assert read["values"] == {
        "1/soil_temperature": 25.0625,
        "1/moisture_voltage": 1.9545,
        "0/air_temperature": 25.0,
        "0/relative_humidity": 56.501,
        "battery": 3.91,
    }
    check = answers({"ask": "check"})
    assert check["ok"] is True
    assert {finding["sensor"] for finding in check["findings"]} >= {"battery", "head 1 soil temperature"}


def test_settings_are_shown_without_passwords_changed_whole_and_refused_with_reasons(tmp_path: Path) -> None:
    answers, flash = _answers(tmp_path)
    shown = answers({"ask": "settings"})["settings"]
    assert (shown["wifi"]["password"], shown["broker"]["password"]) == ("***", "***")
    # Sent back as they were shown, the passwords stay.
    changed = answers({"ask": "settings", "set": shown | {"read_s": 300}})
    assert "refused" not in changed
    assert changed["settings"]["read_s"] == 300
    assert "secret" not in json.dumps(changed)
    saved, problems = table.load(flash)  # type: ignore[arg-type]
    assert not problems
    assert (saved["wifi"]["password"], saved["read_s"]) == ("secret1", 300)
    refused = answers({"ask": "settings", "set": {"read_s": "soon", "colour": 1}})
    assert len(refused["refused"]) == 2
    assert refused["settings"]["read_s"] == 300
    flash.full = True
    unwritten = answers({"ask": "settings", "set": {"read_s": 400}})
    assert "could not be written" in unwritten["refused"][0]
    assert unwritten["settings"]["read_s"] == 300


def test_restart_is_done_after_the_answer_has_gone_out(tmp_path: Path) -> None:
    restarted: list[Any] = []
    ticks = Ticks()
    port = _Port(ticks)
    answers, _ = _answers(tmp_path, restart=lambda: restarted.append(port.lines()))
    port.says({"ask": "restart"})
    Wired(port, ticks, answers, {}).serve(100, 100)
    assert restarted == [port.lines()] == [[{"answer": "restart"}]]
