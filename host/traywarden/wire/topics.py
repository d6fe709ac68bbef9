"""Topics: `traywarden/v1/<garden>/<probe>/<kind>`; a garden or probe that is not a plain name is refused."""

import re
from typing import NamedTuple

from traywarden.errors import WireError

PREFIX = "traywarden/v1"
READINGS, STATE, RECEIPT, SETTINGS = KINDS = ("readings", "state", "receipt", "settings")
NAME_RE = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
_LONGEST_TOPIC = len(PREFIX) + 1 + 63 + 1 + 63 + 1 + max(map(len, KINDS))


class Topic(NamedTuple):
    garden: str
    probe: str
    kind: str


def checked_name(kind: str, name: str) -> str:
    """The name itself, if it can stand in a topic; WireError with the rule if it cannot."""
    if NAME_RE.fullmatch(name) is None:
        raise WireError(
            f"The {kind} name {name[:80]!r} cannot stand in a topic; use 1 to 63 of a–z, 0–9, “-” and “_”, "
            "beginning with a letter or digit."
        )
    return name


def _topic(garden: str, probe: str, kind: str) -> str:
    return f"{PREFIX}/{checked_name('garden', garden)}/{checked_name('probe', probe)}/{kind}"


def readings_topic(garden: str, probe: str) -> str:
    """Where a probe publishes packs of readings."""
    return _topic(garden, probe, READINGS)


def state_topic(garden: str, probe: str) -> str:
    """Where a probe says, retained, whether it is awake, asleep or lost."""
    return _topic(garden, probe, STATE)


def receipt_topic(garden: str, probe: str) -> str:
    """Where the host says which readings are safely stored."""
    return _topic(garden, probe, RECEIPT)


def settings_topic(garden: str, probe: str) -> str:
    """Where the host leaves, retained, how often the probe is to measure and send."""
    return _topic(garden, probe, SETTINGS)


def notices_topic(garden: str) -> str:
    """Where the host publishes notices, where it is asked to."""
    return f"{PREFIX}/{checked_name('garden', garden)}/notices"


def every_probe(garden: str, kind: str) -> str:
    """The subscription that hears one kind of message from every probe of a garden."""
    return f"{PREFIX}/{checked_name('garden', garden)}/+/{kind}"


def parse(topic: str) -> Topic:
    """Take a topic apart; WireError when it is none of ours."""
    parts = topic.split("/") if len(topic) <= _LONGEST_TOPIC else []
    if len(parts) != 5 or not topic.startswith(PREFIX + "/") or parts[4] not in KINDS:
        raise WireError(
            f"The topic {topic[:120]!r} is not one of ours; "
            f"use {PREFIX}/<garden>/<probe>/<{' or '.join(KINDS)}>."
        )
    return Topic(checked_name("garden", parts[2]), checked_name("probe", parts[3]), parts[4])
