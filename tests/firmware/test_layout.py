"""The firmware keeps to MicroPython: what it imports, and where the hardware is."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
MODULES = sorted([*FIRMWARE.glob("probe/*.py"), *FIRMWARE.glob("drivers/*.py"), FIRMWARE / "main.py"])
HARDWARE = {
    "machine",
    "network",
    "onewire",
    "esp32",
    "esp",
    "ntptime",
    "neopixel",
    "bluetooth",
    "micropython",
}
LIBRARY = {"binascii", "errno", "gc", "json", "os", "select", "socket", "ssl", "struct", "sys", "time"}
"""Of the standard library, what MicroPython 1.22 brings on an ESP32."""
TOO_NEW = (ast.Match, ast.NamedExpr, ast.AsyncFunctionDef, ast.TryStar)


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(node: ast.AST) -> Iterator[str]:
    """Modules imported at run time: what stands under `if TYPE_CHECKING` is for mypy only."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
            continue
        if isinstance(child, ast.Import):
            yield from (alias.name.split(".")[0] for alias in child.names)
        elif isinstance(child, ast.ImportFrom):
            yield (child.module or "").split(".")[0]
        yield from imported(child)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(FIRMWARE)))
def test_a_module_imports_only_what_the_board_has(path: Path) -> None:
    hardware = HARDWARE if path.name == "board.py" else set()
    assert set(imported(parsed(path))) <= LIBRARY | {"probe", "drivers"} | hardware


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(FIRMWARE)))
def test_a_module_is_written_in_what_micropython_1_22_understands(path: Path) -> None:
    for node in ast.walk(parsed(path)):
        assert not isinstance(node, TOO_NEW), f"line {getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            nested = [child for child in ast.walk(node.format_spec) if isinstance(child, ast.FormattedValue)]
            assert not nested, f"line {node.lineno}: a format within a format"
        if isinstance(node, ast.ClassDef):
            assert not node.decorator_list, f"line {node.lineno}"
            assert not node.keywords, f"line {node.lineno}: no metaclasses"


def test_the_check_sees_the_modules() -> None:
    assert len(MODULES) > 20
    assert "machine" in set(imported(parsed(FIRMWARE / "probe" / "board.py")))


def test_the_wake_cycle_runs_where_there_is_no_board() -> None:
    check = "import sys; from probe import cycle; sys.exit('machine' in sys.modules)"
    subprocess.run([sys.executable, "-c", check], cwd=FIRMWARE, check=True)
