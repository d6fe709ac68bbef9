"""What notices were worth: how many led to something being done, and what setting would spare the rest."""

from collections.abc import Sequence
from dataclasses import dataclass

ANSWER_WITHIN_S = {"urgent": 6 * 3600.0, "warning": 24 * 3600.0, "info": 72 * 3600.0}
"""A deed that comes later was not because of the notice (common practice, no source)."""
FEWEST_TOLD = 5
"""Of fewer notices nothing can be said (common practice, no source)."""
WORTH_IT = 0.5
"""A rule that is answered at least as often as not is left as it is (common practice, no source)."""
LEAST_SPARED = 0.5
STEP_S = 900.0
LONGEST_DELAY_S = {"urgent": 3 * 3600.0, "warning": 24 * 3600.0, "info": 72 * 3600.0}
"""No longer wait is proposed than this before something is told (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Case:
    """One episode that was told. `lasted_s`: how long it stood; None: it still does."""

    answered: bool
    lasted_s: float | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """An opening delay: `spared` of the unanswered would not have been told, all answered ones would."""

    open_delay_s: float
    spared: int
    kept: int


def longer_delay(cases: Sequence[Case], *, severity: str, open_delay_s: float) -> Proposal | None:
    """The shortest longer opening delay that spares most of what nobody acted on, and nothing else.

    Parameters
    ----------
    cases : sequence of Case
        Every episode of one rule that was told, long enough ago that it could have been answered.
    severity : str
        Of the rule: what does its damage within hours must not wait long.
    open_delay_s : float
        The delay that holds now [s].

    Returns
    -------
    Proposal or None
        None where too little was told, most was answered, or no delay tells the one from the other.

    Notes
    -----
    An episode that lasted less than the delay is not opened. Those still open last longer than any delay.
    The delay is rounded up to a quarter of an hour. What is learned is what happened: no more than that.

    Example
    -------
    >>> short, long = Case(False, 4_000.0), Case(True, 30_000.0)
    >>> longer_delay([short, short, short, short, long], severity="warning", open_delay_s=600)
    Proposal(open_delay_s=4500.0, spared=4, kept=1)
    """
    answered = [c for c in cases if c.answered]
    ignored = [c for c in cases if not c.answered]
    if len(cases) < FEWEST_TOLD or len(answered) >= WORTH_IT * len(cases):
        return None
    longest_s = min([LONGEST_DELAY_S[severity], *(c.lasted_s for c in answered if c.lasted_s is not None)])
    wanted = max(1, round(LEAST_SPARED * len(ignored) + 0.5))
    over = sorted(c.lasted_s for c in ignored if c.lasted_s is not None)
    if len(over) < wanted:
        return None
    best: Proposal | None = None
    for lasted_s in over[wanted - 1 :]:
        delay_s = (lasted_s // STEP_S + 1) * STEP_S
        if delay_s > longest_s or delay_s <= open_delay_s:
            continue
        spared = sum(each < delay_s for each in over)
        if best is None or spared > best.spared:
            best = Proposal(delay_s, spared, len(cases) - spared)
    return best
