"""The points at which a test may have the host die, as the program's source names them."""

import ast
from pathlib import Path

import traywarden


def named_points() -> list[tuple[Path, str]]:
    """Every name that is given to `point`, with the file it stands in."""
    found: list[tuple[Path, str]] = []
    for path in sorted(Path(traywarden.__file__).parent.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "point(" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "point":
                (name,) = node.args
                found.append((path, str(ast.literal_eval(name))))
    return found
