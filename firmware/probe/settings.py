"""The probe's settings: one JSON file, checked against one table.

A bad file or message is refused whole, with every reason in words, and what was in force stays. The
passwords are never shown: print `masked(settings)`.
"""

import json

from probe.files import Files

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    Table = dict[str, Any]

# name, type, lowest or shortest, highest or longest, default, what it is
FIELDS = (
    ("name", str, 1, 63, "probe", "the probe's name on the wire: a–z, 0–9, - and _"),
    ("garden", str, 1, 63, "garden", "the garden's short name (`traywarden garden show`)"),
    ("board", str, 1, 40, "esp32-c3", "which row of `probe/boards.py` says where the pins are"),
    ("wifi.ssid", str, 0, 32, "", "the network's name; empty: no Wi-Fi, talk over USB"),
    ("wifi.password", str, 0, 63, "", "never printed"),
    (
        "wifi.address",
        str,
        0,
        15,
        "",
        "fixed address; empty: ask by DHCP. A fixed one saves a second of radio",
    ),
    ("wifi.mask", str, 0, 15, "255.255.255.0", "with a fixed address"),
    ("wifi.gateway", str, 0, 15, "", "with a fixed address"),
    ("wifi.dns", str, 0, 15, "", "with a fixed address"),
    ("broker.host", str, 0, 253, "", "name or address of the broker"),
    ("broker.port", int, 1, 65535, 1883, "8883 is usual with TLS"),
    ("broker.user", str, 0, 63, "", "empty: the broker asks for none"),
    ("broker.password", str, 0, 128, "", "never printed"),
    ("broker.tls", bool, 0, 0, False, "encrypted, and the broker proves who it is by `ca_file`"),
    ("broker.ca_file", str, 0, 64, "", "certificate (PEM or DER) on the probe that signed the broker's"),
    ("ntp.host", str, 0, 253, "pool.ntp.org", "time server; empty, or where it is silent, the host is asked"),
    ("ntp.every_s", int, 60, 604800, 900, "when connected, ask again if the last answer is older"),
    (
        "receipts",
        bool,
        0,
        0,
        True,
        "keep readings until the host says they are stored, not only until the broker has them",
    ),
    ("read_s", int, 5, 86400, 600, "measure this often"),
    ("send_s", int, 5, 604800, 3600, "send this often; a crossed limit is sent at once"),
    (
        "flush_n",
        int,
        1,
        24,
        6,
        "readings kept in RTC memory before they go to flash: the most a dead battery can cost",
    ),
    ("pack_n", int, 1, 40, 12, "readings in one message"),
    ("budget_s", int, 5, 300, 45, "longest time awake"),
    (
        "spool_bytes",
        int,
        16384,
        4194304,
        262144,
        "flash for readings that wait; when it is full the oldest go",
    ),
    (
        "set_up_s",
        int,
        0,
        4102444800,
        0,
        "when `traywarden probe set-up` last wrote here (seconds since 1970): now is later, as TLS must know",
    ),
    ("revision", int, 0, 2147483647, 0, "number of the settings message last taken from the host"),
)
SECRETS = ("wifi.password", "broker.password")
FROM_HOST = ("read_s", "send_s", "limits", "revision")
LIMITS = {
    "dry_v": (-0.5, 6.0),
    "hysteresis_v": (0.0, 2.0),
    "cold_c": (-50.0, 80.0),
    "hot_c": (-50.0, 80.0),
    "frost_c": (-50.0, 20.0),
    "hysteresis_c": (0.0, 20.0),
}
MOST_HEAD = 15
MOST_BYTES = 4096
PATH = "settings.json"

_NAME_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789-_"
_KINDS = {str: "text", int: "a whole number", bool: "true or false"}
_GROUPS = ("wifi", "broker", "ntp")


def defaults() -> "Table":
    """New settings, all at their defaults: no heads, no limits."""
    made: "Table" = {group: {} for group in _GROUPS}
    for name, _, _, _, default, _ in FIELDS:
        _put(made, name, default)
    made["heads"] = []
    made["limits"] = {}
    return made


def check(given: "Any", old: "Table") -> "tuple[Table, list[str]]":
    """Settings with what is given (JSON text or a dict; a part is enough) laid over the old ones.

    With any problem the old settings come back unchanged, and all problems in words.
    """
    given, problems = _read(given)
    if problems:
        return old, problems
    new = _copy(old)
    _take(given, "", new, problems)
    if new["send_s"] < new["read_s"] and not problems:
        problems.append(
            "send_s (%d) is shorter than read_s (%d); make it as long or longer"
            % (new["send_s"], new["read_s"])
        )
    return (old, problems) if problems else (new, [])


def check_from_host(given: "Any", old: "Table") -> "tuple[Table, list[str]]":
    """As `check`, for what the host may change from afar: nothing that could cut the probe off."""
    given, problems = _read(given)
    if not problems:
        problems = ["%s cannot be changed over MQTT; use USB" % key for key in given if key not in FROM_HOST]
    if problems:
        return old, problems
    return check(given, old)


def masked(settings: "Table") -> "Table":
    """A copy to show: passwords that are set are three stars."""
    shown: "Table" = _copy(settings)
    for name in SECRETS:
        group, key = name.split(".")
        if shown.get(group, {}).get(key):
            shown[group][key] = "***"
    return shown


