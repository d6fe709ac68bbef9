"""The glossary is the authority on units: every number that crosses a domain function obeys it."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
DOMAIN = ROOT / "host" / "traywarden" / "domain"
NUMERIC = re.compile(r"\b(float|FloatArray|Floats)\b")


def rows(heading: str) -> list[str]:
    page = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    section = page.split(f"## {heading}")[1].split("\n## ")[0]
    return re.findall(r"^\| `([^`]+)` \|", section, flags=re.MULTILINE)


def table(heading: str) -> set[str]:
    return set(rows(heading))


def numbers() -> Iterator[tuple[str, str]]:
    """(where, name) of every numeric parameter and dataclass field that is public in the domain."""
    for path in sorted(DOMAIN.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                arguments = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
                named = [(a.arg, a.annotation) for a in arguments]
            elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                named = [
                    (s.target.id, s.annotation)
                    for s in node.body
                    if isinstance(s, ast.AnnAssign) and isinstance(s.target, ast.Name)
                ]
            else:
                continue
            for name, annotation in named:
                if annotation is not None and NUMERIC.search(ast.unparse(annotation)):
                    yield f"{path.name}:{node.lineno} {node.name}", name


def test_every_number_in_the_domain_carries_its_unit_or_stands_in_the_glossary() -> None:
    endings, unitless = table("Units in names"), table("Numbers without a unit")
    wrong = [
        f"{where}: {name}"
        for where, name in numbers()
        if name not in unitless and not any(f"_{name}".endswith(e) for e in endings)
    ]
    assert not wrong, "\n".join(["no unit in the name, and not in docs/glossary.md:", *wrong])


def test_the_check_sees_numbers_at_all() -> None:
    assert len(list(numbers())) > 50


def test_no_word_of_the_glossary_is_unused() -> None:
    seen = {name for _, name in numbers()}
    stale = table("Numbers without a unit") - seen
    assert not stale, f"in docs/glossary.md but nowhere in the domain: {sorted(stale)}"


def test_every_name_stands_in_the_glossary_once() -> None:
    endings, unitless = rows("Units in names"), rows("Numbers without a unit")
    for names in (endings, unitless):
        assert len(names) == len(set(names)), sorted({n for n in names if names.count(n) > 1})
    covered = [name for name in unitless if any(f"_{name}".endswith(ending) for ending in endings)]
    assert not covered, f"their ending says their unit already: {covered}"
