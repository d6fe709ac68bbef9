"""The outlook on records no one here wrote. `python -m tests.figures outlook` prints the figures.

Dry-downs are judged in the order in which they came, each learnt from those before it alone.
"""

from collections.abc import Callable

import numpy as np
import pytest

from tests.figures import outlook
from tests.figures.outlook_bounds import Bounds
from traywarden.domain.backtest import Backtest, Score
from traywarden.domain.usual_drying import crossings_h

pytestmark = pytest.mark.data

RECORDS = {"Bondville": outlook.of_bondville, "Ford Dry Lake": outlook.of_ford_dry_lake}


@pytest.fixture(params=RECORDS)
def found(request: pytest.FixtureRequest) -> Backtest:
    return RECORDS[request.param]()


def told(score: Score, name: str) -> float:
    value = getattr(score, name)
    assert value is not None
    return float(value)


def test_the_80_percent_interval_holds_between_75_and_85_percent_of_the_time(found: Backtest) -> None:
    assert 0.75 <= told(found.rolling, "coverage") <= 0.85
    assert found.rolling.unanswered < 0.05 * found.rolling.cases


def test_it_beats_going_on_as_in_the_last_day_and_taking_as_long_as_last_time(found: Backtest) -> None:
    """Both naive ways are off by so many times as much (median, on the cases both answer): at least 1.3 and
    1.15 asked at any hour, 1.45 and 1.15 asked a day before."""
    assert told(found.rolling, "same_rate_ratio") >= 1.3
    assert told(found.rolling, "last_time_ratio") >= 1.15
    assert told(found.day_before, "same_rate_ratio") >= 1.45
    assert told(found.day_before, "last_time_ratio") >= 1.15


def test_a_day_before_it_is_off_by_half_a_day_in_open_ground_where_15_percent_are_wished_for(
    found: Backtest,
) -> None:
    """15 % of the day is not reached, nor near: half a day is. A fall of 0.01 in a day, sensors that step by
    0.01 or swing by 0.02 a day leave no more: see the next test for what hindsight would make of it."""
    assert told(found.day_before, "median_error") <= 0.6
    assert told(found.day_before, "median_error_of_dry_down") <= 0.18


def test_even_moisture_and_rate_known_in_hindsight_are_off_by_twice_the_15_percent() -> None:
    """From means of the day about the asking, which look half a day ahead, going on at that rate."""
    assert outlook.bondville_bounds().same_rate > 0.25
    assert outlook.ford_dry_lake_bounds().same_rate > 0.3


@pytest.mark.parametrize("bound", [outlook.bondville_bounds, outlook.ford_dry_lake_bounds])
def test_who_knew_the_rate_to_come_would_be_off_as_far_by_the_newest_reading_and_much_less_by_a_days_mean(
    bound: Callable[[], Bounds],
) -> None:
    """So what is missed a day ahead is the rate to come more than the moisture now."""
    found = bound()
    assert found.reading > 0.3
    assert found.day < 0.2
    assert found.day < 0.5 * found.same_rate


def test_dry_downs_by_themselves_hold_as_often_as_their_cases_together() -> None:
    """The interval is to hold 80 % in the mean of the dry-downs too; in single ones it does as it may."""
    for by_dry_down in (
        outlook.coverage_by_dry_down(outlook.bondville(), outlook.SUMMER.timestamp()),
        outlook.coverage_by_dry_down(outlook.ford_dry_lake()),
    ):
        assert 0.75 <= by_dry_down.mean() <= 0.85


def test_simulated_trays_are_foretold_a_day_before_within_15_percent_of_the_day() -> None:
    """Recovery on trays whose law is made up; it proves nothing about real ones."""
    found = outlook.of_simulated()
    assert told(found.day_before, "median_error") <= 0.15
    assert told(found.rolling, "median_error") <= 0.15
    assert told(found.rolling, "same_rate_ratio") > 2.5
    # As long as the surface is wet a tray dries at a steady pace, and the last day's rate is hard to beat.
    assert told(found.day_before, "same_rate_ratio") > 1
    # Four weeks are short for the interval: it is wider than need be, never narrower.
    assert 0.8 <= told(found.rolling, "coverage") <= 0.97
    assert abs(told(found.rolling, "bias")) < 0.1


def test_what_counts_as_a_crossing_is_when_the_simulated_water_truly_crossed() -> None:
    """Half of the levels within an hour and a half of the tray's true water, nine in ten within four."""
    histories, true = outlook.simulated()
    off = []
    for history in histories:
        time_s, water = true[history.name]
        for drying in history.dryings:
            levels = np.arange(0.105, 0.6, 0.01)
            _, reached_h = crossings_h(drying, levels)
            start_s = float(drying.hour_s[0])
            inside = (time_s >= start_s) & (time_s <= drying.hour_s[-1])
            low = np.minimum.accumulate(water[inside]) if inside.any() else np.empty(0)
            for level, reached in zip(levels, reached_h, strict=True):
                if np.isfinite(reached) and low.size and low[-1] < level < low[0]:
                    at = time_s[inside][np.argmax(low <= level)]
                    off.append(abs((at - start_s) / 3600 - reached))
    assert len(off) > 500
    assert np.median(off) < 1.5
    assert np.quantile(off, 0.9) < 4
