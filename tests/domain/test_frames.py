"""Hours above the venting temperature, hot spells and whether they were answered."""

import numpy as np
import pandas as pd
import pytest

from tests.domain.made_frames import made_frame
from traywarden.domain.frames import hot_spells, hours_above, opener_work
from traywarden.domain.lids import LID, find_openings

DAY_S = 86_400.0


def test_hours_above_are_those_of_a_fine_grid_by_pandas() -> None:
    frame = made_frame(days=5, every_s=600.0, seed=2)
    above_h, known_h = hours_above(frame.time_s, frame.inside_c, 20.0)
    fine = pd.Series(frame.inside_c, pd.to_datetime(frame.time_s, unit="s")).resample("10s").interpolate()
    assert above_h == pytest.approx(float((fine > 20.0).sum()) / 360, abs=0.05)
    assert known_h == pytest.approx((frame.time_s[-1] - frame.time_s[0]) / 3600)


def test_hours_above_are_not_made_up_over_a_gap() -> None:
    assert hours_above([0.0, 3600.0, 36_000.0, 39_600.0], [30.0] * 4, 27.0) == (2.0, 2.0)
    assert hours_above([0.0, 3600.0, 7200.0], [30.0, np.nan, 30.0], 27.0, 3600.0) == (0.0, 0.0)
    assert hours_above([], [], 27.0) == (0.0, 0.0)
    assert hours_above([0.0, 3600.0], [27.0, 27.0], 27.0) == (0.0, 1.0)


def test_spells_with_short_pauses_are_one_and_short_ones_are_none() -> None:
    time_s = np.arange(0, DAY_S, 300.0)
    hot = ((time_s >= 36_000) & (time_s <= 39_600)) | ((time_s >= 41_400) & (time_s <= 43_200))
    hot |= (time_s >= 60_000) & (time_s < 60_600)  # ten minutes
    [spell] = hot_spells(time_s, np.where(hot, 30.0, 20.0), 27.0)
    assert (spell.start_s, spell.end_s) == (36_000.0, 43_200.0)
    assert hot_spells([], [], 27.0) == []


@pytest.mark.parametrize("works", [1.0, 0.0])
def test_an_opener_that_works_opens_on_every_hot_day_and_one_that_is_stuck_on_none(works: float) -> None:
    frame = made_frame(opens_at_c=25.0, works=works, cloud=0.2, days=20, seed=4)
    spells = hot_spells(frame.time_s, frame.inside_c, 24.0)
    openings = find_openings(frame.time_s, frame.inside_c, frame.time_s, frame.outside_c, LID)
    work = opener_work(spells, openings)
    assert work.answered.n >= 5
    if works:
        assert work.answered.estimate == pytest.approx(1.0, abs=0.05)
        assert work.days.estimate == 1.0
        assert work.verdict == "it was opened on every day that was hot"
        assert work.opened_at_c.middle == pytest.approx(24.7, abs=0.8)
    else:
        assert work.answered.estimate == work.days.estimate == 0.0
        assert work.verdict == "on no hot day does an opening show"
        assert work.opened_at_c.middle is None


def test_an_opener_that_moves_on_some_days_only_is_found_out() -> None:
    """It opens before it is hot, so hot spells are on days it was stuck: shares of days tell, spells not."""
    frame = made_frame(opens_at_c=25.0, works=0.5, cloud=0.2, days=40, seed=6)
    spells = hot_spells(frame.time_s, frame.inside_c, 26.0)
    openings = find_openings(frame.time_s, frame.inside_c, frame.time_s, frame.outside_c, LID)
    work = opener_work(spells, openings)
    opened = {at // DAY_S for at in frame.opened_s}
    truly = len(opened) / len(opened | {s.start_s // DAY_S for s in spells})
    assert work.answered.estimate == 0.0
    assert work.days.estimate == pytest.approx(truly, abs=0.03)
    assert 0.2 < truly < 0.7
    assert work.days.low is not None
    assert work.days.low < truly < (work.days.high or 0)


def test_what_the_journal_tells_answers_a_spell_that_no_fall_shows() -> None:
    time_s = np.arange(0, DAY_S, 600.0)
    spells = hot_spells(time_s, np.where((time_s > 36_000) & (time_s < 50_000), 30.0, 20.0), 27.0)
    work = opener_work(spells, [], told_s=[40_000.0])
    assert work.spells[0].answered
    assert work.spells[0].opened_s is None
    assert opener_work(spells, [], told_s=[4_000.0]).answered.estimate == 0.0
