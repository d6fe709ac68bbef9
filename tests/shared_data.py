"""Where the records and published numbers lie that tests are checked against; not part of the project."""

import os
from pathlib import Path

import pytest

SHARED = Path(__file__).resolve().parents[2] / "shared"


def _found(folder: str, name: str) -> Path:
    path = SHARED / folder / name
    if not path.exists():
        sentence = f"{folder}/{name} is not beside the checkout (expected at ../shared/{folder}/{name})"
        if os.environ.get("CI") == "true":
            pytest.fail(sentence)
        pytest.skip(sentence)
    return path


def shared_file(name: str) -> Path:
    """A real sensor record from ../shared/data; skips the test where it is absent, fails in CI."""
    return _found("data", name)


def reference_file(name: str) -> Path:
    """A table of published numbers from ../shared/reference; skips where it is absent, fails in CI."""
    return _found("reference", name)
