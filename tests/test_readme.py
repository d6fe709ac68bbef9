"""What README.md and DEVELOPERS.md name is there: pages, commands, modules, figures."""

import re
from pathlib import Path

import typer.main

from tests.figures.__main__ import SUBJECTS
from traywarden.cli.app import app

ROOT = Path(__file__).parents[1]
README, DEVELOPERS = ((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


def test_every_page_is_linked_and_every_link_leads_somewhere() -> None:
    linked = set(re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", README))
    assert {f"docs/{page.name}" for page in (ROOT / "docs").glob("*.md")} <= linked
    assert [link for link in linked if not (ROOT / link).exists()] == []


def test_every_command_it_names_exists() -> None:
    top = typer.main.get_group(app)
    named = re.findall(
        r"traywarden ([a-z][a-z-]*)(?: ([a-z][a-z-]*))?", README.split("## Your own garden")[1]
    )
    assert len(named) > 20
    for first, second in named:
        command = top.commands.get(first)
        assert command is not None, first
        below = getattr(command, "commands", {})
        if below and second and first != "plan":  # plan tomato is short for plan crop tomato
            assert second in below, f"{first} {second}"


def test_the_layout_names_modules_that_are_there() -> None:
    topics = DEVELOPERS.split("By topic:")[1].split("  wire/ ")[0]
    topics = topics.replace("journal and garden hold the facts", "journal, garden").replace("(FAO-56)", "")
    named = set(re.findall(r"[a-z_]+", re.sub(r"(?m)^ {16}[a-z]+ ", "", topics)))
    there = {module.stem for module in (ROOT / "host" / "traywarden" / "domain").glob("*.py")}
    assert named <= there, sorted(named - there)


def test_the_subjects_of_the_figures_are_those_it_lists() -> None:
    listed = DEVELOPERS.split("Subjects of the figures:")[1].split(". Tests")[0]
    assert set(re.findall(r"`([^`]+)`", listed)) == set(SUBJECTS)
