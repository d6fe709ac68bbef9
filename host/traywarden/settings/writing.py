"""Changes settings.toml and leaves everything else in it as it was: comments, order, blank lines.

One value is put into its line, or one line is added. The text is then read again, and must hold what the old
one held with this one change, else nothing is written: a file written in a way we cannot edit stays as it is.
"""

import os
import tempfile
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from traywarden.domain.telling_times import AT_ONCE
from traywarden.errors import SettingsError
from traywarden.settings.editing import (
    CHANNEL,
    ended,
    toml_of,
    with_channel_rows,
    with_value,
    without_channel,
    without_value,
)
from traywarden.settings.loading import Settings, load

_WRITING = threading.Lock()


def change_settings(
    home: Path, changes: Mapping[str, Any], check: Callable[[Settings], None] | None = None
) -> Settings:
    """Write these values (by “section.name”) into the home's settings.toml; the settings as they are then.

    Raises SettingsError, and writes nothing, where a value cannot be used, `check` refuses what would hold
    then, or the file cannot be edited.
    """

    def changed(text: str) -> str:
        for key, value in changes.items():
            text = with_value(text, key, value)
        return text

    return _rewrite(home, changed, check)


def take_back(home: Path, key: str) -> Settings:
    """Take a value out of settings.toml: then what holds otherwise holds. The settings as they are then."""
    return _rewrite(home, lambda text: without_value(text, key))


def add_channel(home: Path, name: str, url: str, least_severity: str, digest: str = AT_ONCE) -> Settings:
    """Add a way for notices at the end of settings.toml."""
    rows = {"name": name, "url": url, "least_severity": least_severity, "digest": digest}
    if digest == AT_ONCE:
        del rows["digest"]
    block = "".join(f"{key} = {toml_of(value)}\n" for key, value in rows.items())
    return _rewrite(home, lambda text: f"{ended(text)}\n[[{CHANNEL}]]\n{block}")


def change_channel(home: Path, name: str, least_severity: str, digest: str) -> Settings:
    """Let a channel take so much, at such times; its address and the comments of its table stay."""
    rows = {"least_severity": least_severity, "digest": digest}
    return _rewrite(home, lambda text: with_channel_rows(text, name, rows))


def remove_channel(home: Path, name: str) -> Settings:
    """Take a way for notices out of settings.toml, with the lines of its table."""
    return _rewrite(home, lambda text: without_channel(text, name))


def _rewrite(
    home: Path, changed: Callable[[str], str], check: Callable[[Settings], None] | None = None
) -> Settings:
    path = (home / "settings.toml").resolve()
    with _WRITING:
        try:
            old = path.read_bytes().decode()  # as it is: lines may end in their own way
        except FileNotFoundError:
            old = ""
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError(f"{path}: cannot be read ({error}); nothing was changed.") from error
        load(home, written=old)  # a file that is wrong already says so itself
        new = changed(old)
        settings = load(home, written=new)
        if check is not None:
            check(settings)
        if new != old:
            _replace(path, new)
    return settings


def _replace(path: Path, text: str) -> None:
    """All of the new text or all of the old, whatever happens. A new file is its owner's alone: secrets."""
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o600
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".settings-")
    except OSError as error:
        raise SettingsError(f"{path}: cannot be written ({error.strerror}); nothing was changed.") from error
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        Path(name).replace(path)
    except OSError as error:
        with suppress(OSError):
            Path(name).unlink()
        raise SettingsError(f"{path}: cannot be written ({error.strerror}); nothing was changed.") from error
