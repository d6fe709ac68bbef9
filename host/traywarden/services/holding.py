"""Why something that could be told is not told yet: at one moment, for every channel."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time

from traywarden.domain.hushes import Hush, hushed_by
from traywarden.domain.notice_words import Reader
from traywarden.domain.notices import Hold
from traywarden.domain.subjects import Subject
from traywarden.domain.telling_times import NIGHT, QuietHours, clock_time, digest_times, next_digest
from traywarden.settings import Settings
from traywarden.store import hushes as hush_store
from traywarden.store.store import Tx


@dataclass(frozen=True, slots=True)
class Held:
    """What it waits for, and that in words."""

    waits_for: Hold
    why: str


CATCHING_UP = Held(Hold.READINGS, "waits until the tray's readings have caught up")
UNTOLD_START = Held(Hold.BEGINNING, "waits until its beginning has been told")
GATHERING = Held(Hold.OTHERS, "waits a little for others in the same place, to go together")
BEGINS_AGAIN = Held(Hold.BEGINNING, "waits until it is known whether it began again")
OVER = Held(Hold.NOTHING, "it is over")
"""It will not be told any more."""
TOGETHER = (Hold.QUIET, Hold.DIGEST)
"""What waited for one of these goes out as one notice."""
SPARED = {
    Hold.SHADOW: "not sent: it was over before it could be told by itself",
    Hold.HUSH: "not sent: it was over before its hush ended",
    Hold.QUIET: "not sent: it was over before the quiet hours were",
    Hold.DIGEST: "not sent: it was over before the digest",
    Hold.BEGINNING: "not sent: its beginning was not told either",
}


Shadow = Callable[[str, Subject], str]
"""Of a rule and a subject, why it is not told by itself now; empty where it is."""


def no_shadow(rule: str, subject: Subject) -> str:
    """Nothing keeps anything else from being told."""
    del rule, subject
    return ""


def spared_words(waited_for: Hold) -> str:
    """Why a notice that is over is not sent any more."""
    return SPARED.get(waited_for, "not sent: it was over before it was told")


@dataclass(frozen=True, slots=True)
class Timing:
    """Quiet hours, the digests of each channel, and how long what opens waits for others [ms]."""

    quiet: QuietHours = field(default_factory=QuietHours)
    digests: Mapping[str, Sequence[time]] = field(default_factory=dict)
    gather_ms: int = 0
    shared: bool = False
    """Whether the end of what is urgent is told also to those who may have answered it themselves."""

    @classmethod
    def of(cls, settings: Settings) -> "Timing":
        return cls(
            QuietHours(*(clock_time(settings[f"notices.quiet_{end}"]) for end in ("from", "until"))),
            {name: digest_times(digest) for name, (_, digest) in settings.ways_out.items()},
            round(settings["notices.gather_s"] * 1000),
            settings["notices.shared"],
        )

    def night(self, channel: str) -> QuietHours:
        """When what can wait does, though nobody said when they sleep: not where quiet hours or the channel’s
        digest say it."""
        return QuietHours() if self.quiet or self.digests.get(channel) else NIGHT


class Holding:
    """The hushes and the time of the day at one moment."""

    def __init__(
        self, hushes: Sequence[Hush], timing: Timing, reader: Reader, shadow: Shadow = no_shadow
    ) -> None:
        self._hushes, self._timing, self._reader, self._shadow = hushes, timing, reader, shadow
        self._quiet_until = timing.quiet.until(self._at(reader.now_ms))

    @classmethod
    def now(cls, tx: Tx, timing: Timing, reader: Reader, shadow: Shadow) -> "Holding":
        return cls(hush_store.holding(tx, reader.now_ms), timing, reader, shadow)

    def why(
        self,
        channel: str,
        severity: str,
        rule: str,
        subjects: Collection[Subject],
        since_ms: int,
        *,
        begins: bool = False,
    ) -> Held | None:
        """The reason to hold it, or None where it may be told.

        `subjects`: the one it is about first, then the place it stands in; `since_ms`: when it came up;
        `begins`: it is told for the first time.
        """
        if subjects and (dark := self._shadow(rule, next(iter(subjects)))):
            return Held(Hold.SHADOW, dark)
        hush = hushed_by(self._hushes, rule, subjects, self._reader.now_ms)
        if hush is not None:
            return Held(Hold.HUSH, hush_words(hush, self._reader))
        if severity == "urgent":
            return None
        if self._quiet_until is not None:
            return Held(Hold.QUIET, f"waits until the quiet hours end at {self._quiet_until:%H:%M}")
        morning = self._morning(channel) if begins and severity == "info" else None
        return morning or self._digest(channel, since_ms)

    def _morning(self, channel: str) -> Held | None:
        """What is for your information begins by day."""
        until = self._timing.night(channel).until(self._at(self._reader.now_ms))
        return None if until is None else Held(Hold.QUIET, f"waits until the morning, {until:%H:%M}")

    def _digest(self, channel: str, since_ms: int) -> Held | None:
        digest = next_digest(self._timing.digests.get(channel, ()), self._at(since_ms))
        set_back = since_ms > self._reader.now_ms  # what came up “later” by the clock waits no longer
        if digest is None or set_back or digest.timestamp() * 1000 <= self._reader.now_ms:
            return None
        return Held(Hold.DIGEST, f"goes with the digest at {digest:%H:%M}")

    def gathers(self, first_ms: int) -> Held | None:
        """Whether what opens still waits for others, of which the first came up then."""
        waits = 0 <= self._reader.now_ms - first_ms < self._timing.gather_ms
        return GATHERING if waits else None

    def _at(self, at_ms: int) -> datetime:
        return datetime.fromtimestamp(at_ms / 1000, self._reader.zone)


def hush_words(hush: Hush, reader: Reader) -> str:
    """“hushed until 18:00 by Ana: repotting”."""
    words = f"hushed until {reader.clock(hush.until_ms)} by {hush.who}"
    return f"{words}: {hush.why}" if hush.why else words
