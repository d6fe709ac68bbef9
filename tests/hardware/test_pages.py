"""What code writes stands in the folder as code writes it now; what the pages promise is there."""

import re
from pathlib import Path
from typing import Any

import pytest
import typer.main
from hardware.parts import parts

from hardware import pages, power
from probe.boards import BOARDS
from traywarden.cli.app import app

HARDWARE = Path(pages.__file__).parent
ROOT = HARDWARE.parent
WRITTEN = pages.written()


@pytest.mark.parametrize("name", WRITTEN)
def test_a_written_page_or_drawing_is_up_to_date(name: str) -> None:
    assert (HARDWARE / name).read_text(encoding="utf-8") == WRITTEN[name], "run: make hardware"


@pytest.mark.parametrize(
    "page", ["hardware/README.md", "hardware/power.md", "hardware/cautions.md", "firmware/README.md"]
)
def test_every_link_leads_somewhere(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        if "://" not in target:
            assert (ROOT / page).parent.joinpath(target).exists(), f"{page}: {target}"
    for target in re.findall(r"`((?:docs|firmware|hardware)/[\w./-]+)`", text):
        assert (ROOT / target).exists(), f"{page}: {target}"


def test_the_text_names_only_parts_of_the_list() -> None:
    text = (HARDWARE / "README.md").read_text(encoding="utf-8")
    listed = {ref for part in parts() for ref in part.refs}
    named = set(re.findall(r"\b([CDQRU]\d)\b", text))
    assert named <= listed
    assert {"R1", "C2", "D1", "Q1", "U3", "U4"} <= named


def test_the_text_names_only_boards_of_the_table() -> None:
    text = (HARDWARE / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"`(esp32[\w-]*)`", text)) == set(BOARDS)


@pytest.mark.parametrize("page", ["hardware/README.md", "firmware/README.md"])
def test_the_text_names_only_commands_there_are(page: str) -> None:
    program: Any = typer.main.get_command(app)
    named = set(
        re.findall(r"traywarden (probe|run)(?: ([a-z-]+))?", (ROOT / page).read_text(encoding="utf-8"))
    )
    assert ("probe", "install") in named
    for group, name in named:
        assert group in program.commands
        if name and group == "probe":
            assert name in program.commands[group].commands, f"traywarden {group} {name}"


def test_a_block_that_is_missing_is_said() -> None:
    assert (
        pages.filled("a\n<!-- x -->\nold\n<!-- /x -->\nb", {"x": "new"})
        == "a\n<!-- x -->\n\nnew\n\n<!-- /x -->\nb"
    )
    with pytest.raises(ValueError, match="one block y"):
        pages.filled("a", {"y": "new"})


def test_the_power_page_shows_every_figure_with_its_source() -> None:
    for figure in power.FIGURES.values():
        assert f"| {figure.says} |" in WRITTEN["power.md"]
        assert figure.source in WRITTEN["power.md"]


def test_the_cautions_cover_what_can_hurt() -> None:
    text = (HARDWARE / "cautions.md").read_text(encoding="utf-8").lower()
    for word in (
        "protection",
        "below 0 °c",
        "swollen",
        "rcd",
        "gfci",
        "licensed electrician",
        "glass",
        "lid",
        "5 v",
    ):
        assert word in text, word
