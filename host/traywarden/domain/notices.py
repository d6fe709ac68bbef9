"""Notices: what is told over one channel, how far it has come, and when to try again."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.severities import SEVERITIES

_WORDS = {"info": "for your information", "warning": "soon", "urgent": "urgent"}


class NoticeState(StrEnum):
    HELD = "held"  # not yet: `trouble` says what it waits for
    WAITING = "waiting"  # to be sent at `next_try_ms`
    SENT = "sent"  # the channel has confirmed it
    PARKED = "parked"  # given up until a person looks: `trouble` says why
    SPARED = "spared"  # never sent, as it was over before it could be told: `trouble` says why


OPEN_STATES = (NoticeState.HELD, NoticeState.WAITING, NoticeState.PARKED)
"""What still needs sending, or a person."""


class Hold(StrEnum):
    """What a held notice waits for."""

    NOTHING = ""
    READINGS = "readings"  # the tray's readings have not caught up yet
    BEGINNING = "beginning"  # the beginning of the episode has not been told yet
    SHADOW = "shadow"  # something else, told already, keeps it from being seen
    HUSH = "hush"
    QUIET = "quiet hours"
    DIGEST = "digest"
    OTHERS = "others nearby"  # that may come within the gathering time, to go together


@dataclass(frozen=True, slots=True)
class Notice:
    """One or more changes of episodes, told over one channel. The id is on every attempt."""

    notice_id: str
    channel: str
    severity: str
    title: str
    body: str
    changes: tuple[tuple[str, ChangeKind], ...]
    created_ms: int
    state: NoticeState
    attempts: int = 0
    next_try_ms: int = 0
    sent_ms: int | None = None
    trouble: str = ""
    waits_for: Hold = Hold.NOTHING


def severity_words(severity: str) -> str:
    """How soon a notice wants somebody.

    >>> [severity_words(each) for each in SEVERITIES]
    ['for your information', 'soon', 'urgent']
    """
    return _WORDS[severity]


def takes_words(least_severity: str) -> str:
    """What goes over a channel that takes this and up.

    >>> [takes_words(each) for each in SEVERITIES]
    ['everything', 'what is wanted soon or is urgent', 'only what is urgent']
    """
    return {
        "info": "everything",
        "warning": "what is wanted soon or is urgent",
        "urgent": "only what is urgent",
    }[least_severity]


def most_severe(severities: Iterable[str]) -> str:
    """The most severe of several.

    >>> most_severe(["info", "urgent", "warning"])
    'urgent'
    """
    return max(severities, key=SEVERITIES.index)


def least_severe(severities: Iterable[str]) -> str:
    """The least severe of several.

    >>> least_severe(["warning", "urgent"])
    'warning'
    """
    return min(severities, key=SEVERITIES.index)


def passes(severity: str, least_severity: str) -> bool:
    """Whether something of that severity goes to a channel that takes `least_severity` and up."""
    return SEVERITIES.index(severity) >= SEVERITIES.index(least_severity)


def retry_after_ms(
    attempts: int, *, first_retry_s: float, longest_retry_s: float, told_s: float | None = None
) -> int:
    """How long to wait before the next try.

    Parameters
    ----------
    attempts : int
        Failed attempts so far, at least 1.
    first_retry_s, longest_retry_s : float
        Wait after the first failure and longest wait [s]; the wait doubles in between.
    told_s : float or None
        What the channel itself asked for (Retry-After) [s]; never undercut, never over a day.

    Returns
    -------
    int [ms]

    Example
    -------
    >>> [retry_after_ms(n, first_retry_s=30, longest_retry_s=100) // 1000 for n in (1, 2, 3)]
    [30, 60, 100]
    """
    doubled_s = first_retry_s * 2.0 ** min(attempts - 1, 40)
    wait_s = min(doubled_s, longest_retry_s)
    if told_s is not None:
        wait_s = max(wait_s, min(told_s, 86_400.0))
    return round(wait_s * 1000)
