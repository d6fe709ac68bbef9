"""The tools that flash a board and copy files to it, run as the programs they are; their errors end here."""

import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from traywarden.errors import BoardError

LONGEST_S = 300.0
_LINES_SHOWN = 3


def tool(name: str) -> str | None:
    """Where the program is: on PATH, or beside the Python that runs us."""
    return shutil.which(name) or shutil.which(name, path=str(Path(sys.executable).parent))


def run_tool(name: str, arguments: Sequence[str], *, longest_s: float = LONGEST_S) -> str:
    """Run a tool to its end and return what it said. Raises BoardError with its last words."""
    program = tool(name)
    if program is None:
        raise BoardError(f"{name} is not installed; it comes with: pip install {name}")
    try:
        ended = subprocess.run(
            [program, *arguments], capture_output=True, text=True, timeout=longest_s, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise BoardError(f"{name} did not come to an end in {longest_s:g} s; unplug the board.") from error
    except OSError as error:
        raise BoardError(f"{name} could not be run ({error.strerror}).") from error
    if ended.returncode != 0:
        said = [line.strip() for line in (ended.stdout + ended.stderr).splitlines() if line.strip()]
        raise BoardError(f"{name} failed: {' / '.join(said[-_LINES_SHOWN:]) or 'it did not say why'}")
    return ended.stdout
