"""Episodes: stretches during which a rule held for a subject, found by folding verdicts in measured time.

The fold is deterministic: the same readings give the same episodes, whenever and in whatever pieces
they arrived. Late readings re-judge the stretch they touch (`rewound`, then `fold`, then `reconciled`).
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from traywarden.domain.rules import Answer, Facts, Verdict
from traywarden.domain.subjects import Subject

NEVER_MS = -(2**62)
"""Before anything was ever measured."""


@dataclass(frozen=True, slots=True)
class RuleState:
    """Where one rule stands for one subject after everything measured up to `judged_to_ms`.

    `run_since_ms`: first instant of the unbroken run of answers that argue for a change of state.
    `used_ms`: newest instant that was not blind. `answer`/`reason`: the newest verdict.
    """

    judged_to_ms: int = NEVER_MS
    open_since_ms: int | None = None
    run_since_ms: int | None = None
    used_ms: int | None = None
    answer: Answer = Answer.BLIND
    reason: str = "nothing measured yet"


@dataclass(frozen=True, slots=True)
class Delays:
    """How long, in measured time, an answer must stand before the state changes; and the longest gap
    between two usable instants that still counts as one unbroken run.

    `given`: opening and closing delay at an instant, where they hang on what stood there then; `open_ms` and
    `close_ms` are then the longest there are.
    """

    open_ms: int
    close_ms: int
    longest_gap_ms: int
    given: Callable[[int], tuple[int, int]] | None = None

    def at(self, at_ms: int) -> tuple[int, int]:
        """Opening and closing delay at an instant [ms]."""
        return (self.open_ms, self.close_ms) if self.given is None else self.given(at_ms)

    @property
    def reach_ms(self) -> int:
        """No change is decided later than this after the run that decides it began."""
        return max(self.open_ms, self.close_ms) + self.longest_gap_ms


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch the fold found. `opening` is None where it was open before the fold began.

    `*_clipped`: the run began at the fold's very first usable instant, so it may have begun earlier.
    """

    opened_ms: int
    opening: Verdict | None
    opening_decided_ms: int
    closed_ms: int | None = None
    closing: Verdict | None = None
    closing_decided_ms: int | None = None
    opened_clipped: bool = False
    closed_clipped: bool = False


@dataclass(frozen=True, slots=True)
class Episode:
    """A stretch as kept and told: its id never changes once told, though late readings may move its ends."""

    episode_id: str
    rule: str
    subject: Subject
    opened_ms: int
    closed_ms: int | None = None
    facts: Facts = field(default_factory=dict)


class ChangeKind(StrEnum):
    OPENED = "opened"
    CLOSED = "closed"
    PAST = "past"  # it had ended by the time it was found out
    MOVED = "moved"  # late readings moved an end; kept, not told
    REMINDED = "reminded"  # it still holds, and nothing was done; told, changes nothing


@dataclass(frozen=True, slots=True)
class Change:
    """What happened to an episode, when that was decided in measured time, and why.

    `known_before`: the episode had been kept already, so something may have been told of it.
    """

    kind: ChangeKind
    episode: Episode
    decided_ms: int
    reason: str = ""
    known_before: bool = True


def episode_id(rule: str, subject: Subject, opened_ms: int) -> str:
    return f"{rule}:{subject}:{opened_ms}"


def rule_of(episode_id: str) -> str:
    """The rule of an episode.

    >>> rule_of("dry:tray-3:1772344800000")
    'dry'
    """
    return episode_id.partition(":")[0]


def need_of(episode_id: str) -> str:
    """Rule and subject of an episode.

    >>> need_of("dry:tray-3:1772344800000")
    'dry:tray-3'
    """
    return episode_id.rpartition(":")[0]


def began_ms(episode_id: str) -> int:
    """When an episode began, or 0 where its id does not say; of those with the same beginning the later ones
    have a mark behind it.

    >>> began_ms("dry:tray-3:1772344800000'"), began_ms("odd")
    (1772344800000, 0)
    """
    began = episode_id.rpartition(":")[2].rstrip("'")
    return int(began) if began.lstrip("-").isdigit() else 0


