"""Why something that could be told is not told yet: at one moment, for every channel."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from traywarden.domain.hushes import Hush, hushed_by
from traywarden.domain.notice_words import Reader
from traywarden.domain.notices import Hold
from traywarden.domain.subjects import Subject
from traywarden.store import hushes as hush_store
from traywarden.store.store import Tx


@dataclass(frozen=True, slots=True)
class Held:
    """What it waits for, and that in words."""

    waits_for: Hold
    why: str


CATCHING_UP = Held(Hold.READINGS, "held until the tray's readings have caught up")
UNTOLD_START = Held(Hold.BEGINNING, "held until its beginning has been told")
OVER = Held(Hold.NOTHING, "it is over")
"""It will not be told any more."""
SPARED = {
    Hold.HUSH: "not sent: it was over before its hush ended",
    Hold.BEGINNING: "not sent: its beginning was not told either",
}


def spared_words(waited_for: Hold) -> str:
    """Why a notice that is over is not sent any more."""
    return SPARED.get(waited_for, "not sent: it was over before it was told")


class Holding:
    """The hushes of one moment."""

    def __init__(self, hushes: Sequence[Hush], reader: Reader) -> None:
        self._hushes, self._reader = hushes, reader

    @classmethod
    def now(cls, tx: Tx, reader: Reader) -> "Holding":
        return cls(hush_store.holding(tx, reader.now_ms), reader)

    def why(self, rule: str, subjects: Collection[Subject]) -> Held | None:
        """The reason to hold it, or None where it may be told."""
        hush = hushed_by(self._hushes, rule, subjects, self._reader.now_ms)
        return None if hush is None else Held(Hold.HUSH, hush_words(hush, self._reader))


def hush_words(hush: Hush, reader: Reader) -> str:
    """“hushed until 18:00 by Ana: repotting”."""
    words = f"hushed until {reader.clock(hush.until_ms)} by {hush.who}"
    return f"{words}: {hush.why}" if hush.why else words
