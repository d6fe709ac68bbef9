"""A board with MicroPython's raw REPL on a cable, as a process: enough of it for mpremote to copy files.

    python tests/repl_on_cable.py CABLE FLASH

CABLE is made a link to the terminal; FLASH is the folder that is the board's file system. What mpremote sends
is run here, with `os` and `open` that know no other files. What to answer: MicroPython documentation,
“The MicroPython Interactive Interpreter Mode”, raw mode.
"""

import contextlib
import errno
import hashlib
import io
import os
import sys
import traceback
import tty
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

BANNER = b"raw REPL; CTRL-B to exit\r\n>"
INTERRUPT, RAW, FRIENDLY, END, PASTE = b"\x03", b"\x01", b"\x02", b"\x04", b"\x05A\x01"
DIRECTORY = 0x4000


class Flash:
    """The board's own `os` and `open`: every path is below one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def at(self, path: str) -> Path:
        inside = (self._folder / path.lstrip("/")).resolve()
        assert inside.is_relative_to(self._folder), path
        return inside

    def ilistdir(self, path: str = "") -> Iterator[tuple[str, int, int, int]]:
        for each in sorted(self.at(path).iterdir()):
            yield each.name, DIRECTORY if each.is_dir() else 0x8000, 0, each.stat().st_size

    def module(self) -> types.ModuleType:
        made = types.ModuleType("os")
        made.ilistdir = self.ilistdir  # type: ignore[attr-defined]
        made.stat = lambda path: tuple(self.at(path).stat())[:10]  # type: ignore[attr-defined]
        made.mkdir = lambda path: self.at(path).mkdir()  # type: ignore[attr-defined]
        made.remove = lambda path: self.at(path).unlink()  # type: ignore[attr-defined]
        made.getcwd = lambda: "/"  # type: ignore[attr-defined]
        return made

    def open(self, path: str, mode: str = "r") -> Any:
        return self.at(path).open(mode)


def main(cable: str, flash: str) -> None:
    near, far = os.openpty()
    tty.setraw(far)
    Path(cable).symlink_to(os.ttyname(far))
    board = Flash(Path(flash).resolve())
    names: dict[str, Any] = {}
    begun, raw = b"", False

    def restart() -> None:
        names.clear()
        names.update({"open": board.open, "hashlib": hashlib, "__name__": "__main__"})

    restart()
    sys.modules["os"] = board.module()
    while True:
        begun += os.read(near, 4096)
        while begun:
            if begun.startswith(PASTE):
                begun = begun[len(PASTE) :]
                os.write(near, b"R\x00")  # no paste mode
            elif PASTE.startswith(begun) and begun[:1] == PASTE[:1]:
                break
            elif begun[:1] in (INTERRUPT, RAW, FRIENDLY, b"\r"):
                raw = begun[:1] == RAW or (raw and begun[:1] != FRIENDLY)
                if begun[:1] == RAW:
                    os.write(near, BANNER)
                begun = begun[1:]
            elif not raw:
                begun = b""
            elif END not in begun:
                break
            else:
                code, _, begun = begun.partition(END)
                if code:
                    os.write(near, b"OK" + ran(code, names) + END + b">")
                else:
                    restart()
                    os.write(near, b"OK\r\nMPY: soft reboot\r\n" + BANNER)


def ran(code: bytes, names: dict[str, Any]) -> bytes:
    """What the code printed, and its traceback."""
    printed, trouble = io.StringIO(), b""
    with contextlib.redirect_stdout(printed):
        try:
            exec(code.decode(), names)
        except Exception as error:  # noqa: BLE001 - whatever it was, the board says it
            trouble = f"{''.join(traceback.format_exception_only(error))}".encode()
            if isinstance(error, OSError) and error.errno:
                trouble = f"OSError: [Errno {error.errno}] {errno.errorcode[error.errno]}\r\n".encode()
    return printed.getvalue().encode() + END + trouble


if __name__ == "__main__":
    main(*sys.argv[1:])
