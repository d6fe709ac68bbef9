"""What would have been told over a span of history, with these settings or others; nothing is sent."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np

from traywarden.domain.days import day_start_ms
from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.evidence import stage_of
from traywarden.domain.misplaced import MisplacedParams
from traywarden.domain.notices import Notice
from traywarden.domain.rules import AnyRule, PacedRule
from traywarden.domain.series import IntArray
from traywarden.domain.stage import Stage
from traywarden.domain.subjects import SubjectKind
from traywarden.domain.units import list_words, span_words
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.asking.standing import paced_rules
from traywarden.services.judging import Judge
from traywarden.services.level_names import changes_of
from traywarden.services.questions.days import span_of
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.replaying.history import History, Progress
from traywarden.services.replaying.telling import Telling
from traywarden.settings import changed

DEFAULT_DAYS = 14
LONGEST_D = 400
MANY_A_WEEK = 3
WEEK_MS = 7 * DAY_MS


@dataclass(frozen=True, slots=True)
class ReplayAsked:
    """First and last day (default the last fourteen), rules (default all), settings given otherwise."""

    start: date | None = None
    end: date | None = None
    rules: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReplayedNotice:
    """One notice that would have been sent. `change` is “opened”, “closed” or “reminded”; of a notice that
    tells of several rules or changes all are named. `trays`: those it is about, also through the place where
    they stand or the probe that measures them."""

    at: datetime
    rule: str
    change: str
    severity: str
    of: str
    subjects: tuple[str, ...]
    trays: tuple[str, ...]
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class RuleCount:
    """One rule: notices (those that tell of a beginning, remind, or tell of an end), episodes told of, how
    many began within a day after the last had ended; its stated gap between two beginnings, and the
    shortest there was about one thing [s]."""

    rule: str
    notices: int
    begun: int
    reminded: int
    ended: int
    episodes: int
    back_within_a_day: int
    gap_s: float
    nearest_s: float | None


@dataclass(frozen=True, slots=True)
class TrayCount:
    """One tray: notices about it, and the weeks in which something stood in it."""

    tray: str
    notices: int
    weeks: int
    per_week: float
    most: int


@dataclass(frozen=True, slots=True)
class DayCount:
    """One day on which something was told: how many notices, and of which rules."""

    day: date
    notices: int
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReplayAnswer:
    """`tray_week_…`: notices about one tray in one week, over the weeks in which something stood in it or
    something was told of it; `tray_weeks` is how many that are, `tray_weeks_many` the part with more than
    three. `week_…`: notices in one week in all. `weeks` is that of the whole span."""

    garden: str
    start: datetime
    end: datetime
    changes: tuple[str, ...]
    rules: tuple[RuleCount, ...]
    trays: int
    weeks: int
    tray_weeks: int
    tray_week_median: float
    tray_week_mean: float
    tray_week_most: int
    tray_weeks_many: float
    week_median: float
    week_most: int
    by_tray: tuple[TrayCount, ...]
    by_day: tuple[DayCount, ...]
    shadowed: int
    notices: tuple[ReplayedNotice, ...]
    left_out: tuple[str, ...]
    remarks: tuple[str, ...]


def ask_replay(
    ground: Ground, asked: ReplayAsked, longest_d: int = LONGEST_D, progress: Progress | None = None
) -> ReplayAnswer:
    """Every notice that the rules would have brought over a span, as if each reading had come in at once.

    `progress` is told how many of how many rounds of the rules by the clock are done.

    Raises UsageError (a setting without “=”, given twice, or of a rule that is not replayed; a span that is
    too long), UnknownNameError (a rule, or the crop or mix a setting is for),
    SettingsError, ShortOfDataError (nothing was ever measured).
    """
    ground.need_readings()
    pairs = [_pair(text) for text in asked.changes]
    if twice := next((key for key, count in Counter(key for key, _ in pairs).items() if count > 1), ""):
        raise UsageError(f"{twice} is given twice; say one number for it.")
    changes = changes_of(ground.tx, dict(pairs))
    settings = changed(ground.settings, changes)
    first, last = span_of(ground, asked.start, asked.end, DEFAULT_DAYS)
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    if end_ms - start_ms > longest_d * DAY_MS:
        raise UsageError(
            f"From {first} to {last} is too long to replay in one piece; give at most {longest_d} days."
        )
    judge, paced = Judge(settings), {each.rule.name: each for each in paced_rules(settings)}
    known = [*judge.rules, *paced]
    for name in asked.rules:
        if name not in known:
            raise UnknownNameError("rule", name, known)
    chosen = asked.rules or tuple(known)
    for key in changes:
        if (rule := key.partition(".")[0]) in known and rule not in chosen:
            raise UsageError(f"{key} is of a rule that is not replayed; leave it out, or name {rule} too")
    left_out = tuple(name for name in chosen if name in paced and not paced[name].replayable)
    history = History(replace(ground, settings=settings), judge, start_ms, end_ms)
    history.at_readings([judge.rules[name] for name in chosen if name in judge.rules])
    history.by_clock([paced[name] for name in chosen if name in paced and paced[name].replayable], progress)
    telling = Telling(history, settings)
    telling.run()
    asked_of = [history.rules[name] for name in chosen if name not in left_out]
    return _Counts(history, telling).answer(asked.changes, asked_of, left_out)


def _pair(text: str) -> tuple[str, str]:
    key, found, value = text.partition("=")
    if not found:
        raise UsageError(f"“{text}” sets nothing; write it like dry.close_above=0.1.")
    return key.strip(), value.strip()


class _Counts:
    """What was told, counted."""

    def __init__(self, history: History, telling: Telling) -> None:
        self._history, self._telling = history, telling
        self._ground, self._knowledge = history.ground, history.knowledge

    def answer(
        self, changes: tuple[str, ...], rules: Sequence[AnyRule], left_out: tuple[str, ...]
    ) -> ReplayAnswer:
        ground, told = self._ground, self._telling.told
        notices = [self._notice(notice) for notice in told]
        table, used = self._per_week(notices)
        counted = table[used]
        by_week = self._by_week(notices, table.shape[1])
        return ReplayAnswer(
            ground.garden.name,
            ground.at(self._history.start_ms),
            ground.at(self._history.end_ms),
            changes,
            tuple(self._count(rule) for rule in rules),
            len(self._knowledge.trays),
            table.shape[1],
            int(counted.size),
            float(np.median(counted)) if counted.size else 0.0,
            round(float(counted.mean()), 2) if counted.size else 0.0,
            int(counted.max()) if counted.size else 0,
            round(float((counted > MANY_A_WEEK).mean()), 3) if counted.size else 0.0,
            float(np.median(by_week)),
            int(by_week.max()),
            self._by_tray(table, used),
            _by_day(notices),
            self._telling.shadowed,
            tuple(notices),
            left_out,
            (
                "as if every reading had come in when it was measured, and with the journal as it holds "
                "today; hushes and digests of channels are left aside",
                self._paces(rules),
            ),
        )

    def _paces(self, rules: Sequence[AnyRule]) -> str:
        """How often rules by the clock were asked, in words."""
        often: dict[float, list[str]] = {}
        for rule in rules:
            if isinstance(rule, PacedRule):
                often.setdefault(self._history.pace_s(rule), []).append(rule.name)
        if not often:
            return "reminders are looked for once an hour"
        said = "; ".join(f"every {span_words(s)} {list_words(names)}" for s, names in sorted(often.items()))
        longer = ", and a tray with days left before it is dry less often" if self._history.long else ""
        return (
            f"rules by the clock are asked less often than by the host: {said}{longer}; reminders are looked "
            "for once an hour"
        )

    def _notice(self, notice: Notice) -> ReplayedNotice:
        about = [(self._telling.episodes[named], kind) for named, kind in notice.changes]
        at_ms = self._at_ms(notice)
        subjects = dict.fromkeys(episode.subject for episode, _ in about)
        trays = dict.fromkeys(tray for episode, _ in about for tray in self._trays(episode, at_ms))
        return ReplayedNotice(
            self._ground.at(at_ms),
            ", ".join(dict.fromkeys(episode.rule for episode, _ in about)),
            ", ".join(dict.fromkeys(kind.value for _, kind in about)),
            notice.severity,
            ", ".join(dict.fromkeys(subject.kind.value for subject in subjects)),
            tuple(self._knowledge.name_of(subject) for subject in subjects),
            tuple(trays),
            notice.title,
            notice.body,
        )

    @staticmethod
    def _at_ms(notice: Notice) -> int:
        return notice.created_ms if notice.sent_ms is None else notice.sent_ms

    def _trays(self, episode: Episode, at_ms: int) -> list[str]:
        """The trays an episode is about: itself, those that stand in the place, those the probe measures."""
        subject, known = episode.subject, self._knowledge
        if subject.kind is SubjectKind.TRAY:
            return [known.trays[subject.number].name]
        found = []
        for tray_id, tray in known.trays.items():
            if subject.kind is SubjectKind.PLACE:
                place = known.place_of(tray_id, at_ms)
                if place and place.place_id == subject.number and self._in_use(tray_id, at_ms):
                    found.append(tray.name)
            elif subject.kind is SubjectKind.PROBE:
                stays = known.of(tray_id).facts.heads_in_tray(tray_id, at_ms, at_ms + 1)
                if any(known.probe_of_head[stay.subject] == subject.number for stay in stays):
                    found.append(tray.name)
        return found

    def _in_use(self, tray_id: int, at_ms: int) -> bool:
        _, sown, planted_out = self._knowledge.of(tray_id).at(at_ms)
        return stage_of(at_ms, sown, planted_out=planted_out) not in (Stage.EMPTY, Stage.PLANTED_OUT)

    def _per_week(self, notices: Iterable[ReplayedNotice]) -> tuple[IntArray, np.ndarray]:
        """Notices about each tray in each week of the span, and where that counts: trays by weeks."""
        numbers = {tray.name: n for n, tray in enumerate(self._knowledge.trays.values())}
        start_ms, end_ms = self._history.start_ms, self._history.end_ms
        weeks = max(1, round((end_ms - start_ms) / WEEK_MS))
        table = np.zeros((len(numbers), weeks), np.int64)
        for notice in notices:
            for name in notice.trays:
                table[numbers[name], self._week(notice, weeks)] += 1
        days = range(start_ms, end_ms, DAY_MS)
        used = table > 0
        for n, tray_id in enumerate(self._knowledge.trays):
            for at_ms in days:
                used[n, min((at_ms - start_ms) // WEEK_MS, weeks - 1)] |= self._in_use(tray_id, at_ms)
        return table, used

    def _week(self, notice: ReplayedNotice, weeks: int) -> int:
        return min(int((notice.at.timestamp() * 1000 - self._history.start_ms) // WEEK_MS), weeks - 1)

    def _by_week(self, notices: Iterable[ReplayedNotice], weeks: int) -> IntArray:
        return np.bincount([self._week(notice, weeks) for notice in notices], minlength=weeks)

    def _by_tray(self, table: IntArray, used: np.ndarray) -> tuple[TrayCount, ...]:
        return tuple(
            TrayCount(
                tray.name,
                int(table[n].sum()),
                int(used[n].sum()),
                round(float(table[n].sum() / max(used[n].sum(), 1)), 2),
                int(table[n].max()),
            )
            for n, tray in enumerate(self._knowledge.trays.values())
        )

    def _count(self, rule: AnyRule) -> RuleCount:
        told = [
            (self._at_ms(notice), self._telling.episodes[named], kind, number)
            for number, notice in enumerate(self._telling.told)
            for named, kind in notice.changes
            if self._telling.episodes[named].rule == rule.name
        ]
        kinds = Counter(kind for _, kind in {(number, kind) for _, _, kind, number in told})
        begun = [(at_ms, episode) for at_ms, episode, kind, _ in told if kind is ChangeKind.OPENED]
        return RuleCount(
            rule.name,
            len({number for *_, number in told}),
            kinds[ChangeKind.OPENED],
            kinds[ChangeKind.REMINDED],
            kinds[ChangeKind.CLOSED],
            len(begun),
            self._back_within_a_day(rule.name),
            self._gap_s(rule),
            _nearest_s(begun),
        )

    def _gap_s(self, rule: AnyRule) -> float:
        """What two beginnings of it about one thing are apart at the least."""
        own_s = {"quiet": self._ground.settings["quiet.after_s"], "pulled": MisplacedParams().stays_s}
        return rule.open_delay_s + rule.close_delay_s + float(own_s.get(rule.name, 0.0))

    def _back_within_a_day(self, rule: str) -> int:
        mine = sorted((e for e in self._history.events if e.rule.name == rule), key=lambda e: e.decided_ms)
        ended, back = dict[object, int](), 0
        for event in mine:
            subject = event.change.episode.subject
            if event.change.kind is ChangeKind.CLOSED:
                ended[subject] = event.decided_ms
            elif event.decided_ms >= self._history.start_ms and subject in ended:
                back += event.decided_ms - ended[subject] < DAY_MS
        return back


def _nearest_s(begun: Sequence[tuple[int, Episode]]) -> float | None:
    """The shortest time between two beginnings told about one thing."""
    times: dict[object, list[int]] = {}
    for at_ms, episode in begun:
        times.setdefault(episode.subject, []).append(at_ms)
    apart = [later - sooner for mine in times.values() for sooner, later in pairwise(sorted(mine))]
    return min(apart) / 1000 if apart else None


def _by_day(notices: Iterable[ReplayedNotice]) -> tuple[DayCount, ...]:
    days: dict[date, list[ReplayedNotice]] = {}
    for notice in notices:
        days.setdefault(notice.at.date(), []).append(notice)
    return tuple(
        DayCount(day, len(mine), tuple(dict.fromkeys(notice.rule for notice in mine)))
        for day, mine in sorted(days.items())
    )
