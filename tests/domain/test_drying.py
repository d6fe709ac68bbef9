"""The clock of a dry-down: demand without gaps, what the next day should bring, and when it has passed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.drying import (
    carried,
    expected_demand,
    filled,
    hours_until,
    relative_demand,
    smoothed,
)


def test_an_unknown_hour_is_like_the_same_hour_of_the_day_before_and_never_like_a_later_one() -> None:
    demand_mm = np.full(72, 0.15)
    demand_mm[10], demand_mm[34] = 0.30, np.nan
    found = relative_demand(demand_mm)
    assert found[34] == 2.0
    demand_mm[:3] = np.nan
    assert relative_demand(demand_mm)[:3].tolist() == [1.0, 1.0, 1.0]


def test_the_next_day_is_expected_to_run_like_the_last_three() -> None:
    demand = np.repeat([1.0, 2.0, 3.0, 100.0], 24)
    assert expected_demand(demand)[71].tolist() == [2.0] * 24
    demand[72:] = 7.0
    assert expected_demand(demand)[71].tolist() == [2.0] * 24


@given(
    st.lists(st.floats(0.01, 5), min_size=24, max_size=24),
    st.floats(0, 300),
    st.lists(st.floats(0.01, 5), max_size=30),
)
def test_until_then_the_clock_has_moved_by_just_so_much(
    day: list[float], need_h: float, forecast: list[float]
) -> None:
    hours = float(hours_until([need_h], day, forecast)[0])
    # Summed up plainly, hour by hour: first the forecast, then the days.
    paces = forecast + [day[h % 24] for h in range(len(forecast), len(forecast) + 24 * 1400)]
    whole = int(hours)
    assert sum(paces[:whole]) + (hours - whole) * paces[whole] == pytest.approx(need_h, abs=1e-6)


def test_a_forecast_that_is_silent_for_an_hour_leaves_it_to_the_days_before() -> None:
    day = np.arange(1.0, 25.0)
    assert hours_until([6.0], day, [5.0, np.nan]).tolist() == hours_until([6.0], day, [5.0, 2.0]).tolist()


def test_gaps_are_bridged_by_lines_or_by_the_last_value_as_asked() -> None:
    gap = np.array([np.nan, 1.0, np.nan, 3.0, np.nan])
    assert filled(gap).tolist() == [1.0, 1.0, 2.0, 3.0, 3.0]
    assert carried(gap).tolist() == [1.0, 1.0, 1.0, 3.0, 3.0]
    assert filled(np.full(3, np.nan)).tolist() == carried(np.full(3, np.nan)).tolist() == [0.0, 0.0, 0.0]


def test_a_mean_over_a_whole_day_leaves_nothing_of_a_daily_swing() -> None:
    swing = np.sin(np.arange(96) / 24 * 2 * np.pi)
    assert np.abs(smoothed(swing, 24)).max() < 1e-12
    assert smoothed(np.arange(10.0), 4).tolist() == np.arange(2.0, 8.0).tolist()
    assert smoothed(np.arange(3.0), 5).size == 0
