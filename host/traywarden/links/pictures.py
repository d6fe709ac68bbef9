"""Charts drawn to a file: a Vega-Lite spec in, SVG or PNG out, without a network."""

import json
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import vl_convert

from traywarden.errors import StoreError, UsageError

SUFFIXES = (".svg", ".png")
PNG_SCALE = 2.0


def chart(name: str) -> dict[str, Any]:
    """A chart of the package as a spec to be filled with data. Raises StoreError where it is missing."""
    try:
        text = (files("traywarden") / "dashboards" / "charts" / f"{name}.vl.json").read_text(encoding="utf-8")
    except OSError as error:
        raise StoreError(f"The chart {name} is missing from the program; install it again.") from error
    spec: dict[str, Any] = json.loads(text)
    return spec


def check_name(path: Path) -> None:
    """Raises UsageError for a file name that no picture can have; ask before working on what to draw."""
    if path.suffix.lower() not in SUFFIXES:
        raise UsageError(f"A picture called “{path.name}” cannot be drawn; end the name in .svg or .png.")


def draw(spec: Mapping[str, Any], path: Path) -> None:
    """Write the chart; the suffix of the path says whether as SVG or PNG.

    Raises UsageError where the name or the folder will not do.
    """
    check_name(path)
    if path.suffix.lower() == ".svg":
        drawn = vl_convert.vegalite_to_svg(dict(spec)).encode()
    else:
        drawn = vl_convert.vegalite_to_png(dict(spec), scale=PNG_SCALE)
    try:
        path.write_bytes(drawn)
    except OSError as error:
        raise UsageError(
            f"The picture cannot be written to {path} ({error.strerror}); give another folder or name."
        ) from error
