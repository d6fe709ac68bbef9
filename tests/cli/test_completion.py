"""Names for the shell to complete."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import CommandLine

PROGRAM = "import sys; from traywarden.cli.main import main; sys.exit(main())"


def completed(home: Path, *words: str) -> list[str]:
    """What bash would offer for the last word, asked as bash asks."""
    line = " ".join(["traywarden", *words])
    found = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        env={
            "PATH": os.environ["PATH"],
            "TRAYWARDEN_HOME": str(home),
            "_TRAYWARDEN_COMPLETE": "complete_bash",
            "COMP_WORDS": line,
            "COMP_CWORD": str(len(words)),
        },
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert "Traceback" not in found.stderr, found.stderr
    return [line for line in found.stdout.splitlines() if line]


@pytest.mark.system
def test_the_shell_completes_names_from_the_store(garden: CommandLine) -> None:
    garden.ok("tray", "add", "A2", "--mix", "Seed mix", "--place", "Bench")
    garden.ok("tray", "add", "B1", "--mix", "Seed mix", "--place", "Bench")
    assert completed(garden.home, "watered", "A") == ["A1", "A2"]
    assert completed(garden.home, "moved", "A1", "--to", "B") == ["Bench"]
    assert completed(garden.home, "vented", "South") == [r"South\ frame"]
    assert completed(garden.home, "crop", "show", "tom") == ["tomato"]
    assert "watered" in completed(garden.home, "wat")


@pytest.mark.system
def test_completing_without_a_store_offers_nothing_and_makes_none(tmp_path: Path) -> None:
    assert completed(tmp_path / "home", "watered", "a") == []
    assert not (tmp_path / "home").exists()


@pytest.mark.system
def test_completing_with_broken_settings_offers_nothing_and_says_nothing(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("broken = [", encoding="utf-8")
    assert completed(tmp_path, "watered", "a") == []
