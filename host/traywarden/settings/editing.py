"""The text of a settings.toml with one line changed, added or taken out, and all else as it was.

What was made is read again, and must hold what the old text held with this one change.
"""

import copy
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import Any

from traywarden.errors import SettingsError
from traywarden.settings.kinds import Secret
from traywarden.settings.loading import general_key, whose

_QUOTED = r"""\"(?:[^"\\]|\\.)*\"|'[^']*'"""
_HEADER = re.compile(rf"\s*(\[{{1,2}})\s*((?:{_QUOTED}|[^\[\]\"'])+?)\s*\]{{1,2}}\s*(#.*)?$")
_GIVES = re.compile(rf"\s*((?:{_QUOTED}|[\w.\- \t])+?)\s*=\s*")
CANNOT_EDIT = (
    "settings.toml is written in a way that cannot be edited here; {} in the file itself. "
    "Nothing was changed."
)
CHANNEL = "channel"


def with_value(text: str, key: str, value: Any) -> str:
    """The text of a settings.toml with one value changed or added, and nothing else.

    >>> print(with_value('[display]  # on screen\\ntemperature = "C"  # or F\\n', "display.temperature", "F"))
    [display]  # on screen
    temperature = "F"  # or F
    <BLANKLINE>
    """
    *section, name = path_of(key)
    before = tomllib.loads(text)
    wanted = copy.deepcopy(before)
    table = wanted
    for part in section:
        table = table.setdefault(part, {})
    table[name] = value.reveal() if isinstance(value, Secret) else value
    if wanted == before and _types(wanted) == _types(before):
        return text
    made = _edited(text, tuple(section), name, toml_of(value))
    if made is None or not _reads_as(made, wanted):
        raise SettingsError(CANNOT_EDIT.format(f"change {key}"))
    return made


def without_value(text: str, key: str) -> str:
    """The text without the line of that value, and without its section's header where nothing else is there.

    >>> without_value("[dry]\\na = 1\\n[dry.crop.basil]\\nline_times = 0.8\\n", "dry.crop.basil.line_times")
    '[dry]\\na = 1\\n'
    """
    *section, name = path_of(key)
    wanted = copy.deepcopy(tomllib.loads(text))
    table = wanted
    for part in section:
        table = table.get(part, {})
    if name not in table:
        return text
    del table[name]
    lines = text.splitlines(keepends=True)
    number = next((n for n, path, _ in _assignments(lines) if path == (*section, name)), None)
    if number is not None:
        del lines[number]
        _drop_empty(lines, tuple(section))
        made = "".join(lines)
        if _read(made) is not None and _bare(_read(made)) == _bare(wanted):
            return made
    raise SettingsError(CANNOT_EDIT.format(f"take {key} out"))


def path_of(key: str) -> tuple[str, ...]:
    """The parts of a key; a crop's, a mix's or a stage's name is one part, whatever is in it.

    >>> path_of("broker.port"), path_of("dry.mix.Seed mix 2.0.line_times")
    (('broker', 'port'), ('dry', 'mix', 'Seed mix 2.0', 'line_times'))
    """
    if general_key(key) in (None, key):
        section, name = key.split(".", 1)
        return section, name
    return whose(key)


def _assignments(lines: list[str]) -> Iterator[tuple[int, tuple[str, ...], re.Match[str]]]:
    """Each line that gives a value: its number, the whole path of its key, and the line up to the value."""
    within: tuple[str, ...] = ()
    for number, line in enumerate(lines):
        if header := _HEADER.match(line.rstrip("\r\n")):
            within = _parts(header[2]) if header[1] == "[" else (f"[[{header[2]}]]",)
        elif found := _GIVES.match(line):
            yield number, (*within, *_parts(found[1])), found


def _parts(dotted: str) -> tuple[str, ...]:
    """The parts of a key as TOML reads them; itself where it is none."""
    try:
        table: Any = tomllib.loads(f"{dotted} = 0")
    except tomllib.TOMLDecodeError:
        return (dotted,)
    parts: list[str] = []
    while isinstance(table, dict):
        ((name, table),) = table.items()
        parts.append(name)
    return tuple(parts)


def _quoted(*parts: str) -> str:
    """A path as TOML writes it."""
    return ".".join(p if re.fullmatch(r"[A-Za-z0-9_-]+", p) else toml_of(p) for p in parts)


