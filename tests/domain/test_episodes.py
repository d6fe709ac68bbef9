"""Episodes as a fold in measured time: opening, closing, chatter, gaps, late data, restarts."""

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from traywarden.domain.episodes import (
    ChangeKind,
    Delays,
    Episode,
    RuleState,
    Stretch,
    fold,
    reconciled,
    rewound,
)
from traywarden.domain.rules import Answer, Verdict, telling
from traywarden.domain.subjects import a_tray

MIN_MS = 60_000
TRAY = a_tray(1)
DELAYS = Delays(open_ms=30 * MIN_MS, close_ms=20 * MIN_MS, longest_gap_ms=60 * MIN_MS)
LETTERS = {"y": Answer.YES, "n": Answer.NO, "h": Answer.HOLD, "b": Answer.BLIND}
Timeline = list[tuple[int, Verdict]]


def every(minutes: int, letters: str, start: int = 0) -> Timeline:
    """One verdict every so many minutes: y, n, h(old), b(lind); a blank is an instant nobody measured."""
    return [
        ((start + i * minutes) * MIN_MS, Verdict(LETTERS[letter], letter))
        for i, letter in enumerate(letters)
        if letter != " "
    ]


def found(timeline: Timeline, delays: Delays = DELAYS) -> list[tuple[int, int | None]]:
    """(opened, closed) of each episode [min]."""
    _, stretches = fold(RuleState(), timeline, delays)
    return [
        (s.opened_ms // MIN_MS, None if s.closed_ms is None else s.closed_ms // MIN_MS) for s in stretches
    ]


def test_it_opens_once_the_answer_has_stood_for_the_delay_and_begins_where_the_answer_began() -> None:
    assert found(every(10, "nnyyy")) == []
    assert found(every(10, "nnyyyy")) == [(20, None)]


def test_it_closes_once_the_opposite_has_stood_for_the_closing_delay() -> None:
    assert found(every(10, "yyyynn")) == [(0, None)]
    assert found(every(10, "yyyynnn")) == [(0, 40)]


def test_hold_keeps_the_state_whichever_it_is() -> None:
    assert found(every(10, "yyyyhyhyhyhhhhhh")) == [(0, None)]
    assert found(every(10, "nnhyhyhyhyhy")) == []


def test_chatter_across_the_opening_level_tells_nothing_twice() -> None:
    assert found(every(10, "yyyy" + "hy" * 40)) == [(0, None)]


def test_an_answer_that_is_broken_off_must_start_again() -> None:
    assert found(every(10, "yyynyyy")) == []
    assert found(every(10, "yyynyyyy")) == [(40, None)]
    assert found(every(10, "yyyynnynn")) == [(0, None)]


def test_blind_neither_breaks_a_run_nor_closes_anything() -> None:
    assert found(every(10, "ybyby")) == [(0, None)]
    assert found(every(10, "yyyy" + "b" * 500)) == [(0, None)]


def test_a_gap_longer_than_the_limit_begins_a_new_run() -> None:
    assert found(every(10, "yy      yyyy")) == [(80, None)]  # seventy minutes apart
    assert found(every(10, "yy     y")) == [(0, None)]  # sixty: measured at both ends, close enough
    assert found(every(10, "yyyyn      nn")) == [(0, None)]
    assert found(every(10, "yyyyn      nnn")) == [(0, 110)]


def test_blindness_longer_than_the_gap_breaks_a_run_too() -> None:
    assert found(every(10, "yybbbbbbyy")) == []


def test_no_delay_means_at_once() -> None:
    assert found(every(10, "nynyy"), Delays(0, 0, 60 * MIN_MS)) == [(10, 20), (30, None)]


def test_what_no_longer_applies_closes_without_delay() -> None:
    timeline = [*every(10, "yyyy"), (45 * MIN_MS, Verdict(Answer.NO, "it is up", at_once=True))]
    assert found(timeline) == [(0, 45)]


def test_what_was_judged_before_is_passed_over() -> None:
    state, _ = fold(RuleState(), every(10, "yyyyn"), DELAYS)
    again, stretches = fold(state, every(10, "nnnnn"), DELAYS)
    assert again == state
    assert [s.closed_ms for s in stretches] == [None]


TIMELINES = st.lists(st.tuples(st.integers(1, 90), st.sampled_from("yyynnnhb")), min_size=1, max_size=60)


def built(steps: list[tuple[int, str]]) -> Timeline:
    at, timeline = 0, []
    for minutes, letter in steps:
        at += minutes
        timeline.append((at * MIN_MS, Verdict(LETTERS[letter], letter)))
    return timeline


class Kept:
    """Episodes kept across judgements, as the watch keeps them."""

    def __init__(self, delays: Delays) -> None:
        self.delays = delays
        self.state = RuleState()
        self.episodes: dict[str, Episode] = {}
        self.told: list[tuple[str, ChangeKind]] = []

    def judge(self, known: Timeline, late_ms: int | None = None) -> None:
        begin = self.state
        if late_ms is not None and late_ms <= begin.judged_to_ms:
            begin = rewound(list(self.episodes.values()), late_ms, self.delays)
        self.state, stretches = fold(begin, known, self.delays)
        changes = reconciled(
            list(self.episodes.values()), stretches, begin.judged_to_ms, "dry", TRAY, self.state.judged_to_ms
        )
        for change in changes:
            self.episodes[change.episode.episode_id] = change.episode
            if change.kind is not ChangeKind.MOVED:
                self.told.append((change.episode.episode_id, change.kind))

    def standing(self) -> list[tuple[int, int | None]]:
        return sorted(
            (e.opened_ms // MIN_MS, None if e.closed_ms is None else e.closed_ms // MIN_MS)
            for e in self.episodes.values()
            if not e.facts.get("withdrawn")
        )


@given(TIMELINES, st.data())
def test_in_whatever_pieces_the_readings_come_the_episodes_are_the_same(
    steps: list[tuple[int, str]], data: st.DataObject
) -> None:
    timeline = built(steps)
    kept = Kept(DELAYS)
    done = 0
    while done < len(timeline):
        done = data.draw(st.integers(done + 1, len(timeline)))
        kept.judge(timeline[:done])
    assert kept.standing() == found(timeline)


@settings(max_examples=400)
@given(TIMELINES, st.data())
def test_late_readings_lead_to_where_they_would_have_led_in_time(
    steps: list[tuple[int, str]], data: st.DataObject
) -> None:
    """The same stretches; only one that was told in two parts stays in two parts."""
    timeline = built(steps)
    late = data.draw(st.sets(st.integers(0, len(timeline) - 1), max_size=8))
    kept = Kept(DELAYS)
    known = [row for i, row in enumerate(timeline) if i not in late]
    kept.judge(known)
    for i in data.draw(st.permutations(sorted(late))):
        known = sorted([*known, timeline[i]], key=lambda row: row[0])
        kept.judge(known, timeline[i][0])
    never = 10_000
    wanted = [(a, never if b is None else b) for a, b in found(timeline)]
    standing = [(a, never if b is None else b) for a, b in kept.standing()]
    for opened, closed in wanted:
        inside = [(a, b) for a, b in standing if a <= closed and opened <= b]
        assert (min(a for a, _ in inside), max(b for _, b in inside)) == (opened, closed)
    assert all(any(opened <= a and b <= closed for opened, closed in wanted) for a, b in standing)


@given(TIMELINES, st.data())
def test_the_end_is_told_after_the_beginning_and_never_twice_in_a_row(
    steps: list[tuple[int, str]], data: st.DataObject
) -> None:
    timeline = built(steps)
    late = data.draw(st.sets(st.integers(0, len(timeline) - 1), max_size=5))
    kept = Kept(DELAYS)
    known: Timeline = []
    for i, row in enumerate(timeline):
        if i not in late:
            known.append(row)
            kept.judge(known)
    for i in sorted(late):
        known = sorted([*known, timeline[i]], key=lambda row: row[0])
        kept.judge(known, timeline[i][0])
    for episode_id in kept.episodes:
        kinds = [kind for named, kind in kept.told if named == episode_id]
        assert kinds[0] in (ChangeKind.OPENED, ChangeKind.PAST)
        for before, after in pairwise(kinds):
            assert before is not after


def test_one_stretch_over_two_told_episodes_leaves_both_and_moves_the_last_end() -> None:
    kept = [Episode("a", "dry", TRAY, 0, 100), Episode("b", "dry", TRAY, 200, None)]
    stretch = Stretch(0, None, 0, closed_ms=500, closing=Verdict(Answer.NO, "wet"), closing_decided_ms=520)
    (change,) = reconciled(kept, [stretch], -1, "dry", TRAY, 600)
    assert (change.kind, change.episode.episode_id, change.episode.closed_ms) == (ChangeKind.CLOSED, "b", 500)


def test_an_episode_that_late_readings_deny_is_closed_where_it_began() -> None:
    (change,) = reconciled([Episode("a", "dry", TRAY, 100, None)], [], 0, "dry", TRAY, 600)
    assert (change.kind, change.episode.closed_ms) == (ChangeKind.CLOSED, 100)
    assert change.episode.facts["withdrawn"]


@settings(max_examples=300)
@given(
    steps=st.lists(st.tuples(st.sampled_from([5, 10, 30, 61, 200]), st.sampled_from("ynhbo")), max_size=60),
    runs=st.lists(st.integers(1, 9), max_size=60),
    open_since=st.sampled_from([None, -500 * MIN_MS]),
    delays=st.sampled_from([DELAYS, Delays(0, 0, 60 * MIN_MS), Delays(3 * 60 * MIN_MS, 0, 60 * MIN_MS)]),
)
def test_a_fold_over_the_telling_instants_ends_in_the_same_state(
    steps: list[tuple[int, str]], runs: list[int], open_since: int | None, delays: Delays
) -> None:
    """“o” is a no at once. Runs of the same answer, as a tray gives them, are what is thinned out."""
    timeline: Timeline = []
    at_ms = 0
    codes = []
    for (minutes, letter), repeat in zip(steps, runs, strict=False):
        for _ in range(repeat):
            at_ms += minutes * MIN_MS
            verdict = (
                Verdict(Answer.NO, "o", at_once=True) if letter == "o" else Verdict(LETTERS[letter], letter)
            )
            timeline.append((at_ms, verdict))
            codes.append("ynhbo".index(letter))
    start = RuleState(judged_to_ms=-1, open_since_ms=open_since)
    chosen = telling(np.array([at for at, _ in timeline]), [np.array(codes, np.int8)], delays.longest_gap_ms)
    whole, stretches = fold(start, timeline, delays)
    thin, same = fold(start, [timeline[n] for n in chosen.tolist()], delays)
    assert thin == whole
    told = [(s.opened_ms, s.closed_ms, s.opened_clipped, s.closed_clipped) for s in stretches]
    assert [(s.opened_ms, s.closed_ms, s.opened_clipped, s.closed_clipped) for s in same] == told
