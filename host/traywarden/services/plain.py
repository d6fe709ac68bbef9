"""Answers as JSON, the same for the command line and for other programs."""

import json
import math
from typing import Any

import msgspec


def plain(answer: Any) -> Any:
    """An answer in what JSON knows: dataclasses as objects, instants and days as text.

    NaN and infinity are not JSON: what is not known is null.
    """
    return _known(msgspec.to_builtins(answer))


def json_text(answer: Any) -> str:
    """An answer as JSON text, indented for people to read."""
    return json.dumps(plain(answer), ensure_ascii=False, indent=2, allow_nan=False)


def _known(built: Any) -> Any:
    if isinstance(built, dict):
        return {key: _known(value) for key, value in built.items()}
    if isinstance(built, list | tuple):
        return [_known(value) for value in built]
    return None if isinstance(built, float) and not math.isfinite(built) else built
