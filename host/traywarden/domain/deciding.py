"""Which of many instants decide: the fold of an episode over these alone ends as over all of them."""

import numpy as np

from traywarden.domain.episodes import Delays, RuleState
from traywarden.domain.rules import BLIND, NO, NO_AT_ONCE, CodeArray, bridged
from traywarden.domain.series import IntArray


def deciding(at_ms: IntArray, codes: CodeArray, begin: RuleState, delays: Delays) -> IntArray:
    """The instants at which `fold` could change its mind, and those that it needs to bridge gaps.

    Parameters
    ----------
    at_ms : int array [ms since 1970], ascending
    codes : what a rule answers at each (`domain/rules.py`: ANSWERS)
    begin : RuleState
        Where the fold begins; every instant lies after its `judged_to_ms`.
    delays : Delays

    Returns
    -------
    int array
        Numbers of the instants, ascending; the newest is always among them.

    Notes
    -----
    A run is a stretch of one answer without a gap; blind instants are passed over. `fold` changes its mind
    only where a run begins, where it turns to “at once”, or where it has lasted for a delay. The last instant
    of a run is where the gap after it is counted from. Where delays hang on what stands there, all are.

    Example
    -------
    >>> yes, times = np.zeros(100, np.int8), np.arange(100) * 10
    >>> deciding(times, yes, RuleState(-1), Delays(300, 600, 5_000)).tolist()
    [0, 30, 60, 99]
    """
    if delays.given is not None:
        return np.arange(at_ms.size)
    usable = np.flatnonzero(codes != BLIND)
    newest = at_ms.size - 1
    if not usable.size:
        return np.arange(max(newest, 0), at_ms.size)
    times, said = at_ms[usable], codes[usable]
    answer = np.where(said == NO_AT_ONCE, NO, said)
    begins = np.ones(times.size, np.bool_)
    begins[1:] = (np.diff(answer) != 0) | (np.diff(times) > delays.longest_gap_ms)
    kept = begins | np.append(begins[1:], True)
    kept[1:] |= np.diff(said) != 0
    lasted_ms = times - times[begins][np.cumsum(begins) - 1]
    for delay_ms in (delays.open_ms, delays.close_ms):
        long = lasted_ms >= delay_ms
        kept[1:] |= long[1:] & (begins[1:] | ~long[:-1])
        if begin.run_since_ms is not None:  # the first run may have begun before the first instant
            kept[min(np.searchsorted(times, begin.run_since_ms + delay_ms), times.size - 1)] = True
    chosen = usable[bridged(times.tolist(), np.flatnonzero(kept).tolist(), delays.longest_gap_ms)]
    return chosen if chosen[-1] == newest else np.append(chosen, newest)
