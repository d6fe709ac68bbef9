"""What was told, what waits, and the chain behind a notice: readings → verdict → episode → attempts."""

from collections.abc import Mapping
from dataclasses import dataclass

from traywarden.domain.episodes import Episode
from traywarden.domain.notices import OPEN_STATES, Notice, NoticeState
from traywarden.domain.rules import AnyRule, Facts
from traywarden.domain.subjects import SubjectKind
from traywarden.services.asking.standing import paced_rules
from traywarden.services.judging import standing_rules
from traywarden.services.knowledge import Knowledge
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Tx

AROUND_MS = 3_600_000
MOST_READINGS = 12


@dataclass(frozen=True, slots=True)
class EpisodeLine:
    """One episode a notice tells of, and which of its changes. `of`: what kind of thing its subject is."""

    episode_id: str
    change: str
    rule: str
    of: str
    subject: str
    place: str | None
    opened_ms: int
    closed_ms: int | None
    why: str


@dataclass(frozen=True, slots=True)
class NoticeLine:
    """One notice. `trouble`: why it is held, why the last attempt failed, or why it was parked."""

    notice_id: str
    state: str
    channel: str
    severity: str
    title: str
    body: str
    created_ms: int
    attempts: int
    next_try_ms: int | None
    sent_ms: int | None
    trouble: str
    episodes: list[EpisodeLine]

    @property
    def became(self) -> str:
        """What became of it, and why: “sent”, “parked: the reason”; how often it was tried."""
        if self.trouble and self.state in (NoticeState.HELD, NoticeState.SPARED):
            return self.trouble  # it says that it waits or was not sent, and why
        why = f": {self.trouble}" if self.trouble else ""
        if self.next_try_ms is None:
            return f"{self.state}{why}"
        return f"tried {'once' if self.attempts == 1 else f'{self.attempts} times'}, and will be again{why}"


@dataclass(frozen=True, slots=True)
class NoticesAnswer:
    """Notices, newest first, and how many are in each state; `left_out`: older ones of those asked for."""

    counts: dict[str, int]
    notices: list[NoticeLine]
    left_out: int


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    """One head at one instant around the moment an episode began."""

    at_ms: int
    head: str
    moisture_m3_m3: float | None
    soil_temp_c: float | None


@dataclass(frozen=True, slots=True)
class Link:
    """One episode's part of the chain: what was measured, what the rule asked and answered, the numbers."""

    episode: EpisodeLine
    question: str
    open_delay_s: float
    decided_ms: int | None
    facts: Facts
    readings: list[MeasuredLine]


@dataclass(frozen=True, slots=True)
class ChainAnswer:
    notice: NoticeLine
    links: list[Link]


def ask_notices(tx: Tx, limit: int, *, with_sent: bool) -> NoticesAnswer:
    """The newest notices; without the sent ones only what still needs sending or a person."""
    found = notice_store.listed(tx, limit, with_sent=with_sent)
    lines = _Lines(tx, found)
    counts = notice_store.counts(tx)
    asked_for = sum(number for state, number in counts.items() if with_sent or state in OPEN_STATES)
    return NoticesAnswer(
        {state.value: number for state, number in counts.items()},
        [lines.notice(n) for n in found],
        asked_for - len(found),
    )


def ask_chain(tx: Tx, settings: Settings, notice_id: str) -> ChainAnswer:
    """Everything behind one notice, from the readings on."""
    notice = notice_store.notice_named(tx, notice_id)
    lines = _Lines(tx, [notice])
    rules: dict[str, AnyRule] = {rule.name: rule for rule in standing_rules(settings)}
    rules |= {asked.rule.name: asked.rule for asked in paced_rules(settings)}
    links = []
    for line in lines.notice(notice).episodes:
        episode = lines.episodes[line.episode_id]
        rule = rules.get(episode.rule)
        decided = episode.facts.get("decided_ms")
        links.append(
            Link(
                line,
                rule.question if rule else "",
                rule.open_delay_s if rule else 0.0,
                int(decided) if isinstance(decided, int | float) else None,
                {k: v for k, v in episode.facts.items() if k not in ("decided_ms", "reason")},
                lines.measured(tx, settings, episode),
            )
        )
    return ChainAnswer(lines.notice(notice), links)


class _Lines:
    """Looks up once what the lines of several notices need."""

    def __init__(self, tx: Tx, notices: list[Notice]) -> None:
        self.episodes: Mapping[str, Episode] = episode_store.episodes_named(
            tx, (named for n in notices for named, _ in n.changes)
        )
        self._knowledge = Knowledge(tx, load_crops())

    def notice(self, notice: Notice) -> NoticeLine:
        waiting = notice.state is NoticeState.WAITING
        return NoticeLine(
            notice.notice_id,
            notice.state.value,
            notice.channel,
            notice.severity,
            notice.title,
            notice.body,
            notice.created_ms,
            notice.attempts,
            notice.next_try_ms if waiting and notice.attempts else None,
            notice.sent_ms,
            notice.trouble,
            [
                self._episode(self.episodes[named], kind.value)
                for named, kind in notice.changes
                if named in self.episodes
            ],
        )

    def _episode(self, episode: Episode, change: str) -> EpisodeLine:
        place = self._knowledge.where(episode.subject, episode.opened_ms)
        return EpisodeLine(
            episode.episode_id,
            change,
            episode.rule,
            episode.subject.kind.value,
            self._knowledge.name_of(episode.subject),
            place.name if place else None,
            episode.opened_ms,
            episode.closed_ms,
            str(episode.facts.get("reason", "")),
        )

    def measured(self, tx: Tx, settings: Settings, episode: Episode) -> list[MeasuredLine]:
        """What a tray's heads measured from an hour before the beginning on."""
        if episode.subject.kind is not SubjectKind.TRAY:
            return []
        evidence = self._knowledge.timeline(
            tx,
            episode.subject.number,
            episode.opened_ms - AROUND_MS,
            episode.opened_ms + AROUND_MS,
            blind_after_ms=round(settings["notices.blind_after_s"] * 1000),
            earliest_year=settings["wire.earliest_year"],
        )
        rows = [
            MeasuredLine(e.at_ms, h.label, h.moisture_m3_m3, h.soil_temp_c) for e in evidence for h in e.heads
        ]
        middle = next((i for i, row in enumerate(rows) if row.at_ms >= episode.opened_ms), len(rows))
        first = max(0, min(middle - MOST_READINGS // 2, len(rows) - MOST_READINGS))
        return rows[first : first + MOST_READINGS]
