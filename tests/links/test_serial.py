"""Lines over a serial port: whole ones only, bounded, and a clear word when the port is gone."""

import os
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from traywarden.errors import BoardError
from traywarden.links.boards import run_tool
from traywarden.links.serial import SerialLine


class Terminal:
    """The board's end of a terminal."""

    def __init__(self) -> None:
        self.near, far = os.openpty()
        tty.setraw(far)
        self.path = os.ttyname(far)
        self._far = far

    def say(self, data: bytes) -> None:
        os.write(self.near, data)

    def close(self) -> None:
        for end in (self.near, self._far):
            if end >= 0:
                os.close(end)
        self.near = self._far = -1


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    made.close()


def test_a_line_comes_whole_however_it_was_cut_up(terminal: Terminal) -> None:
    with SerialLine(terminal.path) as line:
        terminal.say(b'ESP-ROM:esp32c3\r\n{"here"')
        assert line.lines(1.0) == [b"ESP-ROM:esp32c3"]
        terminal.say(b':1}\n[{"n":"a"}]\n[{')
        assert line.lines(1.0) == [b'{"here":1}', b'[{"n":"a"}]']
        assert line.lines(0.01) == []


def test_a_line_that_is_too_long_comes_cut_off_and_the_next_one_whole(terminal: Terminal) -> None:
    with SerialLine(terminal.path, most_bytes=100) as line:
        came: list[bytes] = []
        terminal.say(b"[" + b"x" * 250)
        came += line.lines(1.0)
        terminal.say(b"y" * 250 + b"\n[short]\n")
        while len(came) < 2:
            came += line.lines(1.0)
    assert came == [b"[" + b"x" * 100, b"[short]"]


def test_what_is_written_is_a_line(terminal: Terminal) -> None:
    with SerialLine(terminal.path) as line:
        line.write(b'{"ask":"hello"}')
        assert os.read(terminal.near, 100) == b'{"ask":"hello"}\n'


def test_a_port_that_goes_away_says_so_in_a_sentence(terminal: Terminal) -> None:
    with SerialLine(terminal.path) as line:
        terminal.close()
        with pytest.raises(BoardError, match=r"The board on /dev/\S+ is gone"):
            line.lines(1.0)


def test_what_is_no_serial_port_is_told_apart(tmp_path: Path) -> None:
    with pytest.raises(BoardError, match="There is no"):
        SerialLine(str(tmp_path / "ttyACM0"))
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BoardError, match="cannot be opened as a serial port"):
        SerialLine(str(tmp_path / "file"))


def test_a_tool_that_is_not_there_or_fails_without_a_word_is_still_a_sentence() -> None:
    with pytest.raises(BoardError, match="no-such-tool is not installed"):
        run_tool("no-such-tool", [])
    with pytest.raises(BoardError, match="false failed: it did not say why"):
        run_tool("false", [])
    with pytest.raises(BoardError, match=r"did not come to an end in 0\.1 s"):
        run_tool("sleep", ["5"], longest_s=0.1)
    assert run_tool("echo", ["one", "two"]) == "one two\n"
