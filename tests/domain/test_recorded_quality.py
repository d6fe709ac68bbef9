"""Faults put into every recorded series are found again, and little is found where none was put.

`python -m tests.figures quality` prints the same figures; docs/quality.md states them.
"""

import pytest

from tests.figures import quality, quality_daily
from traywarden.domain.troubles import Fault

LEAST_RECALL = {
    Fault.DISCONNECTED: 1.0,
    Fault.POWER_UP_VALUE: 1.0,
    Fault.SPIKE: 0.70,  # sizes are drawn from below the limit on
    Fault.OUT_OF_RANGE: 0.75,  # so are these: 110 to 200 % against a limit of 120 %
    Fault.STUCK: 0.98,
    Fault.SWAPPED: 0.95,
}
MOST_BESIDE = {Fault.SPIKE: 1}
"""Found where none was put, in all records together; zero where not named."""


@pytest.mark.data
def test_faults_put_into_the_records_are_found_again() -> None:
    for fault, least in LEAST_RECALL.items():
        mine = [score for score in quality.scores() if score.fault is fault]
        assert sum(s.put for s in mine) >= 20, fault
        assert sum(s.found for s in mine) / sum(s.put for s in mine) >= least, fault


@pytest.mark.data
def test_no_fault_that_leaves_readings_out_is_found_where_none_was_put() -> None:
    for fault in LEAST_RECALL.keys() - {Fault.STUCK}:
        beside = sum(s.beside for s in quality.scores() if s.fault is fault)
        assert beside <= MOST_BESIDE.get(fault, 0), fault


@pytest.mark.data
def test_heads_out_of_the_mix_are_found_in_moist_ground_and_nowhere_else() -> None:
    """In ground drier than 0.10 m³/m³ no head can be told from one in the air: none is claimed."""
    found = {s.record: s for s in quality.scores() if s.fault is Fault.PULLED_OUT}
    assert found["Bondville 1998"].found == found["Bondville 1998"].put == quality.EACH
    assert all(s.beside == 0 for s in found.values())
    wet = {s.record: s for s in quality.scores() if s.fault is Fault.IN_WATER}
    assert wet["Bondville 1998"].found >= 16
    assert all(s.beside == 0 for s in wet.values())


@pytest.mark.data
def test_four_years_of_daily_weather_bear_no_flag_and_no_season_is_broken() -> None:
    """One value a day is too few to call a sensor stuck or a jump a spike: neither may be claimed."""
    found = quality_daily.seattle()
    assert [(day.days, day.by_flag) for day in found] == [(1461, {})] * 3
    assert [day.unseasonable for day in found] == [0, 0, None]


@pytest.mark.data
def test_no_test_of_readings_sees_that_a_sensor_is_off_from_what_is_weighed() -> None:
    """All of it lies in range; a calibration in one's own mix is what tells."""
    found = quality_daily.sensor_against_sample()
    assert (found.pairs, found.out_of_range) == (100, 0)
    assert found.beyond_a_tenth > 30
    assert found.correlation == pytest.approx(0.31, abs=0.005)  # as the data's README says
