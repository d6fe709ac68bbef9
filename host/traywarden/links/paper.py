"""A page as PDF, by the browser that is installed."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from traywarden.errors import UsageError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_LONGEST_S = 120.0


def browser() -> str:
    """Where a browser that can print is. Raises UsageError where none is installed."""
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        raise UsageError(
            "A PDF needs the browser Chromium, which is not installed (apt-get install chromium); or open "
            "the HTML file in any browser and print it."
        )
    return found


def as_pdf(page: Path, pdf: Path) -> None:
    """Print an HTML file. Raises UsageError where no browser is installed or it fails."""
    program = browser()
    with tempfile.TemporaryDirectory() as profile:
        words = [
            program,
            "--headless",
            f"--user-data-dir={profile}",
            "--no-pdf-header-footer",
            "--disable-gpu",
        ]
        if os.geteuid() == 0:
            words.append("--no-sandbox")  # Chromium refuses to run as root with it
        words += [f"--print-to-pdf={pdf.resolve()}", page.resolve().as_uri()]
        try:
            done = subprocess.run(words, capture_output=True, timeout=_LONGEST_S, check=False)
        except subprocess.TimeoutExpired:
            raise UsageError(f"{program} took too long to print {page}; print it by hand.") from None
    if done.returncode != 0 or not pdf.exists():
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise UsageError(f"{program} could not print {page} ({said[-1] if said else 'it said nothing'}).")
