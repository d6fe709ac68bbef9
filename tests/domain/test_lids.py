"""Openings of lids and vents: in made-up records whose truth is known, and in a recorded glasshouse."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.domain.made_frames import MadeFrame, made_frame
from tests.figures import lids as figures
from traywarden.domain.lids import LID, VENTS, LidParams, Opening, find_openings

HOUR_S = 3600.0


def seen_in(frame: MadeFrame, params: LidParams = LID) -> list[Opening]:
    return find_openings(frame.time_s, frame.inside_c, frame.time_s, frame.outside_c, params)


@pytest.mark.parametrize(("every_s", "least"), [(300.0, 0.98), (600.0, 0.9), (900.0, 0.8)])
@pytest.mark.parametrize("cloud", [0.2, 0.9])
def test_the_lid_of_a_made_frame_is_seen_and_passing_clouds_are_not(
    every_s: float, least: float, cloud: float
) -> None:
    frame = made_frame(every_s=every_s, cloud=cloud, days=15, seed=7)
    seen = seen_in(frame)
    assert len(frame.opened_s) > 20
    assert figures.hits(frame, seen) / len(frame.opened_s) >= least
    assert figures.hits(frame, seen) / len(seen) >= 0.9


def test_a_frame_that_stays_shut_under_clouds_is_never_called_open() -> None:
    """Closed, a cloud takes a quarter of the excess in eleven minutes at most: 0.8 · (1 − exp(−11/30))."""
    frame = made_frame(works=0.0, cloud=0.9, days=20, seed=3)
    assert not frame.opened_s
    assert not seen_in(frame)
    assert seen_in(frame, VENTS)  # what is right for the vents of a house is too eager for a small frame


def test_more_than_half_of_the_closings_that_show_are_near_the_true_ones() -> None:
    """A lid that shut under a cloud is taken for shut only when the sun is back."""
    frame = made_frame(cloud=0.2, days=15, seed=11)
    off_s = [
        abs(opening.closed_s - next(at for at in frame.closed_s if at > opening.opened_s - 300))
        for opening in seen_in(frame)
        if opening.closed_s is not None
    ]
    assert len(off_s) > 40
    assert np.mean(np.array(off_s) <= 900) > 0.5


def test_the_temperatures_at_which_an_opener_opens_and_shuts_are_recovered() -> None:
    """The last low reading may be a fifth of the fall above the lowest, which is under 2 °C here."""
    frame = made_frame(opens_at_c=24.0, shuts_at_c=15.0, cloud=0.2, days=20, seed=5)
    seen = seen_in(frame)
    assert np.median([o.opened_at_c for o in seen]) == pytest.approx(24.0, abs=0.7)
    shut_c = [o.closed_at_c for o in seen if o.closed_at_c is not None]
    assert np.median(shut_c) == pytest.approx(15.0, abs=2.0)


def test_a_fall_of_the_outside_air_alone_is_no_opening() -> None:
    """Both fall by six degrees within ten minutes: a front, and the cover keeps its excess."""
    time_s = np.arange(0, 4 * HOUR_S, 300.0)
    front_c = np.where(time_s < 2 * HOUR_S, 16.0, 10.0)
    assert not find_openings(time_s, front_c + 8, time_s, front_c)


def test_gaps_are_not_bridged_and_missing_values_are_passed_over() -> None:
    time_s = np.arange(0, 6 * HOUR_S, 300.0)
    inside_c = np.where(time_s < 3 * HOUR_S, 28.0, 15.0)
    kept = (time_s < 2 * HOUR_S) | (time_s > 4 * HOUR_S)
    outside_c = np.full(time_s.size, 10.0)
    assert not find_openings(time_s[kept], inside_c[kept], time_s, outside_c)
    blank = np.where(np.arange(time_s.size) % 7 == 3, np.nan, inside_c)
    assert len(find_openings(time_s, blank, time_s, outside_c)) == 1
    assert find_openings([], [], [], []) == []
    assert find_openings(time_s, np.full(time_s.size, np.nan), time_s, outside_c) == []


@given(shift_s=st.floats(0, 86_400), outside_c=st.floats(-10, 15), scale=st.floats(0.8, 1.5))
@settings(max_examples=30)
def test_it_does_not_matter_when_and_hardly_how_warm_it_is(
    shift_s: float, outside_c: float, scale: float
) -> None:
    time_s = np.arange(0, 5 * HOUR_S, 300.0)
    excess_c = np.where((time_s > 1.5 * HOUR_S) & (time_s <= 3 * HOUR_S), 3.0, 14.0) * scale
    [one] = find_openings(
        time_s + shift_s, excess_c + outside_c, time_s + shift_s, np.full(time_s.size, outside_c)
    )
    assert one.opened_s - shift_s == pytest.approx(1.5 * HOUR_S)
    assert one.fell_part == pytest.approx(11 / 14)
    assert one.closed_s is not None
    assert one.closed_s - shift_s == pytest.approx(3 * HOUR_S)


@pytest.mark.data
def test_vents_of_the_glasshouse_on_the_days_the_parameters_were_not_chosen_on() -> None:
    """Printed by `python -m tests.figures lids`, to two places."""
    found = figures.score(chosen=False)
    assert found.true == 182
    assert found.recall == pytest.approx(0.69, abs=0.005)
    assert found.precision == pytest.approx(0.98, abs=0.005)
    assert found.strict_precision == pytest.approx(0.70, abs=0.005)
    assert found.chance_hit / found.true < 0.4
    assert found.chance_precision < 0.65
    assert np.median(np.abs(found.closing_off_min)) <= 5


@pytest.mark.data
def test_no_other_window_or_fall_does_better_on_the_days_it_was_chosen_on() -> None:
    """By the harmonic mean of recall and strict precision."""

    def merit(params: LidParams) -> float:
        found = figures.score(params, chosen=True)
        return 2 * found.recall * found.strict_precision / (found.recall + found.strict_precision)

    best = merit(VENTS)
    for window_s in (420.0, 960.0):
        assert merit(replace(VENTS, window_s=window_s)) <= best
    for least_fall_c in (0.8, 1.0, 1.15, 1.5, 1.8):
        assert merit(replace(VENTS, least_fall_c=least_fall_c)) <= best
    for fall_part in (0.08, 0.1, 0.2):
        assert merit(replace(VENTS, fall_part=fall_part)) <= best


@pytest.mark.data
def test_the_lid_of_a_frame_asks_for_more_than_vents_ever_show() -> None:
    assert figures.score(LID, chosen=False).recall < 0.05
