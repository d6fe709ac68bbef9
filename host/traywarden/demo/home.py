"""The demo's home folder: made afresh, with what was played before kept aside in it; nothing is deleted."""

from pathlib import Path

from traywarden.errors import StoreError, UsageError
from traywarden.services.running import running_host

MARK_NAME = ".traywarden-demo"
_KEPT = "before"
_SETTINGS = """\
# The demo garden. Its broker takes a free port, so that it is in nobody's way.
[broker]
builtin = true
host = "127.0.0.1"
port = 0
"""


def fresh_home(home: Path) -> Path | None:
    """Make the folder ready for a new play; returns where an older play was put, if there was one.

    Raises UsageError where the folder holds something that no demo made, or a host runs in it.
    """
    try:
        return _fresh_home(home)
    except OSError as error:
        raise StoreError(
            f"The demo's folder {home} cannot be written to ({error.strerror}); name another with --home."
        ) from error


def _fresh_home(home: Path) -> Path | None:
    if home.exists() and not home.is_dir():
        raise UsageError(f"{home} is a file; name a folder for the demo with --home.")
    home.mkdir(parents=True, exist_ok=True)
    found = [path for path in home.iterdir() if path.name != MARK_NAME]
    if found and not (home / MARK_NAME).exists():
        raise UsageError(
            f"{home} holds something that no demo put there, and is left as it is; "
            "name another folder with --home."
        )
    if running_host(home) is not None:
        raise UsageError(f"A host runs in {home}; end that one first, or name another folder with --home.")
    older = [path for path in found if not path.name.startswith(f"{_KEPT}-")]
    aside: Path | None = None
    if older:
        aside = home / f"{_KEPT}-{1 + max((_number(path) for path in found), default=0)}"
        aside.mkdir()
        for path in older:
            path.rename(aside / path.name)
    (home / MARK_NAME).write_text(
        "Made by “traywarden demo”. The garden in here is made up.\n", encoding="utf-8"
    )
    (home / "settings.toml").write_text(_SETTINGS, encoding="utf-8")
    return aside


def _number(path: Path) -> int:
    kept, _, number = path.name.rpartition("-")
    return int(number) if kept == _KEPT and number.isdecimal() else 0