def load(fs: Files, path: str = PATH) -> "tuple[Table, list[str]]":
    """The settings on flash over the defaults, and what is wrong with them in words.

    A bad file is refused whole; then the copy kept by the last `save` stands in.
    """
    problems: "list[str]" = []
    for name in (path, path + ".new", path + ".old"):
        try:
            with fs.open(name, "rb") as file:
                text = file.read(MOST_BYTES + 1)
        except OSError:
            continue
        found, wrong = check(text, defaults())
        if not wrong:
            return found, problems
        problems += ["%s: %s" % (name, why) for why in wrong]
    return defaults(), problems or ["there is no %s; `traywarden probe set-up` writes it" % path]


def save(fs: Files, settings: "Table", path: str = PATH) -> None:
    """Write the settings so that a cut leaves the old or the new ones. Raises OSError."""
    with fs.open(path + ".new", "wb") as file:
        file.write(json.dumps(settings).encode())
    # Not every file system renames over an existing file, so the old one steps aside first.
    for old, new in ((path, path + ".old"), (path + ".new", path)):
        try:
            fs.remove(new)
        except OSError:
            pass  # it is not there
        try:
            fs.rename(old, new)
        except OSError:
            if old != path:
                raise


def _read(given: "Any") -> "tuple[Table, list[str]]":
    """A dict from JSON text, with why not."""
    if not isinstance(given, dict):
        if len(given) > MOST_BYTES:
            return {}, ["longer than %d bytes" % MOST_BYTES]
        try:
            given = json.loads(given)
        except (ValueError, UnicodeError, RuntimeError):  # RuntimeError: nested too deep
            return {}, ["not JSON"]
    if not isinstance(given, dict):
        return {}, ["not a JSON object"]
    return given, []


def _take(given: "Table", prefix: str, new: "Table", problems: "list[str]") -> None:
    for key, value in given.items():
        name = prefix + key
        if name in _GROUPS:
            if isinstance(value, dict):
                _take(value, name + ".", new, problems)
            else:
                problems.append("%s must be an object" % name)
        elif name == "heads":
            why = _heads_problem(value)
            if why:
                problems.append("heads: " + why)
            else:
                new["heads"] = value
        elif name == "limits":
            whys = _limits_problems(value)
            problems += whys
            if not whys:
                new["limits"] = value
        else:
            for field in FIELDS:
                if field[0] == name:
                    why = _field_problem(field, value)
                    if why:
                        problems.append("%s %s" % (name, why))
                    else:
                        _put(new, name, value)
                    break
            else:
                problems.append("%s is not a setting" % name)


def _field_problem(field: "tuple[Any, ...]", value: "Any") -> str:
    name, kind, low, high, _, _ = field
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        return "must be %s" % _KINDS[kind]
    if kind is int and not low <= value <= high:
        return "is %d; it must lie between %d and %d" % (value, low, high)
    if kind is str:
        shown = "it" if name in SECRETS else repr(value)
        size = len(value.encode())
        if not low <= size <= high:
            return "has %d bytes; it must have %d to %d" % (size, low, high)
        if name in ("name", "garden"):
            letters = _NAME_LETTERS
            if value[0] in "-_" or [letter for letter in value if letter not in letters]:
                return "is %s; use a–z, 0–9, - and _, and begin with a letter or digit" % shown
        elif [letter for letter in value if ord(letter) < 32]:
            return "holds a control character"
    return ""


def _heads_problem(heads: "Any") -> str:
    if not isinstance(heads, list) or len(heads) > MOST_HEAD:
        return "must be a list of at most %d" % MOST_HEAD
    seen = []
    for head in heads:
        if not isinstance(head, dict):
            return "each must be an object"
        for key in head:
            if key not in ("number", "one_wire", "moisture"):
                return "%s is not known; number, one_wire and moisture are" % key
        number: "Any" = head.get("number")
        if not _is_whole(number, 1, MOST_HEAD) or number in seen:
            return "each needs a number of its own, 1 to %d" % MOST_HEAD
        seen.append(number)
        one_wire = head.get("one_wire")
        if one_wire is not None and (
            not isinstance(one_wire, str)
            or len(one_wire) != 16
            or [letter for letter in one_wire if letter not in "0123456789abcdef"]
        ):
            return "one_wire of head %d must be the sensor's 16 hex digits, or null" % number
        moisture = head.get("moisture")
        if moisture is not None and not _is_whole(moisture, 0, 7):
            return "moisture of head %d must be the number of its input, or null" % number
    return ""


def _limits_problems(limits: "Any") -> "list[str]":
    if not isinstance(limits, dict):
        return ["limits must be an object"]
    problems = []
    for head, kinds in limits.items():
        if head not in [str(number) for number in range(MOST_HEAD + 1)] or not isinstance(kinds, dict):
            problems.append('limits: write {"1": {"dry_v": …}} with a head of 0 to %d' % MOST_HEAD)
            continue
        for kind, value in kinds.items():
            if kind not in LIMITS:
                problems.append(
                    "limits of head %s: %s is not one of %s" % (head, kind, ", ".join(sorted(LIMITS)))
                )
            elif (
                isinstance(value, bool)
                or not isinstance(value, (int, float))
                or not (LIMITS[kind][0] <= value <= LIMITS[kind][1])
            ):
                problems.append(
                    "limits of head %s: %s must lie between %g and %g" % ((head, kind) + LIMITS[kind])
                )
    return problems


def _is_whole(value: "Any", low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _put(settings: "Table", name: str, value: "Any") -> None:
    parts = name.split(".")
    if len(parts) == 2:
        settings[parts[0]][parts[1]] = value
    else:
        settings[name] = value


def _copy(value: "Any") -> "Any":
    if isinstance(value, dict):
        return {key: _copy(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_copy(inner) for inner in value]
    return value
