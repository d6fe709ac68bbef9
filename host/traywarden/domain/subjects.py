"""Subjects: what a rule asks about. A tray, a place, a probe, or the host itself."""

from enum import StrEnum
from typing import NamedTuple


class SubjectKind(StrEnum):
    TRAY = "tray"
    PLACE = "place"
    PROBE = "probe"
    HOST = "host"

    @property
    def many(self) -> str:
        """The word for several of them."""
        return f"{self.value}s"


class Subject(NamedTuple):
    """One thing that a rule is asked of. `number` is its id in the store; there is one host, number 0.

    Example
    -------
    >>> str(a_tray(3)), str(HOST), Subject.named("probe-7")
    ('tray-3', 'host', Subject(kind=<SubjectKind.PROBE: 'probe'>, number=7))
    """

    kind: SubjectKind
    number: int = 0

    def __str__(self) -> str:
        return self.kind.value if self.kind is SubjectKind.HOST else f"{self.kind.value}-{self.number}"

    @classmethod
    def named(cls, text: str) -> "Subject":
        """The subject that `str` wrote so.

        Raises
        ------
        ValueError
            When nothing is written so.
        """
        kind, _, number = text.partition("-")
        return HOST if text == SubjectKind.HOST else cls(SubjectKind(kind), int(number))


HOST = Subject(SubjectKind.HOST)


def a_tray(tray_id: int) -> Subject:
    return Subject(SubjectKind.TRAY, tray_id)
