"""Files handed in on a page, kept in the home folder until they are read in; for a day at most."""

import re
import secrets
import shutil
import time
from pathlib import Path
from typing import BinaryIO

from traywarden.errors import StoreError, UsageError

FOLDER = "uploads"
MOST_KEPT = 5
KEPT_S = 86_400
_TOKEN = re.compile(r"[0-9a-f]{16}")


def keep_upload(home: Path, name: str, file: BinaryIO) -> str:
    """Keep a file; the token that finds it again. Older ones make room.

    Raises UsageError where the file is empty, StoreError where it cannot be written.
    """
    folder, token = home / FOLDER, secrets.token_hex(8)
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        _make_room(folder, time.time())
        own = folder / token
        own.mkdir(mode=0o700)
        path = own / _file_name(name)
        with path.open("wb") as kept:
            shutil.copyfileobj(file, kept)
        if not path.stat().st_size:
            forget_upload(home, token)
            raise UsageError("No file was chosen, or it is empty.")
    except OSError as error:
        raise StoreError(f"{folder} cannot be written ({error.strerror}); the file was not kept.") from error
    return token


def upload(home: Path, token: str) -> Path:
    """The kept file. Raises UsageError where it is there no more."""
    if _TOKEN.fullmatch(token):
        for path in sorted((home / FOLDER / token).glob("*")):
            return path
    raise UsageError("That file is kept no more; choose it again.")


def forget_upload(home: Path, token: str) -> None:
    if _TOKEN.fullmatch(token):
        shutil.rmtree(home / FOLDER / token, ignore_errors=True)


def _make_room(folder: Path, now_s: float) -> None:
    known = sorted(folder.iterdir(), key=lambda each: each.stat().st_mtime, reverse=True)
    for number, each in enumerate(known):
        if number >= MOST_KEPT - 1 or now_s - each.stat().st_mtime > KEPT_S:
            shutil.rmtree(each, ignore_errors=True)


def _file_name(name: str) -> str:
    """The last part of the name it had, with nothing in it that a path means."""
    return re.sub(r"[^\w. -]", "_", re.split(r"[/\\]", name)[-1]).strip(". ")[:80] or "file"
