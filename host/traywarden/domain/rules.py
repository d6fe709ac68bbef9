"""Rules: one question asked of one subject; its verdict on the evidence of one measured instant.

A rule is a name, a severity, the question, opening and closing delays, and a pure function from
evidence to verdict. The opening and the closing level live in that function: between them it says
“hold”, and whatever state the subject was in stays. A new rule is one function and one row in `rules`.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.crops import RECOMMENDED_FROM
from traywarden.domain.evidence import Evidence, HeadSample, Sown, level_of
from traywarden.domain.garden import Mix
from traywarden.domain.levels import Level, Of, at
from traywarden.domain.series import FloatArray, IntArray
from traywarden.domain.stage import Stage
from traywarden.domain.subjects import SubjectKind
from traywarden.domain.units import Display

CodeArray: TypeAlias = NDArray[np.int8]
Facts = Mapping[str, float | str | bool | None]
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


def dry_verdict(
    heads: Sequence[HeadSample],
    mix: Mix | None,
    *,
    close_above: float,
    litres: float | None = None,
    planted_out: bool = False,
    line_times: float = 1.0,
) -> Verdict:
    """Whether a tray must be watered now: its driest head against the mix's dry line.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; moisture in [m³/m³].
    mix : Mix or None
        The mix the tray is filled with: dry line and container capacity in [m³/m³].
    close_above : float
        How far above the dry line the mix must rise before it no longer counts as dry
        [fraction of container capacity].
    litres : float or None
        Volume of the mix in the tray [l], where known: then `pour_litres` is in the facts.
    planted_out : bool
        What stood in the tray has been planted out and nothing was sown since.
    line_times : float
        The dry line that counts, as a part or multiple of the mix's own.

    Returns
    -------
    Verdict
        yes below the dry line; hold up to dry line + close_above × container capacity; no above that,
        and no at once for a tray that was planted out;
        blind without a mix or without a usable moisture. Facts: `moisture_m3_m3`, `dry_line_m3_m3`,
        `container_capacity_m3_m3`, `moisture_fraction` [of container capacity], `calibrated`, `head`.

    Notes
    -----
    Heads with a missing or left-out moisture (frozen, stuck, out of range) are passed over; the tray is
    blind only when every head is. Water to pour = mix volume × (container capacity − moisture): what
    brings the whole volume back to container capacity, drainage not counted.

    Raises
    ------
    Nothing.

    References
    ----------
    Container capacity = water held after drainage / volume: NCSU porometer definitions, footnotes of
    Table 1, Int. J. Agronomy 2012, 978528.

    Example
    -------
    >>> mix = Mix(1, "peat and perlite", {"peat": 2, "perlite": 1}, 0.60, 0.25)
    >>> dry_verdict([HeadSample("a/1", 0.21, True)], mix, close_above=0.05).answer.value
    'yes'
    >>> dry_verdict([HeadSample("a/1", 0.26, True)], mix, close_above=0.05).answer.value
    'hold'
    """
    if planted_out:
        return Verdict(Answer.NO, "it was planted out and nothing was sown in it since", at_once=True)
    if mix is None:
        return Verdict(Answer.BLIND, "the tray has no mix yet, so there is no dry line to hold it against")
    wet = [(h.moisture_m3_m3, h) for h in heads if h.moisture_m3_m3 is not None]
    if not wet:
        return Verdict(Answer.BLIND, why_blind(heads, [h.moisture_trouble for h in heads], "moisture"))
    moisture_m3_m3, head = min(wet, key=lambda pair: pair[0])
    capacity, line = mix.container_capacity_m3_m3, round(line_times * mix.dry_line_m3_m3, 4)
    facts: dict[str, float | str | bool | None] = {
        "moisture_m3_m3": round(moisture_m3_m3, 4),
        "dry_line_m3_m3": line,
        "close_m3_m3": round(line + close_above * capacity, 4),
        "container_capacity_m3_m3": capacity,
        "moisture_fraction": round(moisture_m3_m3 / capacity, 4),
        "calibrated": head.moisture_calibrated,
        "head": head.label,
        "mix": mix.name,
    }
    if litres is not None:
        facts["pour_litres"] = round(max(0.0, litres * (capacity - moisture_m3_m3)), 2)
    percent = 100 * moisture_m3_m3 / capacity
    now = f"moisture {moisture_m3_m3:.3f} m³/m³ ({percent:.0f} % of container capacity)"
    at = f"dry line {line:.3f} m³/m³ of {mix.name}"
    if moisture_m3_m3 < line:
        return Verdict(Answer.YES, f"{now} is below the {at}", facts)
    if moisture_m3_m3 < line + close_above * capacity:
        return Verdict(Answer.HOLD, f"{now} is just above the {at}", facts)
    return Verdict(Answer.NO, f"{now} is above the {at}", facts)


def cold_verdict(
    heads: Sequence[HeadSample],
    sown: Sown | None,
    *,
    close_above_c: float,
    display: Display = METRIC,
) -> Verdict:
    """Whether a sown tray that is not up yet lies below its crop's lowest germination temperature.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; soil temperature in [°C].
    sown : Sown or None
        The sowing that stands in the tray, with the crop's floor in [°C].
    close_above_c : float
        How far above the floor the coldest head must rise before it no longer counts as cold [°C].
    display : Display
        In which unit the reason speaks.

    Returns
    -------
    Verdict
        yes below the floor; hold up to floor + close_above_c; no above that, and no at once when nothing
        is sown or it has come up; blind without a usable soil temperature or a published floor.
        Facts: `soil_temp_c`, `floor_c`, `crop`, `floor_kind`, `floor_source`, `head`.

    Notes
    -----
    The coldest head speaks for the tray. Missing and left-out values are passed over; the tray is blind
    only when every head is.

    Raises
    ------
    Nothing.

    References
    ----------
    The floor's own source is carried in `sown.floor_source`.

    Example
    -------
    >>> pepper = Sown("pepper", sown_ms=0, floor_c=15.6, floor_source="a table")
    >>> cold_verdict([HeadSample("a/1", soil_temp_c=12.0)], pepper, close_above_c=1.0).answer.value
    'yes'
    """
    if sown is None:
        return Verdict(Answer.NO, "nothing is sown in it", at_once=True)
    if sown.emerged_ms is not None:
        return Verdict(Answer.NO, f"the {sown.crop} is up", {"crop": sown.crop}, at_once=True)
    warm = [(h.soil_temp_c, h) for h in heads if h.soil_temp_c is not None]
    if sown.floor_c is None or not warm:
        unknown = f"no lowest temperature is published for {sown.crop}"
        blind = why_blind(heads, [h.soil_temp_trouble for h in heads], "soil temperature")
        return Verdict(Answer.BLIND, unknown if sown.floor_c is None else blind)
    soil_temp_c, head = min(warm, key=lambda pair: pair[0])
    facts: Facts = {
        "soil_temp_c": round(soil_temp_c, 2),
        "floor_c": sown.floor_c,
        "close_c": sown.floor_c + close_above_c,
        "crop": sown.crop,
        "floor_kind": sown.floor_kind,
        "floor_source": sown.floor_source,
        "head": head.label,
    }
    now = f"soil at {display.temp(soil_temp_c)}"
    floor = f"{sown.crop}'s {sown.floor_kind} {display.temp(sown.floor_c)}"
    if sown.floor_kind == RECOMMENDED_FROM:
        floor = f"{display.temp(sown.floor_c)}, where {sown.crop}'s recommended range begins"
    if soil_temp_c < sown.floor_c:
        return Verdict(Answer.YES, f"{now} is below {floor}", facts)
    if soil_temp_c < sown.floor_c + close_above_c:
        return Verdict(Answer.HOLD, f"{now} is just above {floor}", facts)
    return Verdict(Answer.NO, f"{now} is above {floor}", facts)


def why_blind(heads: Sequence[HeadSample], troubles: Sequence[str], what: str) -> str:
    if not heads:
        return "no head is placed in it, or none has sent anything yet"
    said = sorted({t for t in troubles if t})
    return f"no usable {what}" + (f": {', '.join(said)}" if said else "")


def dry_rule(
    *, open_delay_s: float, close_delay_s: float, close_above: Level, line_times: Level = 1.0
) -> Rule:
    """Water now: below the mix's dry line."""
    return Rule(
        "dry",
        "urgent",
        "Does this tray need water now?",
        open_delay_s,
        close_delay_s,
        lambda e: dry_verdict(
            e.heads,
            e.mix,
            close_above=at(close_above, e.of),
            litres=e.litres,
            planted_out=e.planted_out,
            line_times=at(line_times, e.of),
        ),
        lambda s: dry_answers(s, close_above=at(close_above, s.of), line_times=at(line_times, s.of)),
    )


