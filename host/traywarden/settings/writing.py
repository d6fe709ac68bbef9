"""Changes settings.toml and leaves everything else in it as it was: comments, order, blank lines.

One value is put into its line, or one line is added. The text is then read again, and must hold what the old
one held with this one change, else nothing is written: a file written in a way we cannot edit stays as it is.
"""

import copy
import json
import os
import re
import tempfile
import threading
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from traywarden.domain.telling_times import AT_ONCE
from traywarden.errors import SettingsError
from traywarden.settings.kinds import Secret
from traywarden.settings.loading import Settings, load

_HEADER = re.compile(r"\s*(\[{1,2})\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$")
_CHANNEL = "channel"
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


def add_channel(home: Path, name: str, url: str, least_severity: str, digest: str = AT_ONCE) -> Settings:
    """Add a way for notices at the end of settings.toml."""
    rows = {"name": name, "url": url, "least_severity": least_severity, "digest": digest}
    if digest == AT_ONCE:
        del rows["digest"]
    block = "".join(f"{key} = {_toml(value)}\n" for key, value in rows.items())
    return _rewrite(home, lambda text: f"{_ended(text)}\n[[{_CHANNEL}]]\n{block}")


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


def with_value(text: str, key: str, value: Any) -> str:
    """The text of a settings.toml with one value changed or added, and nothing else.

    >>> print(with_value('[display]  # on screen\\ntemperature = "C"  # or F\\n', "display.temperature", "F"))
    [display]  # on screen
    temperature = "F"  # or F
    <BLANKLINE>
    """
    section, name = key.split(".", 1)
    before = tomllib.loads(text)
    wanted = copy.deepcopy(before)
    wanted.setdefault(section, {})[name] = value.reveal() if isinstance(value, Secret) else value
    if wanted == before and _types(wanted) == _types(before):
        return text
    made = _edited(text, section, name, _toml(value))
    if made is None or not _reads_as(made, wanted):
        raise SettingsError(
            f"settings.toml is written in a way that cannot be edited here; change {key} in the file itself. "
            "Nothing was changed."
        )
    return made


def _edited(text: str, section: str, name: str, value: str) -> str | None:
    lines = text.splitlines(keepends=True)
    within, last_in_section, last_dotted = "", None, None
    own = re.compile(rf"\s*(?:{name}|\"{name}\"|'{name}')\s*=\s*")
    dotted = re.compile(rf"\s*{section}\s*\.\s*(?:{name}|\"{name}\"|'{name}')\s*=\s*")
    for number, line in enumerate(lines):
        if header := _HEADER.match(line.rstrip("\r\n")):
            within = header[2] if header[1] == "[" else f"[{header[2]}]"
            if within == section:
                last_in_section = number
            continue
        found = own.match(line) if within == section else dotted.match(line) if within == "" else None
        if found:
            lines[number] = found[0] + value + _after_value(line[found.end() :])
            return "".join(lines)
        if within == section and line.strip() and not line.lstrip().startswith("#"):
            last_in_section = number
        if within == "" and re.match(rf"\s*{section}\s*\.", line):
            last_dotted = number
    if last_in_section is not None:
        return _with_line(lines, last_in_section, f"{name} = {value}\n")
    if last_dotted is not None:
        return _with_line(lines, last_dotted, f"{section}.{name} = {value}\n")
    return f"{_ended(text)}{chr(10) if text.strip() else ''}[{section}]\n{name} = {value}\n"


def _with_line(lines: list[str], after: int, line: str) -> str:
    lines[after] = _ended(lines[after])
    return "".join([*lines[: after + 1], line, *lines[after + 1 :]])


def _after_value(rest: str) -> str:
    """What stands in a line behind its value: blanks, a comment, the line's end."""
    bare = rest.rstrip("\r\n")
    for end in [*(m.start() for m in re.finditer("#", bare)), len(bare)]:
        value = bare[:end].rstrip()
        with suppress(tomllib.TOMLDecodeError):
            tomllib.loads(f"value = {value}")
            return rest[len(value) :]
    return rest  # begins a value of several lines; what comes of it is found wrong when it is read again


def with_channel_rows(text: str, name: str, rows: Mapping[str, str]) -> str:
    """The text with these lines of the [[channel]] table of that name changed or added."""
    channels = tomllib.loads(text).get(_CHANNEL, [])
    index = next((i for i, row in enumerate(channels) if row.get("name") == name), None)
    if index is None:
        raise SettingsError(f"There is no channel called “{name}” in settings.toml.")
    wanted = copy.deepcopy(tomllib.loads(text))
    wanted[_CHANNEL][index] |= rows
    lines = text.splitlines(keepends=True)
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    tables = [n for n, m in headers if (m[1], m[2]) == ("[[", _CHANNEL)]
    if index < len(tables):
        for key, value in rows.items():
            end = next((n for n, _ in headers if n > tables[index]), len(lines))
            own = re.compile(rf"\s*{key}\s*=\s*")
            found = next((n for n in range(tables[index] + 1, end) if own.match(lines[n])), None)
            if found is not None and (begin := own.match(lines[found])):
                lines[found] = begin[0] + _toml(value) + _after_value(lines[found][begin.end() :])
                continue
            lines[tables[index]] = _ended(lines[tables[index]]) + f"{key} = {_toml(value)}\n"
            lines = "".join(lines).splitlines(keepends=True)
            headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
        made = "".join(lines)
        if _reads_as(made, wanted):
            return made
    raise SettingsError(
        "settings.toml is written in a way that cannot be edited here; change the channel in the file "
        "itself. Nothing was changed."
    )


def without_channel(text: str, name: str) -> str:
    """The text without the [[channel]] table of that name, up to the next table."""
    before = tomllib.loads(text)
    channels = before.get(_CHANNEL, [])
    index = next((i for i, row in enumerate(channels) if row.get("name") == name), None)
    if index is None:
        raise SettingsError(f"There is no channel called “{name}” in settings.toml.")
    lines = text.splitlines(keepends=True)
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    tables = [n for n, m in headers if (m[1], m[2]) == ("[[", _CHANNEL)]
    wanted = {**before, _CHANNEL: [row for i, row in enumerate(channels) if i != index]}
    if index < len(tables):
        start = tables[index]
        end = next((n for n, _ in headers if n > start), len(lines))
        while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1  # a comment before the next table is that table's
        made = "".join(lines[:start] + lines[end:])
        if _reads_as(made, wanted) or (not wanted[_CHANNEL] and _reads_as(made, _without(wanted, _CHANNEL))):
            return made
    raise SettingsError(
        "settings.toml is written in a way that cannot be edited here; take the channel out in the file "
        "itself. Nothing was changed."
    )


def _without(tree: Mapping[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in tree.items() if name != key}


def _reads_as(text: str, wanted: Mapping[str, Any]) -> bool:
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return read == wanted and _types(read) == _types(wanted)


def _types(value: Any) -> Any:
    """1, 1.0 and true are equal to Python, and not the same setting."""
    if isinstance(value, Mapping):
        return {key: _types(each) for key, each in value.items()}
    return [_types(each) for each in value] if isinstance(value, list) else type(value)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Secret):
        value = value.reveal()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else f"{text}\n"
