"""Every error a user can meet.

TraywardenError
├── UsageError            the command or its arguments are wrong            exit 2
│   ├── UnknownNameError  no tray, place, crop … of that name; says what is near
│   └── NoGardenError     nobody has named the garden of this home yet
├── SettingsError         one or more settings are wrong; all listed at once exit 3
├── WireError             a message cannot be read; goes to quarantine       exit 4
├── ImportFileError       a logger file cannot be read                       exit 5
├── StoreError            the store cannot be reached, read or written       exit 6
│   ├── StoreBusyError      locked by another program; worth trying again
│   └── StoreFullError      no space, or read-only; needs a person
├── BrokerError           no broker, or it refused us                        exit 7
├── ChannelError          a notice could not be delivered                    exit 8
├── ShortOfDataError      the question cannot be answered from what is stored exit 9
└── BoardError            a board on the USB cable is not there, or does not do as asked exit 10

A message is one sentence: what is wrong, where (key and value), and what to do.
"""

import difflib
from collections.abc import Iterable

_LISTED_BY = {
    "tray": "tray list",
    "place": "place list",
    "mix": "mix list",
    "lot": "lot list",
    "crop": "crop list",
    "head": "probe list",
    "probe": "probe list",
    "notice": "notices --all",
    "rule": "notices rules",
}


class TraywardenError(Exception):
    exit_code = 1


class UsageError(TraywardenError):
    exit_code = 2


class UnknownNameError(UsageError):
    """No such tray, place, crop …; suggests the nearest known name."""

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        names = sorted(known)
        hint = did_you_mean(name, names)
        if not hint and kind in _LISTED_BY:
            hint = f"; see what there is with: traywarden {_LISTED_BY[kind]}"
        super().__init__(asked(f"There is no {kind} called “{name}”{hint}."))
        self.kind, self.name, self.known = kind, name, names


class NoGardenError(UsageError):
    """The home folder holds no garden yet."""

    def __init__(self, home: object) -> None:
        super().__init__(
            f"There is no garden in {home} yet; "
            'make one with: traywarden garden set "My garden" --time-zone Europe/Lisbon'
        )


class SettingsError(TraywardenError):
    exit_code = 3


class WireError(TraywardenError):
    exit_code = 4


class ImportFileError(TraywardenError):
    exit_code = 5


class StoreError(TraywardenError):
    exit_code = 6


class StoreBusyError(StoreError):
    pass


class StoreFullError(StoreError):
    pass


class BrokerError(TraywardenError):
    exit_code = 7


class ChannelError(TraywardenError):
    """`permanent` is true when trying again cannot help (refused address, bad credentials).

    `retry_after_s`: how long the other side asked us to wait, where it did.
    """

    exit_code = 8

    def __init__(self, message: str, *, permanent: bool = False, retry_after_s: float | None = None) -> None:
        super().__init__(message)
        self.permanent, self.retry_after_s = permanent, retry_after_s


class ShortOfDataError(TraywardenError):
    exit_code = 9


class BoardError(TraywardenError):
    exit_code = 10


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """“; did you mean …?” for the nearest known name, or the list when it is short, or nothing."""
    names = sorted(known)
    near = difflib.get_close_matches(name.casefold(), [n.casefold() for n in names], n=1, cutoff=0.6)
    if near:
        best = next(n for n in names if n.casefold() == near[0])
        return f"; did you mean “{best}”"
    if 0 < len(names) <= 12:
        return "; there is " + ", ".join(f"“{n}”" for n in names)
    return ""


def asked(sentence: str) -> str:
    """The sentence with a question mark where it ends by asking “did you mean …”."""
    clause = sentence.rpartition("; ")[2]
    return sentence.removesuffix(".") + "?" if clause.startswith("did you mean “") else sentence