def dry_answers(spell: Spell, *, close_above: float, line_times: float = 1.0) -> CodeArray:
    """The answers of `dry_verdict` at many instants."""
    if spell.planted_out:
        return spell.all(NO_AT_ONCE)
    if spell.mix is None:
        return spell.all(BLIND)
    line = round(line_times * spell.mix.dry_line_m3_m3, 4)
    capacity = spell.mix.container_capacity_m3_m3
    return spell.coded(spell.moisture_m3_m3, line, line + close_above * capacity)


def cold_rule(
    *, open_delay_s: float, close_delay_s: float, close_above_c: Level, display: Display = METRIC
) -> Rule:
    """Too cold: below the crop's lowest germination temperature, sown and not up yet."""
    return Rule(
        "cold",
        "warning",
        "Is the mix too cold for this seed to come up?",
        open_delay_s,
        close_delay_s,
        lambda e: cold_verdict(e.heads, e.sown, close_above_c=at(close_above_c, e.of), display=display),
        lambda s: cold_answers(s, close_above_c=at(close_above_c, s.of)),
    )


def cold_answers(spell: Spell, *, close_above_c: float) -> CodeArray:
    """The answers of `cold_verdict` at many instants."""
    if spell.sown is None or spell.sown.emerged_ms is not None:
        return spell.all(NO_AT_ONCE)
    if spell.sown.floor_c is None:
        return spell.all(BLIND)
    return spell.coded(spell.soil_temp_c, spell.sown.floor_c, spell.sown.floor_c + close_above_c)