def fold(
    state: RuleState, judged: Iterable[tuple[int, Verdict]], delays: Delays
) -> tuple[RuleState, list[Stretch]]:
    """Carry a rule's state over verdicts at measured instants.

    Parameters
    ----------
    state : RuleState
        Where the rule stood; instants up to its `judged_to_ms` are passed over.
    judged : iterable of (instant [ms since 1970], Verdict), oldest first
    delays : Delays
        Opening and closing delay and longest gap [ms].

    Returns
    -------
    (RuleState, list of Stretch)
        The state after the last instant; the stretches that were open at some time, oldest first.

    Notes
    -----
    A state changes once the opposite answer has stood unbroken for the delay that holds by then. “Hold”
    breaks a run and keeps the state. A blind instant neither breaks nor lengthens a run; two usable instants
    farther apart than the longest gap begin a new one: what nobody measured proves nothing. A change is
    dated to the beginning of its run. A verdict marked `at_once` closes without delay.

    Example
    -------
    >>> wet, dry = Verdict(Answer.NO, "wet"), Verdict(Answer.YES, "dry")
    >>> state, found = fold(RuleState(), [(0, wet), (10, dry), (40, dry), (50, wet)], Delays(30, 0, 60))
    >>> [(s.opened_ms, s.opening_decided_ms, s.closed_ms) for s in found]
    [(10, 40, 50)]
    """
    open_since, run_since, used = state.open_since_ms, state.run_since_ms, state.used_ms
    first_used: int | None = None
    newest: tuple[int, Verdict] | None = None
    stretches: list[Stretch] = []
    if open_since is not None:
        stretches.append(Stretch(open_since, None, open_since))
    for at_ms, verdict in judged:
        if at_ms <= state.judged_to_ms:
            continue
        newest = (at_ms, verdict)
        if verdict.answer is Answer.BLIND:
            continue
        if used is None and at_ms - state.judged_to_ms <= delays.longest_gap_ms:
            first_used = at_ms  # what lies before it is not seen here, and may belong to the same run
        broken = used is not None and at_ms - used > delays.longest_gap_ms
        used = at_ms
        if verdict.answer is not (Answer.YES if open_since is None else Answer.NO):
            run_since = None
            continue
        if run_since is None or broken:
            run_since = at_ms
        delay_ms = delays.at(at_ms)[open_since is not None]
        if at_ms - run_since < delay_ms and not (verdict.at_once and open_since is not None):
            continue
        clipped = run_since == first_used
        if open_since is None:
            open_since = run_since
            stretches.append(Stretch(run_since, verdict, at_ms, opened_clipped=clipped))
        else:
            open_since = None
            stretches[-1] = replace(
                stretches[-1],
                closed_ms=run_since,
                closing=verdict,
                closing_decided_ms=at_ms,
                closed_clipped=clipped,
            )
        run_since = None
    if newest is None:
        return state, stretches
    at_ms, verdict = newest
    return RuleState(at_ms, open_since, run_since, used, verdict.answer, verdict.reason), stretches


def rewound(episodes: Sequence[Episode], late_ms: int, delays: Delays) -> RuleState:
    """The state before a late instant, from the episodes kept: where to begin judging again.

    Parameters
    ----------
    episodes : sequence of Episode
        Every kept episode of this rule and subject.
    late_ms : int
        The earliest instant that is new or has changed [ms since 1970].
    delays : Delays

    Returns
    -------
    RuleState
        At an instant far enough back that every run that can matter at `late_ms` lies after it, and that
        lies inside no run that an episode began or ended with, so that the state there is known.

    Example
    -------
    >>> e = Episode("dry:tray-1:500", "dry", Subject.named("tray-1"), 500, 900)
    >>> state = rewound([e], 1_000, Delays(30, 0, 60))
    >>> state.judged_to_ms, state.open_since_ms
    (849, 500)
    """
    # One gap farther than the reach: a run that begins unseen before the fold is then decided before late_ms.
    back_ms = late_ms - 1 - delays.reach_ms - delays.longest_gap_ms
    moved = True
    while moved:
        moved = False
        for episode in episodes:
            for end_ms in (episode.opened_ms, episode.closed_ms):
                if end_ms is not None and back_ms - delays.reach_ms < end_ms <= back_ms:
                    back_ms, moved = end_ms - 1, True
    inside = next(
        (e for e in episodes if e.opened_ms <= back_ms and (e.closed_ms is None or e.closed_ms > back_ms)),
        None,
    )
    return RuleState(back_ms, None if inside is None else inside.opened_ms)


