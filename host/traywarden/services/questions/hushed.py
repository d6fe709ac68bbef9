"""What is hushed now: until when, by whom and why, and what it has kept quiet so far."""

from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.garden import Probe
from traywarden.domain.hushes import Hush
from traywarden.domain.notices import Hold, NoticeState
from traywarden.domain.subjects import SubjectKind
from traywarden.services.questions.ground import Ground
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store import probes as probe_store

MOST_HUSHES = 100


@dataclass(frozen=True, slots=True)
class HushLine:
    """One hush. `about`: “tray”, “place”, “probe”, “host” or “all”; `rule` empty: every rule.

    `ended`: when it was taken back.
    """

    hush: int
    about: str
    name: str
    rule: str
    since: datetime
    until: datetime
    who: str
    why: str
    ended: datetime | None
    holds: bool


@dataclass(frozen=True, slots=True)
class HushedAnswer:
    """What is hushed, the nearest end first; `held`: notices that wait for a hush to end."""

    at: datetime
    hushes: tuple[HushLine, ...]
    held: int


def ask_hushed(ground: Ground, *, everything: bool = False) -> HushedAnswer:
    """The hushes that hold now; with `everything` also those that are over, newest first."""
    found = (
        hush_store.newest(ground.tx, MOST_HUSHES)
        if everything
        else hush_store.holding(ground.tx, ground.now_ms)
    )
    held = notice_store.in_states(ground.tx, NoticeState.HELD)
    return HushedAnswer(
        ground.at(ground.now_ms),
        tuple(hush_line(ground, hush) for hush in found),
        sum(n.waits_for is Hold.HUSH for n in held),
    )


def hush_line(ground: Ground, hush: Hush) -> HushLine:
    about, name = "all", ""
    if hush.subject is not None:
        about, number = hush.subject.kind.value, hush.subject.number
        named = {
            SubjectKind.TRAY: ground.trays.get(number),
            SubjectKind.PLACE: ground.places.get(number),
            SubjectKind.PROBE: next((p for p in probe_store.probes(ground.tx) if p.probe_id == number), None),
        }.get(hush.subject.kind)
        name = str(hush.subject)
        if named is not None:
            name = named.called if isinstance(named, Probe) else named.name
    return HushLine(
        hush.hush_id,
        about,
        name,
        hush.rule or "",
        ground.at(hush.from_ms),
        ground.at(hush.until_ms),
        hush.who,
        hush.why,
        None if hush.ended_ms is None else ground.at(hush.ended_ms),
        hush.holds_at(ground.now_ms),
    )
