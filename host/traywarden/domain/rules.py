"""Rules: one question asked of one subject; its verdict on the evidence of one measured instant.

A rule is a name, a severity, the question, opening and closing delays, and a pure function from
evidence to verdict. The opening and the closing level live in that function: between them it says
“hold”, and whatever state the subject was in stays. The rules themselves are in `tray_rules`, `seed_rules`,
`ahead_rules`, `place_rules`, `probe_rules` and `host_rules`.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.evidence import Evidence, HeadSample, Sown, level_of
from traywarden.domain.garden import Mix
from traywarden.domain.levels import Of
from traywarden.domain.series import FloatArray, IntArray
from traywarden.domain.stage import Stage
from traywarden.domain.subjects import SubjectKind
from traywarden.domain.units import Display

CodeArray: TypeAlias = NDArray[np.int8]
Facts = Mapping[str, float | str | bool | None]


def what_to_do(facts: Facts, now_ms: int) -> str:
    """What a verdict says to do, by now: once the hour is past by which it wanted that done, at once.

    >>> told = {"do": "Cover it before dark (17:12).", "do_late": "Cover it now.", "late_from_ms": 1000}
    >>> what_to_do(told, 999), what_to_do(told, 1000), what_to_do({}, 0)
    ('Cover it before dark (17:12).', 'Cover it now.', '')
    """
    late_ms = facts.get("late_from_ms")
    late = isinstance(late_ms, int | float) and now_ms >= late_ms
    return str((late and facts.get("do_late")) or facts.get("do") or "")


METRIC = Display()


class Answer(StrEnum):
    YES = "yes"
    NO = "no"
    HOLD = "hold"  # between the opening and the closing level: the state stays as it is
    BLIND = "blind"  # not enough to tell; never closes anything


@dataclass(frozen=True, slots=True)
class Verdict:
    """An answer, why (one clause in words), and the numbers behind it, each with its unit in its name.

    `at_once` marks an answer that needs no delay: the question no longer applies (the seed is up).
    """

    answer: Answer
    reason: str
    facts: Facts = field(default_factory=dict)
    at_once: bool = False


YES, NO, HOLD, BLIND, NO_AT_ONCE = range(5)
ANSWERS = (
    (Answer.YES, False),
    (Answer.NO, False),
    (Answer.HOLD, False),
    (Answer.BLIND, False),
    (Answer.NO, True),
)
"""Answer, and whether it is at once, of each code."""


@dataclass(frozen=True, slots=True, eq=False)
class Spell:
    """One tray at many instants between entries of its journal; a row for each head, NaN where unknown."""

    moisture_m3_m3: FloatArray
    soil_temp_c: FloatArray
    mix: Mix | None = None
    sown: Sown | None = None
    planted_out: bool = False
    stage: Stage = Stage.EMPTY
    calibrated: tuple[bool, ...] = ()  # of each head; none given: all are

    @property
    def of(self) -> Of:
        return level_of(self.mix, self.sown, self.stage)

    def coded(self, values: FloatArray, low: float, high: float) -> CodeArray:
        """Yes where the lowest head is below `low`, hold up to `high`, no above; blind where none is."""
        lowest = np.fmin.reduce(values, axis=0, initial=np.nan)
        codes = np.where(lowest < low, YES, np.where(lowest < high, HOLD, NO))
        return np.where(np.isnan(lowest), BLIND, codes).astype(np.int8)

    def coded_above(self, values: FloatArray, low: float, high: float) -> CodeArray:
        """Yes where `values` are above `high`, hold down to `low`, no below; blind where NaN."""
        codes = np.where(values > high, YES, np.where(values > low, HOLD, NO))
        return np.where(np.isnan(values), BLIND, codes).astype(np.int8)

    def all(self, code: int) -> CodeArray:
        """The same answer at every instant."""
        return np.full(self.moisture_m3_m3.shape[1], code, np.int8)


@dataclass(frozen=True, slots=True)
class Rule:
    """One question asked of every subject of a kind. Delays count measured time, not a message's travel."""

    name: str
    severity: str
    question: str
    open_delay_s: float
    close_delay_s: float
    judge: Callable[[Evidence], Verdict]
    answers: Callable[[Spell], CodeArray] | None = None
    """What `judge` would answer at many instants, as codes; None: it must be asked of each."""
    of: SubjectKind = SubjectKind.TRAY
    beside: str = ""
    """The rule that is blind whenever this one is: it alone says so."""
    told_once: bool = False
    """Whether neither its end nor a reminder is told: by then the night is over, or another rule speaks."""


@dataclass(frozen=True, slots=True)
class PacedRule:
    """One question that is asked every so often, of what is known at that moment: it takes long to answer,
    or time alone changes the answer. What comes in late is taken into account the next time."""

    name: str
    severity: str
    question: str
    open_delay_s: float
    close_delay_s: float
    pace_s: float
    of: SubjectKind
    told_once: bool = False


AnyRule: TypeAlias = Rule | PacedRule


def telling(at_ms: IntArray, answers: Sequence[CodeArray], longest_gap_ms: int) -> IntArray:
    """The instants that matter for `fold`: where an answer begins or ends, and enough between to bridge gaps.

    Parameters
    ----------
    at_ms : int array [ms since 1970], ascending
    answers : codes of each rule at these instants
    longest_gap_ms : int [ms]
        As in Delays: instants farther apart than this are no unbroken run.

    Returns
    -------
    int array
        Numbers of the instants, ascending. A fold over these alone ends in the same state and finds the same
        stretches, though it may decide a little later that one has begun or ended.

    Examples
    --------
    >>> telling(np.arange(8) * 10, [np.array([0, 0, 0, 0, 1, 1, 1, 1], np.int8)], 1_000).tolist()
    [0, 3, 4, 7]
    """
    if at_ms.size < 3:
        return np.arange(at_ms.size)
    begins = np.ones(at_ms.size, np.bool_)
    begins[1:] = np.logical_or.reduce([np.diff(codes) != 0 for codes in answers])
    ends = np.append(begins[1:], True)
    kept: list[int] = np.flatnonzero(begins | ends).tolist()
    return np.array(bridged(at_ms.tolist(), kept, longest_gap_ms))


def bridged(times_ms: Sequence[int], kept: Sequence[int], longest_gap_ms: int) -> list[int]:
    """Of the instants kept and those between them as many as keep them from lying a longest gap apart.

    >>> bridged([0, 10, 20, 30, 100], [0, 3, 4], 20)
    [0, 2, 3, 4]
    """
    chosen = list(kept[:1])
    for following in kept[1:]:
        while times_ms[following] - times_ms[chosen[-1]] > longest_gap_ms and following - chosen[-1] > 1:
            farthest = bisect_right(times_ms, times_ms[chosen[-1]] + longest_gap_ms, lo=chosen[-1] + 1) - 1
            chosen.append(max(farthest, chosen[-1] + 1))
        if following > chosen[-1]:
            chosen.append(following)
    return chosen


def no_seed(sown: Sown | None) -> Verdict:
    """Nothing is sown, or it is up: then nobody asks how warm its mix is."""
    if sown is None:
        return Verdict(Answer.NO, "nothing is sown in it", at_once=True)
    return Verdict(Answer.NO, f"the {sown.crop} is up", {"crop": sown.crop}, at_once=True)


def why_blind(heads: Sequence[HeadSample], troubles: Sequence[str], what: str) -> str:
    if not heads:
        return "no head is placed in it, or none has sent anything yet"
    said = sorted({t for t in troubles if t})
    return f"no usable {what}" + (f": {', '.join(said)}" if said else "")