def reconciled(
    kept: Sequence[Episode],
    stretches: Sequence[Stretch],
    from_ms: int,
    rule: str,
    subject: Subject,
    through_ms: int,
) -> list[Change]:
    """What must change in the episodes kept so that they say what the fold found.

    Parameters
    ----------
    kept : sequence of Episode
        Kept episodes of this rule and subject.
    stretches : sequence of Stretch
        What the fold found after `from_ms`.
    from_ms, through_ms : int
        The span that was judged [ms since 1970].
    rule, subject : str, Subject
        Whose episodes these are.

    Returns
    -------
    list of Change, oldest episode first

    Notes
    -----
    A stretch and a kept episode that overlap are the same episode: it keeps its id, so what was told is
    not told again. Where one stretch overlaps several kept episodes they stay apart as told, and the last
    takes the stretch's end. A kept episode without any stretch is closed where it began (`withdrawn`).

    Example
    -------
    >>> found = [Stretch(500, Verdict(Answer.YES, "dry"), 530)]
    >>> changes = reconciled([], found, 0, "dry", Subject.named("tray-1"), 600)
    >>> [(c.kind.value, c.episode.episode_id) for c in changes]
    [('opened', 'dry:tray-1:500')]
    """
    touched = sorted(
        (e for e in kept if e.closed_ms is None or e.closed_ms > from_ms), key=lambda e: e.opened_ms
    )
    changes: list[Change] = []
    claimed: set[str] = set()
    for stretch in stretches:
        mine = [e for e in touched if e.episode_id not in claimed and _overlap(e, stretch)]
        claimed.update(e.episode_id for e in mine)
        if mine:
            changes += _matched(mine, stretch)
        else:
            changes.append(_new(stretch, rule, subject, {e.episode_id for e in kept}))
    for episode in touched:
        if episode.episode_id not in claimed and episode.opened_ms > from_ms:
            changes += _withdrawn(episode, through_ms)
    return sorted(changes, key=lambda c: c.episode.opened_ms)


def _overlap(episode: Episode, stretch: Stretch) -> bool:
    starts_before_end = stretch.closed_ms is None or episode.opened_ms <= stretch.closed_ms
    return starts_before_end and (episode.closed_ms is None or stretch.opened_ms <= episode.closed_ms)


def _new(stretch: Stretch, rule: str, subject: Subject, taken: set[str]) -> Change:
    verdict = stretch.opening
    facts = dict(verdict.facts) if verdict else {}
    reason = verdict.reason if verdict else ""
    name = episode_id(rule, subject, stretch.opened_ms)
    while name in taken:  # an episode whose beginning late readings have moved away from here
        name += "'"
    episode = Episode(
        name,
        rule,
        subject,
        stretch.opened_ms,
        stretch.closed_ms,
        {**facts, "reason": reason, "decided_ms": stretch.opening_decided_ms},
    )
    if stretch.closing_decided_ms is None:
        return Change(ChangeKind.OPENED, episode, stretch.opening_decided_ms, reason, False)
    return Change(ChangeKind.PAST, episode, stretch.closing_decided_ms, reason, False)


def _matched(mine: list[Episode], stretch: Stretch) -> list[Change]:
    changes: list[Change] = []
    first, last = mine[0], mine[-1]
    moved_start = stretch.opening is not None and not stretch.opened_clipped
    for episode in mine:
        wanted = episode
        if episode.facts.get("withdrawn"):
            kept_facts = {k: v for k, v in episode.facts.items() if k != "withdrawn"}
            wanted = replace(wanted, facts=kept_facts)
        if episode is first and moved_start:
            wanted = replace(wanted, opened_ms=stretch.opened_ms)
        if episode is last and not (stretch.closed_clipped and episode.closed_ms is not None):
            wanted = replace(wanted, closed_ms=stretch.closed_ms)
        if episode is not last and wanted.closed_ms is None:
            wanted = replace(wanted, closed_ms=mine[mine.index(episode) + 1].opened_ms)
        if wanted == episode:
            continue
        if episode.closed_ms is None and wanted.closed_ms is not None:
            kind, decided = ChangeKind.CLOSED, stretch.closing_decided_ms or wanted.closed_ms
            reason = stretch.closing.reason if stretch.closing else ""
        elif episode.closed_ms is not None and wanted.closed_ms is None:
            kind, decided = ChangeKind.OPENED, stretch.opening_decided_ms  # it had not ended after all
            reason = "late readings show that it has not ended"
        else:
            kind, decided, reason = ChangeKind.MOVED, stretch.opening_decided_ms, ""
        changes.append(Change(kind, wanted, decided, reason))
    return changes


def _withdrawn(episode: Episode, through_ms: int) -> list[Change]:
    if episode.facts.get("withdrawn"):
        return []
    ended = replace(episode, closed_ms=episode.opened_ms, facts={**episode.facts, "withdrawn": True})
    reason = "late readings show that it was not so"
    kind = ChangeKind.CLOSED if episode.closed_ms is None else ChangeKind.MOVED
    return [Change(kind, ended, through_ms, reason)]
