"""A crossed limit is urgent once, and not again until the value has been well back."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from probe import urgent

LIMITS = {
    "0": {"frost_c": 1.0},
    "1": {"dry_v": 2.1, "hysteresis_v": 0.05, "cold_c": 10.0, "hot_c": 30.0, "hysteresis_c": 1.0},
}


def crossings(values: list[float], key: tuple[int, str] = (1, "moisture_voltage")) -> list[int]:
    """At which of the values something is newly crossed."""
    active, found = 0, []
    for index, value in enumerate(values):
        active, reasons = urgent.judge({key: value}, LIMITS, active)
        if reasons:
            found.append(index)
    return found


def test_dry_is_a_voltage_above_the_limit() -> None:
    assert crossings([2.0, 2.1, 2.11, 2.2]) == [2]


def test_it_counts_again_only_after_coming_back_by_the_hysteresis() -> None:
    assert crossings([2.2, 2.08, 2.2, 2.04, 2.2]) == [0, 4]


def test_noise_within_the_hysteresis_never_chatters() -> None:
    assert crossings([2.09, 2.12, 2.08, 2.12, 2.07, 2.12]) == [1]


def test_frost_on_the_air_of_head_0_and_cold_and_heat_in_the_mix() -> None:
    assert crossings([1.5, 0.9], (0, "air_temperature")) == [1]
    assert crossings([12.0, 9.9, 10.5, 9.0, 11.1, 9.0], (1, "soil_temperature")) == [1, 5]
    assert crossings([29.0, 30.1, 28.9, 31.0], (1, "soil_temperature")) == [1, 3]


def test_the_reason_says_which_head_what_and_how_far() -> None:
    _, reasons = urgent.judge({(1, "moisture_voltage"): 2.25}, LIMITS, 0)
    assert reasons == ["head 1 dry: 2.25, limit 2.1"]


def test_a_missing_value_neither_opens_nor_closes() -> None:
    active, _ = urgent.judge({(1, "moisture_voltage"): 2.2}, LIMITS, 0)
    assert urgent.judge({}, LIMITS, active) == (active, [])
    assert urgent.judge({}, LIMITS, 0) == (0, [])


def test_without_a_limit_nothing_is_urgent_and_a_limit_taken_away_is_forgotten() -> None:
    active, _ = urgent.judge({(1, "moisture_voltage"): 2.2}, LIMITS, 0)
    assert urgent.judge({(1, "moisture_voltage"): 2.2}, {}, active) == (0, [])


@given(st.lists(st.floats(0, 3), max_size=60))
def test_between_two_crossings_the_value_was_back_by_the_hysteresis(values: list[float]) -> None:
    found = crossings(values)
    for before, after in pairwise(found):
        assert min(values[before:after]) <= 2.1 - 0.05


def test_the_allowance_comes_back_by_the_hour_up_to_its_most() -> None:
    assert urgent.allowance(0, 1000, 1000 + urgent.REFILL_MS - 1) == (0, 1000)
    assert urgent.allowance(0, 1000, 1000 + urgent.REFILL_MS) == (1, 1000 + urgent.REFILL_MS)
    assert urgent.allowance(3, 0, 10 * urgent.REFILL_MS) == (urgent.MOST_WAKES, 10 * urgent.REFILL_MS)