def _edited(text: str, section: tuple[str, ...], name: str, value: str) -> str | None:
    lines = text.splitlines(keepends=True)
    within_its: int | None = None  # the last line of the section under its own header
    dotted: tuple[int, str] | None = None  # the last line that reaches into it by a dotted key
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    for number, header in headers:
        if header[1] == "[" and _parts(header[2]) == section:
            within_its = number
    for number, path, found in _assignments(lines):
        if path == (*section, name):
            lines[number] = found[0] + value + _after_value(lines[number][found.end() :])
            return "".join(lines)
        own = _parts(found[1])
        if path[:-1] == section and len(own) == 1:
            within_its = number
        elif path[: len(section)] == section and len(own) > 1:
            before = len(path) - len(own)  # parts that the header has said already
            if before < len(section):
                dotted = number, _quoted(*section[before:], name)
    if within_its is not None:
        return _with_line(lines, within_its, f"{name} = {value}\n")
    if dotted is not None:
        return _with_line(lines, dotted[0], f"{dotted[1]} = {value}\n")
    return f"{ended(text)}{chr(10) if text.strip() else ''}[{_quoted(*section)}]\n{name} = {value}\n"


def _drop_empty(lines: list[str], section: tuple[str, ...]) -> None:
    """Take out the header of a section that has nothing left in it, not even a comment."""
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    for place, (number, header) in enumerate(headers):
        end = headers[place + 1][0] if place + 1 < len(headers) else len(lines)
        if header[1] == "[" and _parts(header[2]) == section and not "".join(lines[number + 1 : end]).strip():
            del lines[number:end]
            return


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _bare(table: Any) -> Any:
    """What is in a table, without tables that have nothing in them."""
    if not isinstance(table, dict):
        return table
    kept = {name: _bare(each) for name, each in table.items()}
    return {name: each for name, each in kept.items() if each != {}}


def _with_line(lines: list[str], after: int, line: str) -> str:
    lines[after] = ended(lines[after])
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
    channels = tomllib.loads(text).get(CHANNEL, [])
    index = next((i for i, row in enumerate(channels) if row.get("name") == name), None)
    if index is None:
        raise SettingsError(f"There is no channel called “{name}” in settings.toml.")
    wanted = copy.deepcopy(tomllib.loads(text))
    wanted[CHANNEL][index] |= rows
    lines = text.splitlines(keepends=True)
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    tables = [n for n, m in headers if (m[1], m[2]) == ("[[", CHANNEL)]
    if index < len(tables):
        for key, value in rows.items():
            end = next((n for n, _ in headers if n > tables[index]), len(lines))
            own = re.compile(rf"\s*{key}\s*=\s*")
            found = next((n for n in range(tables[index] + 1, end) if own.match(lines[n])), None)
            if found is not None and (begin := own.match(lines[found])):
                lines[found] = begin[0] + toml_of(value) + _after_value(lines[found][begin.end() :])
                continue
            lines[tables[index]] = ended(lines[tables[index]]) + f"{key} = {toml_of(value)}\n"
            lines = "".join(lines).splitlines(keepends=True)
            headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
        made = "".join(lines)
        if _reads_as(made, wanted):
            return made
    raise SettingsError(CANNOT_EDIT.format("change the channel"))


def without_channel(text: str, name: str) -> str:
    """The text without the [[channel]] table of that name, up to the next table."""
    before = tomllib.loads(text)
    channels = before.get(CHANNEL, [])
    index = next((i for i, row in enumerate(channels) if row.get("name") == name), None)
    if index is None:
        raise SettingsError(f"There is no channel called “{name}” in settings.toml.")
    lines = text.splitlines(keepends=True)
    headers = [(n, m) for n, line in enumerate(lines) if (m := _HEADER.match(line.rstrip("\r\n")))]
    tables = [n for n, m in headers if (m[1], m[2]) == ("[[", CHANNEL)]
    wanted = {**before, CHANNEL: [row for i, row in enumerate(channels) if i != index]}
    if index < len(tables):
        start = tables[index]
        end = next((n for n, _ in headers if n > start), len(lines))
        while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1  # a comment before the next table is that table's
        made = "".join(lines[:start] + lines[end:])
        if _reads_as(made, wanted) or (not wanted[CHANNEL] and _reads_as(made, _without(wanted, CHANNEL))):
            return made
    raise SettingsError(CANNOT_EDIT.format("take the channel out"))


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


def toml_of(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Secret):
        value = value.reveal()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def ended(text: str) -> str:
    return text if not text or text.endswith("\n") else f"{text}\n"
