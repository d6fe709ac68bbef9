"""The instants chosen for a fold give exactly what all of them give."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.deciding import deciding
from traywarden.domain.episodes import Delays, RuleState, fold
from traywarden.domain.rules import ANSWERS, Verdict

steps = st.lists(st.tuples(st.integers(1, 40), st.integers(0, 4), st.integers(1, 6)), min_size=1, max_size=12)
delays = st.builds(Delays, st.integers(0, 90), st.integers(0, 90), st.integers(1, 60))
earlier = st.none() | st.integers(-120, 0)
begins = st.builds(RuleState, st.just(0), earlier, earlier, earlier)


@given(steps, delays, begins)
def test_a_fold_over_what_decides_is_the_fold_over_everything(
    drawn: list[tuple[int, int, int]], delay: Delays, begin: RuleState
) -> None:
    """Runs of answers at uneven steps, gaps, blind stretches, and a run that began before the first."""
    instants = [(gap, code) for gap, code, times in drawn for _ in range(times)]
    at_ms = np.cumsum([gap for gap, _ in instants])
    codes = np.array([code for _, code in instants], np.int8)
    said = [Verdict(answer, str(n), at_once=at_once) for n, (answer, at_once) in enumerate(ANSWERS)]
    every = [(int(at), said[code]) for at, code in zip(at_ms, codes, strict=True)]
    chosen = deciding(at_ms, codes, begin, delay)
    assert fold(begin, [every[n] for n in chosen], delay) == fold(begin, every, delay)


def test_of_a_long_run_few_instants_are_left() -> None:
    """A dry month of minutes: its beginning, where it has lasted long enough, its end, and one an hour."""
    at_ms = np.arange(31 * 1440) * 60_000
    chosen = deciding(at_ms, np.zeros(at_ms.size, np.int8), RuleState(-1), Delays(1_800_000, 1, 3_600_000))
    assert chosen.size < 31 * 24 + 5
