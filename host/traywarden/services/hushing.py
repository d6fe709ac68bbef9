"""Hush and take it back: what is muted is checked, kept, and what was about to be sent about it is held."""

import getpass
from dataclasses import dataclass
from datetime import tzinfo
from zoneinfo import ZoneInfo

from traywarden.domain.hushes import Hush
from traywarden.domain.journal import Facts
from traywarden.domain.notice_words import Reader
from traywarden.domain.notices import Hold, NoticeState
from traywarden.domain.subjects import Subject, SubjectKind, a_tray
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.holding import hush_words
from traywarden.services.until import parse_until
from traywarden.settings import BY_KEY, Settings
from traywarden.store import episodes as episode_store
from traywarden.store import garden as garden_store
from traywarden.store import hushes as hush_store
from traywarden.store import journal as journal_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

LONGEST_WHY, LONGEST_WHO = 400, 80


@dataclass(frozen=True, slots=True)
class Wish:
    """What to hush: a tray, a place, or all of it; every rule or one; until when, by whom and why."""

    until: str
    tray: str = ""
    place: str = ""
    everything: bool = False
    rule: str = ""
    who: str = ""
    why: str = ""


def put_hush(tx: Tx, wish: Wish, settings: Settings, now_ms: int) -> Hush:
    """Keep the hush, and hold what waits to be sent about it.

    Raises UsageError, UnknownNameError where the wish cannot be read.
    """
    if (bool(wish.tray) + bool(wish.place) + wish.everything) != 1:
        raise UsageError("Say what to hush: a tray, a place, or all of it.")
    rules = rule_names()
    if wish.rule and wish.rule not in rules:
        raise UnknownNameError("rule", wish.rule, rules)
    zone = _zone(tx)
    until_ms = parse_until(wish.until, now_ms=now_ms, zone=zone)
    subject: Subject | None = None
    if wish.tray:
        subject = a_tray(garden_store.tray_named(tx, wish.tray).tray_id)
    elif wish.place:
        subject = Subject(SubjectKind.PLACE, garden_store.place_named(tx, wish.place).place_id)
    return hush_subject(
        tx, subject, wish.rule, until_ms, wish.who or whoever(), wish.why, zone=zone, now_ms=now_ms
    )


def hush_subject(
    tx: Tx,
    subject: Subject | None,
    rule: str,
    until_ms: int,
    who: str,
    why: str = "",
    *,
    zone: tzinfo,
    now_ms: int,
) -> Hush:
    """Hush a subject of any kind, None: all of it; one rule, or with an empty one every rule."""
    who, why = (" ".join(text.split()) for text in (who, why))
    if len(who) > LONGEST_WHO or len(why) > LONGEST_WHY:
        raise UsageError(
            f"That is too long: {LONGEST_WHO} characters for who, {LONGEST_WHY} for why are enough."
        )
    hush = hush_store.put(tx, rule or None, subject, now_ms, until_ms, who, why)
    _hold_back(tx, hush, zone, now_ms)
    return hush


def end_hush(tx: Tx, hush_id: int, who: str, now_ms: int) -> Hush:
    """Take a hush back: what it kept quiet and still holds is told. Raises where it is over already."""
    hush = hush_store.hush_numbered(tx, hush_id)
    if not hush.holds_at(now_ms):
        raise UsageError(f"Hush {hush_id} is over already.")
    hush_store.end(tx, hush_id, now_ms, " ".join(who.split())[:LONGEST_WHO] or whoever())
    return hush_store.hush_numbered(tx, hush_id)


def rule_names() -> list[str]:
    """Every rule there is: each has a delay in the settings."""
    delay = ".open_delay_s"
    return [key.removesuffix(delay) for key in BY_KEY if key.endswith(delay)]


def whoever() -> str:
    """The account that runs this, where nobody says who they are."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "somebody"


def _zone(tx: Tx) -> ZoneInfo:
    garden = garden_store.the_garden(tx)
    return ZoneInfo(garden.time_zone if garden else "UTC")


def _hold_back(tx: Tx, hush: Hush, zone: tzinfo, now_ms: int) -> None:
    """What was about to be sent about anything that is hushed waits as well: what is not is let go again."""
    waiting = notice_store.in_states(tx, NoticeState.WAITING)
    if not waiting:
        return
    known = episode_store.episodes_named(tx, (named for n in waiting for named, _ in n.changes))
    facts = journal_store.facts(tx)
    words = hush_words(hush, Reader(now_ms, zone))
    for notice in waiting:
        mine = [known[named] for named, _ in notice.changes if named in known]
        if any(hush.covers(e.rule, subjects_at(facts, e.subject, now_ms)) for e in mine):
            notice_store.hold(tx, notice.notice_id, Hold.HUSH, words)


def subjects_at(facts: Facts, subject: Subject, at_ms: int) -> tuple[Subject, ...]:
    """By what a hush may name it: itself, and the place where a tray stands."""
    place_id = facts.place_of_tray(subject.number, at_ms) if subject.kind is SubjectKind.TRAY else None
    return (subject,) if place_id is None else (subject, Subject(SubjectKind.PLACE, place_id))
