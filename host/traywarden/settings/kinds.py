"""What a setting is: a row of the table, the check of its value, a secret, a channel."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from traywarden.domain.telling_times import AT_ONCE, clock_time, digest_times


class Secret(str):
    """A string that prints as dots. `reveal()` where the value itself is needed."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "'•••'" if self else "''"

    def __str__(self) -> str:
        return "•••" if self else ""

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    def reveal(self) -> str:
        return "".join(self)


@dataclass(frozen=True, slots=True)
class Channel:
    """One way a notice reaches the grower: an address that `apprise` understands.

    `digest`: “at once”, or when what is not urgent goes out together (domain/telling_times.py).
    """

    name: str
    url: Secret
    least_severity: str = "info"
    digest: str = AT_ONCE


@dataclass(frozen=True, slots=True)
class Setting:
    """One row of the table. `check` returns what is wrong with a value, or None."""

    key: str
    kind: type
    default: Any
    unit: str
    says: str
    check: Callable[[Any], str | None] | None = None
    varies: bool = False
    """Whether it may be given for a crop, a mix or a stage too, as in [dry.crop.lettuce]."""


@dataclass(frozen=True, slots=True)
class OneOf:
    """The check of a value that is one of a few; what they are can be shown to choose from."""

    allowed: tuple[str, ...]

    def __call__(self, value: Any) -> str | None:
        return None if value in self.allowed else "use one of " + ", ".join(self.allowed)


def clock_or_empty(value: Any) -> str | None:
    """The check of a clock time that may be left out."""
    return None if value == "" or clock_time(value) else "use a clock time such as 22:00, or nothing"


def digest(value: Any) -> str | None:
    """The check of when a way out sends what is not urgent."""
    try:
        digest_times(value if isinstance(value, str) else "")
    except ValueError as error:
        return str(error)
    return None


def address_or_empty(value: Any) -> str | None:
    """The check of a web address that may be left out: of pages, without user, query or fragment."""
    parts = urlsplit(value)
    plain = parts.scheme in ("http", "https") and parts.hostname and "@" not in parts.netloc
    if value == "" or (plain and not parts.query and not parts.fragment and not re.search(r"\s", value)):
        return None
    return "use an address such as http://192.168.1.5:8470, or nothing"


def one_of(*allowed: str) -> OneOf:
    return OneOf(allowed)


@dataclass(frozen=True, slots=True)
class Between:
    """The check of a number with bounds; they can be told in another unit."""

    low: float
    high: float

    def __call__(self, value: Any) -> str | None:
        return None if self.low <= value <= self.high else f"use a number from {self.low:g} to {self.high:g}"


@dataclass(frozen=True, slots=True)
class ZeroOr:
    """The same where 0 is a number of its own."""

    low: float
    high: float

    def __call__(self, value: Any) -> str | None:
        if value == 0 or self.low <= value <= self.high:
            return None
        return f"use 0 or a number from {self.low:g} to {self.high:g}"


def between(low: float, high: float) -> Between:
    return Between(low, high)


def zero_or(low: float, high: float) -> ZeroOr:
    return ZeroOr(low, high)
