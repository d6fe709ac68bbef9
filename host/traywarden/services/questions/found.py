"""What the host holds now of the rules it asks at their own pace: frames, frost, rain, probes, itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.episodes import Episode
from traywarden.domain.hushes import Hush, hushed_by
from traywarden.domain.notice_words import SAYINGS
from traywarden.domain.rules import Answer, Facts, what_to_do
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.asking.standing import paced_rules
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import Ground
from traywarden.store import episodes as episode_store

SHOWN_OTHERWISE = ("drying", "late", "parked")
"""What today shows by itself: trays soon dry, seed that is late, channels that fail."""
LONGEST_UNASKED_MS = 21_600_000
"""What was last found so long ago is not said of now: the host may have stood still."""


@dataclass(frozen=True, slots=True)
class Hushed:
    """Nothing is sent about it until then; `hush` is the number that takes it back."""

    hush: int
    until: datetime
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class Found:
    """One thing the host has found. `about`: tray, place, probe or host; `name`: what it is called."""

    about: str
    name: str
    place: str | None
    rule: str
    severity: str
    what: str
    why: str
    source: str
    since: datetime
    for_s: float
    do: str
    facts: Facts
    hushed: Hushed | None


def found_now(ground: Ground, knowledge: Knowledge, hushes: Sequence[Hush], tray: str = "") -> list[Found]:
    """Open episodes of rules that are asked every so often; of one tray, or all.

    The words and numbers are those with which each was found. Nothing where the host has not asked lately.
    """
    rules = {asked.rule.name: asked.rule for asked in paced_rules(ground.settings)}
    kept = [
        e
        for e in episode_store.episodes(ground.tx, open_only=True)
        if e.rule in rules and e.rule not in SHOWN_OTHERWISE and _known(e.subject, knowledge)
    ]
    if not kept:
        return []
    states = episode_store.rule_states(ground.tx)
    found = []
    for episode in kept:
        rule, subject = rules[episode.rule], episode.subject
        state, _ = states.get((episode.rule, subject), (None, None))
        lately = state is not None and ground.now_ms - state.judged_to_ms <= LONGEST_UNASKED_MS
        if not lately or state is None or state.answer is Answer.NO:
            continue
        name, place = knowledge.name_of(subject), knowledge.where(subject, ground.now_ms)
        if tray and (subject.kind is not SubjectKind.TRAY or name != tray):
            continue
        about = (subject,) if place is None else (subject, Subject(SubjectKind.PLACE, place.place_id))
        found.append(
            Found(
                subject.kind.value,
                name,
                place.name if place is not None and place.name != name else None,
                rule.name,
                rule.severity,
                SAYINGS[rule.name].title,
                state.reason if state.answer is Answer.YES else _why(episode, rule.question),
                str(episode.facts.get("source") or ""),
                ground.at(episode.opened_ms),
                (ground.now_ms - episode.opened_ms) / 1000,
                what_to_do(episode.facts, ground.now_ms),
                episode.facts,
                hushed(ground, hushed_by(hushes, rule.name, about, ground.now_ms)),
            )
        )
    return found


def _why(episode: Episode, question: str) -> str:
    """What it was told by; what is asked, where that is not known."""
    return str(episode.facts.get("reason") or question)


def hushed(ground: Ground, hush: Hush | None) -> Hushed | None:
    """The hush as a person reads it."""
    return None if hush is None else Hushed(hush.hush_id, ground.at(hush.until_ms), hush.who, hush.why)


def _known(subject: Subject, knowledge: Knowledge) -> bool:
    try:
        knowledge.name_of(subject)
    except KeyError:
        return False
    return True
