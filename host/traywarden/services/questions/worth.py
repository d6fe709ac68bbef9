"""Which notices led to something in the journal, by rule and subject; and what might spare the rest."""

import shlex
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.notice_words import rule_words
from traywarden.domain.notices import Notice, NoticeState, least_severe
from traywarden.domain.rules import AnyRule
from traywarden.domain.units import span_words
from traywarden.domain.worth import ANSWER_WITHIN_S, Case, longer_delay
from traywarden.services.asking.standing import paced_rules
from traywarden.services.deeds import deeds_for
from traywarden.services.delays import opening_key
from traywarden.services.judging import standing_rules
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import Ground
from traywarden.settings import BY_KEY, general_key, whose
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store.crops import crop_name, load_crops

DAYS = 60.0


@dataclass(frozen=True, slots=True)
class WorthLine:
    """One rule and subject. `answered`: told, and within `within_s` the journal has what is done about it."""

    rule: str
    words: str
    about: str
    name: str
    told: int
    answered: int
    within_s: float


@dataclass(frozen=True, slots=True)
class WorthRule:
    """One rule, of all it was told of. `in_vain`: of what it was told twice or more, and never answered."""

    rule: str
    words: str
    told: int
    answered: int
    within_s: float
    in_vain: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WorthProposal:
    """A setting that would have spared some: for a person to take or to leave.

    `setting`: the key by which those that it is about waited, so of one crop, mix or stage where they have
    their own; `of` is then the same for all, and `whom` says which, as “crop tomato”. `command` sets it.
    """

    rule: str
    setting: str
    of: str
    whom: str
    command: str
    now: float
    value: float
    says: str


@dataclass(frozen=True, slots=True)
class WorthAnswer:
    """`waiting`: told so lately that they may still be answered; they are not counted."""

    days: float
    rules: tuple[WorthRule, ...]
    lines: tuple[WorthLine, ...]
    waiting: int
    proposals: tuple[WorthProposal, ...]


def ask_worth(ground: Ground, days: float = DAYS) -> WorthAnswer:
    """Every episode that opened within so many days and was told over any channel, least answered first."""
    since_ms = ground.now_ms - round(days * 86_400_000)
    knowledge = Knowledge(ground.tx, load_crops())
    found = [e for e in episode_store.episodes(ground.tx) if since_ms <= e.opened_ms <= ground.now_ms]
    told = notice_store.about_all(ground.tx, (e.episode_id for e in found))
    by_key: dict[tuple[str, str], list[Case]] = {}
    cases: dict[tuple[str, str, str], list[Case]] = {}
    rules: list[AnyRule] = [*standing_rules(ground.settings)]
    rules += [each.rule for each in paced_rules(ground.settings)]
    own, severities = {rule.name: rule.severity for rule in rules}, dict[str, str]()
    waiting = 0
    for episode in found:
        mine = _tellings(told[episode.episode_id], episode)
        if not mine:
            continue
        told_ms = min(_told_ms(notice, episode, ground.now_ms) for notice in mine)
        # The rule's own: one notice may tell of several rules, and is as its worst.
        severity = own.get(episode.rule) or least_severe(n.severity for n in mine)
        severities[episode.rule] = severity
        until_ms = told_ms + round(ANSWER_WITHIN_S[severity] * 1000)
        answered = any(told_ms <= e.at_ms <= until_ms for e in deeds_for(knowledge, episode))
        if not answered and until_ms > ground.now_ms:
            waiting += 1
            continue
        lasted_s = None if episode.closed_ms is None else (episode.closed_ms - episode.opened_ms) / 1000
        kind = episode.subject.kind.value
        key = (episode.rule, kind, knowledge.name_of(episode.subject))
        case = Case(answered, lasted_s)
        cases.setdefault(key, []).append(case)
        waited = opening_key(
            episode.rule,
            ground.settings.levels(episode.rule),
            knowledge,
            episode.subject,
            episode.opened_ms,
        )
        by_key.setdefault((episode.rule, waited), []).append(case)
    lines = [
        WorthLine(
            rule,
            rule_words(rule),
            about,
            name,
            len(of),
            sum(case.answered for case in of),
            ANSWER_WITHIN_S[severities[rule]],
        )
        for (rule, about, name), of in cases.items()
    ]
    lines.sort(key=lambda line: (line.answered / line.told, -line.told, line.rule, line.name))
    proposals = tuple(_proposals(ground, by_key, severities))
    return WorthAnswer(days, by_rule(lines), tuple(lines), waiting, proposals)


def by_rule(lines: Iterable[WorthLine]) -> tuple[WorthRule, ...]:
    """Each rule by itself, least answered first."""
    rules: dict[str, list[WorthLine]] = {}
    for line in lines:
        rules.setdefault(line.rule, []).append(line)
    found = [
        WorthRule(
            rule,
            mine[0].words,
            sum(line.told for line in mine),
            sum(line.answered for line in mine),
            mine[0].within_s,
            tuple(sorted(line.name for line in mine if line.told > 1 and not line.answered)),
        )
        for rule, mine in rules.items()
    ]
    return tuple(sorted(found, key=lambda each: (each.answered / each.told, -each.told, each.rule)))


def _proposals(
    ground: Ground, cases: Mapping[tuple[str, str], list[Case]], severities: Mapping[str, str]
) -> Iterable[WorthProposal]:
    for (name, key), mine in cases.items():
        of = general_key(key) or key
        if of not in BY_KEY:
            continue
        open_delay_s: float = ground.settings.overrides.get(key, ground.settings[of])
        better = longer_delay(mine, severity=severities[name], open_delay_s=open_delay_s)
        if better is None:
            continue
        _, kind, which, _ = whose(key) if key != of else ("", "", "", "")
        answered = sum(case.answered for case in mine)
        now, then = span_words(open_delay_s), span_words(better.open_delay_s)
        by = f" of {kind} {crop_name(which) if kind == 'crop' else which.replace('_', ' ')}" if kind else ""
        says = (
            f"Of {len(mine)} notices “{rule_words(name)}”{by} {answered} led to something being done. Told "
            f"only after {then} instead of {now}, {better.spared} of those nobody acted on would not have "
            "come; every one that led to something would, by so much later."
        )
        words = ["traywarden", "notices", "set", of, f"{better.open_delay_s:g}"]
        command = shlex.join([*words, *([f"--{kind}", which] if kind else [])])
        whom = f"{kind} {which}" if kind else ""
        yield WorthProposal(name, key, of, whom, command, open_delay_s, better.open_delay_s, says)


def _tellings(notices: Iterable[Notice], episode: Episode) -> list[Notice]:
    """What told the beginning, over any channel."""
    opened = (episode.episode_id, ChangeKind.OPENED)
    return [n for n in notices if n.state is NoticeState.SENT and opened in n.changes]


def _told_ms(notice: Notice, episode: Episode, now_ms: int) -> int:
    """When, by the garden's clock.

    Deliveries are dated by the system's clock, which is another in a garden that is played. What is over is
    not told any more: one sent later than that, or in the garden's future, was sent by another clock.
    """
    until_ms = now_ms if episode.closed_ms is None else min(now_ms, episode.closed_ms)
    sent_ms = notice.sent_ms
    return sent_ms if sent_ms is not None and notice.created_ms <= sent_ms <= until_ms else notice.created_ms
