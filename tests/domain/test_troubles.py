"""Every flag becomes a trouble with words and advice; faults close together are one."""

import numpy as np

from traywarden.domain.flags import LEFT_OUT, Flag
from traywarden.domain.troubles import Fault, flag_troubles, stretches
from traywarden.domain.units import Display


def test_every_fault_says_what_to_do() -> None:
    assert all(fault.do.endswith(".") for fault in Fault)


def test_every_flag_but_harmless_humidity_is_told_and_bad_is_what_is_left_out() -> None:
    time_s, values = np.arange(0.0, 1800.0, 600.0), np.array([1.0, 2.0, 3.0])
    told: dict[Flag, list[tuple[int, float, float, bool, int]]] = {}
    for flag in Flag:
        found = flag_troubles("p/1", "soil_temp_c", time_s, values, np.array([0, int(flag), 0]))
        told[flag] = [(t.code, t.start_s, t.end_s, t.lasting, t.readings) for t in found]
    assert told.pop(Flag.HUMIDITY_ABOVE_100) == []
    for flag, found_again in told.items():
        assert found_again == [(4 if flag & LEFT_OUT else 3, 600.0, 600.0, False, 1)], flag


def test_faults_three_hours_apart_are_one_trouble_and_a_day_apart_two() -> None:
    time_s = np.array([0.0, 3.0, 27.0, 28.0]) * 3600
    runs = list(stretches(time_s, np.array([True, True, True, False])))
    assert [(r.start_s / 3600, r.end_s / 3600, r.readings) for r in runs] == [(0, 3, 2), (27, 27, 1)]


def test_a_reason_names_the_values_and_a_trouble_up_to_the_last_reading_lasts() -> None:
    values = np.array([10.0, 10.0, 95.0, 96.5])
    flags = np.where(values > 80, int(Flag.OUT_OF_RANGE), 0)
    (found,) = flag_troubles("p/1", "soil_temp_c", np.arange(0.0, 2400.0, 600.0), values, flags)
    assert "95 to 96.5 °C" in found.reason
    assert found.lasting
    (fahrenheit,) = flag_troubles(
        "p/1", "soil_temp_c", np.arange(0.0, 2400.0, 600.0), values, flags, Display("F")
    )
    assert "203 to 205.7 °F" in fahrenheit.reason
    frozen = flag_troubles("p/1", "moisture_m3_m3", np.zeros(1), np.zeros(1), np.array([int(Flag.FROZEN)]))
    assert "at or below 0 °C" in frozen[0].reason
